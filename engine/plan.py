"""The planner's problem, posed from a visit: which faults are left, what each check could say.

Bridges `belief` and the generic `planner`, which knows only numbers.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from stillflow.engine.arrays import Floats
from stillflow.engine.belief import Belief, Situation
from stillflow.engine.conditions import Leaf
from stillflow.engine.knowledge import Check, Fault
from stillflow.engine.loading import Knowledge
from stillflow.engine.planner import Candidate, Problem, Think, next_action
from stillflow.engine.scales import Mode, Station, Strength
from stillflow.engine.steps import Choice

EVEN = 0.5
"""A fault likelier than not is mended whatever was seen."""

NEGLIGIBLE = 1e-6
"""Faults less likely than this are left out of the look-ahead, not out of the belief."""


class Position(Protocol):
    """All that a choice hangs on: a visit's `Progress`, or a point that it might come to."""

    @property
    def situation(self) -> Situation:
        """What is known."""

    @property
    def probabilities(self) -> Floats:
        """Probability of each fault, shape (F,)."""

    @property
    def opened(self) -> Collection[str]:
        """Ids of the accesses that stand open."""

    @property
    def answered(self) -> Collection[str]:
        """Ids of the checks that were answered."""

    @property
    def deferred(self) -> Collection[str]:
        """Ids of the faults whose fix was left undone."""


@dataclass(frozen=True)
class Decision:
    """A check to make or a fault to fix, and the numbers behind it."""

    check_id: str | None
    fault_id: str | None
    choice: Choice


class Planner:
    """Chooses the next check or fix for one rule set and baseline.

    Args:
        knowledge: a loaded rule set.
        belief: its arithmetic.
        think: how far to look ahead.
        wrong_part_minutes: the price, in minutes, of having fitted a part that was not needed.
    """

    def __init__(
        self,
        knowledge: Knowledge,
        belief: Belief,
        think: Think = "normal",
        wrong_part_minutes: float = 0.0,
    ) -> None:
        self._knowledge = knowledge
        self._belief = belief
        self._think: Think = think
        self._wrong_part = wrong_part_minutes
        self._groups = {name: index for index, name in enumerate(knowledge.accesses)}

    @cached_property
    def verifying_minutes(self) -> float:
        """Minutes of what is measured and asked after a fix."""
        return sum(
            check.minutes
            for check in self._knowledge.checks.values()
            if check.verifies and (check.kind == "choice" or check.station is Station.HOSE)
        )

    def decide(self, position: Position, check_ids: Sequence[str]) -> Decision | None:
        """The next best check or fix; None when no fault is left to deal with.

        Args:
            position: how far the visit has come.
            check_ids: the checks that may be made now.
        """
        posed = self.pose(position, check_ids)
        if posed is None:
            return None
        problem, faults, checks = posed
        opened = np.zeros(len(self._groups), dtype=bool)
        for name in position.opened:
            opened[self._groups[name]] = True
        action = next_action(problem, problem.priors, opened, self._think)
        runner_up = action.runner_up
        choice = Choice(
            expected=action.minutes,
            fixing_only=action.fixes_only,
            runner_up="" if runner_up is None else _title(runner_up, faults, checks),
            runner_up_expected=None if runner_up is None else runner_up.minutes,
        )
        if action.kind == "check":
            return Decision(checks[action.index].id, None, choice)
        return Decision(None, faults[action.index].id, choice)

    def pose(
        self, position: Position, check_ids: Sequence[str]
    ) -> tuple[Problem, list[Fault], list[Check]] | None:
        """The problem as numbers, with the faults and checks its rows stand for."""
        weights = position.probabilities
        answered = position.answered
        known = {*answered, *check_ids}
        everything = list(self._knowledge.faults.values())
        index = [
            column
            for column, fault in enumerate(everything)
            if weights[column] > NEGLIGIBLE and self._may_be_dealt_with(fault, position, known)
        ]
        if not index:
            return None
        # Looks deceive now and then, so what was seen to be sound comes last, not never.
        sound = self._seen_sound(position)
        index = [
            column
            for column in index
            if everything[column].id not in sound or weights[column] > EVEN
        ] or index
        faults = [everything[column] for column in index]
        checks = [self._knowledge.checks[name] for name in check_ids]
        outlooks = self._belief.outlooks(position.situation, check_ids)
        kept = np.array(index)
        priors = weights[kept]
        return (
            Problem(
                priors=priors / priors.sum(),
                fix_minutes=np.array([self._fix_minutes(fault, answered) for fault in faults]),
                check_minutes=np.array([check.minutes for check in checks]),
                answers=[outlook.likelihood.take(kept, axis=1).T for outlook in outlooks],
                access=[self._group(check.access) for check in checks],
                access_minutes=np.array([a.minutes for a in self._knowledge.accesses.values()]),
                fix_access=[self._group(fault.fix.access) for fault in faults],
                wrong_fix_minutes=np.array([self._wrong_minutes(fault) for fault in faults]),
            ),
            faults,
            checks,
        )

    def _seen_sound(self, position: Position) -> set[str]:
        """Faults that a look alone speaks against very strongly: nobody mends what he saw whole.

        By the belief a quick fix may still pay for itself, but to be told to close what one has
        just found closed costs more trust than minutes.
        """
        return set().union(
            *(self._cleared.get(choice, set()) for choice in position.situation.choices.items())
        )

    @cached_property
    def _cleared(self) -> dict[tuple[str, str], set[str]]:
        """Per check and answer, the faults that rules on this answer alone all but rule out."""
        cleared: dict[tuple[str, str], set[str]] = {}
        for rule in self._knowledge.rules.values():
            if not isinstance(rule.when, Leaf):
                continue
            check = self._knowledge.checks.get(rule.when.fact.removeprefix("answer."))
            against = [
                faults
                for item, faults in self._knowledge.evidence[rule.id]
                if item.sign < 0 and item.strength.factor >= Strength.VERY_STRONG.factor
            ]
            if check is None or not against:
                continue
            for answer in check.answer_ids:
                if rule.when.holds(answer):
                    cleared.setdefault((check.id, answer), set()).update(*against)
        return cleared

    def _may_be_dealt_with(self, fault: Fault, position: Position, known: Collection[str]) -> bool:
        """Not left undone before; and "nothing is wrong" is never said on what was not seen."""
        if fault.id in position.deferred:
            return False
        return fault.mode is not Mode.NORMAL or all(one in known for one in fault.confirm_first)

    def _group(self, access: str | None) -> int | None:
        return None if access is None else self._groups[access]

    def _fix_minutes(self, fault: Fault, answered: Collection[str]) -> float:
        """Minutes of a fix with what must be known before it and measured after it."""
        checks = self._knowledge.checks
        before = [checks[name] for name in fault.confirm_first if name not in answered]
        return fault.fix.minutes + sum(check.minutes for check in before) + self.verifying_minutes

    def _wrong_minutes(self, fault: Fault) -> float:
        """Minutes lost, besides its own, by a fix that was not needed."""
        return fault.fix.if_wrong_minutes + (self._wrong_part if fault.fix.parts else 0.0)


def _title(act: Candidate, faults: Sequence[Fault], checks: Sequence[Check]) -> str:
    return checks[act.index].ask if act.kind == "check" else f"fix: {faults[act.index].title}"
