"""The planner's problem, posed from a visit: which faults are left, what each check could say.

Bridges `belief` and the generic `planner`, which knows only numbers.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stillflow.engine.base import Floats, Integers, Mode
from stillflow.engine.dialogue.steps import Choice
from stillflow.engine.dialogue.verification import Verification
from stillflow.engine.inference import Baseline, LikelihoodModel, Situation, Spot
from stillflow.engine.planning import Action, Problem, Think, next_action
from stillflow.engine.ruleset import Check, Fault, Knowledge

DOUBTED = 0.3
"""A fault this likely is in question again whatever was seen: looks deceive now and then."""

NEGLIGIBLE = 1e-6
"""Faults less likely than this are left out of the look-ahead, not out of the model."""


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

    @property
    def ahead(self) -> Mapping[str, Spot]:
        """Reading checks that may be made again at a further inlet, and where."""


@dataclass(frozen=True)
class Decision:
    """A check to make or a fault to fix, and the numbers behind it."""

    check_id: str | None
    fault_id: str | None
    _action: Action
    _checks: Sequence[Check]
    _faults: Sequence[Fault]

    @property
    def choice(self) -> Choice:
        """What it is expected to cost and to save, and what came close to it."""
        runner_up = self._action.runner_up
        if runner_up is None:
            title, minutes = "", None
        else:
            index, minutes = runner_up.index, runner_up.minutes
            check = runner_up.kind == "check"
            title = self._checks[index].ask if check else f"fix: {self._faults[index].title}"
        return Choice(
            expected=self._action.minutes,
            fixing_only=self._action.fixes_only,
            runner_up=title,
            runner_up_expected=minutes,
        )


class Planner:
    """Chooses the next check or fix for one rule set and baseline.

    Args:
        knowledge: a loaded rule set.
        model: how likely answers are under each fault.
        baseline: what this system should read: what is short of it is read again after a fix.
        think: how far to look ahead.
        wrong_part_minutes: the price, in minutes, of having fitted a part that was not needed.
    """

    def __init__(
        self,
        knowledge: Knowledge,
        model: LikelihoodModel,
        baseline: Baseline,
        think: Think = "normal",
        wrong_part_minutes: float = 0.0,
    ) -> None:
        self._knowledge = knowledge
        self._model = model
        self._think: Think = think
        self._verification = Verification(knowledge, baseline)
        self._groups = {name: index for index, name in enumerate(knowledge.accesses)}
        faults = list(knowledge.faults.values())
        self._faults = faults
        self._fix_minutes = np.array([fault.fix.minutes for fault in faults])
        # Minutes lost, besides its own, by a fix that was not needed.
        self._wrong_minutes = np.array(
            [
                fault.fix.if_wrong_minutes + (wrong_part_minutes if fault.fix.parts else 0.0)
                for fault in faults
            ]
        )
        self._fix_groups = [self._group(fault.fix.access) for fault in faults]
        self._check_groups = {
            check.id: self._group(check.access) for check in knowledge.checks.values()
        }
        self._access_minutes = np.array([one.minutes for one in knowledge.accesses.values()])
        self._confirmed = [
            (column, fault) for column, fault in enumerate(faults) if fault.confirm_first
        ]

    def verifying_minutes(self, situation: Situation) -> float:
        """Minutes of what is measured and asked after a fix made on what is known."""
        return self._verification.minutes(situation.readings)

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
        check_id = checks[action.index].id if action.kind == "check" else None
        fault_id = faults[action.index].id if action.kind == "fix" else None
        return Decision(check_id, fault_id, action, checks, faults)

    def has_faults(self, position: Position, check_ids: Sequence[str]) -> bool:
        """Whether any fault is left to deal with; arguments as `decide`."""
        return len(self._dealt_with(position, check_ids)) > 0

    def pose(
        self, position: Position, check_ids: Sequence[str]
    ) -> tuple[Problem, list[Fault], list[Check]] | None:
        """The problem as numbers, with the faults and checks its rows stand for."""
        kept = self._dealt_with(position, check_ids)
        if not len(kept):
            return None
        checks = [self._knowledge.checks[name] for name in check_ids]
        priors = position.probabilities[kept]
        minutes = self._fix_minutes + self.verifying_minutes(position.situation)
        for column, fault in self._confirmed:
            minutes[column] += self._confirming_minutes(fault, position.answered)
        outlooks = self._model.outlooks(position.situation, check_ids, position.ahead)
        return (
            Problem(
                priors=priors / priors.sum(),
                fix_minutes=minutes[kept],
                check_minutes=np.array([check.minutes for check in checks]),
                answers=[outlook.likelihood.take(kept, axis=1).T for outlook in outlooks],
                access=[self._check_groups[name] for name in check_ids],
                access_minutes=self._access_minutes,
                fix_access=[self._fix_groups[column] for column in kept],
                wrong_fix_minutes=self._wrong_minutes[kept],
            ),
            [self._faults[column] for column in kept],
            checks,
        )

    def _dealt_with(self, position: Position, check_ids: Sequence[str]) -> Integers:
        """Columns of the faults that may be mended now: likely enough, and not left undone."""
        index = self._knowledge.fault_index
        weights = position.probabilities
        open_ = weights > NEGLIGIBLE
        open_[[index[name] for name in position.deferred]] = False
        # "Nothing is wrong" is never said on what was not seen.
        known = {*position.answered, *check_ids}
        for column, fault in self._confirmed:
            if fault.mode is Mode.NORMAL and not known.issuperset(fault.confirm_first):
                open_[column] = False
        # Looks deceive now and then, so what was seen to be sound comes last, not never.
        doubtful = open_.copy()
        doubtful[[index[name] for name in self._seen_sound(position)]] = False
        doubtful |= open_ & (weights > DOUBTED)
        return np.flatnonzero(doubtful if doubtful.any() else open_)

    def _seen_sound(self, position: Position) -> set[str]:
        """Faults that a look alone speaks against very strongly: nobody mends what he saw whole.

        By the belief a quick fix may still pay for itself, but to be told to close what one has
        just found closed costs more trust than minutes.
        """
        cleared = self._knowledge.cleared
        return set().union(
            *(cleared.get(choice, set()) for choice in position.situation.choices.items())
        )

    def _group(self, access: str | None) -> int | None:
        return None if access is None else self._groups[access]

    def _confirming_minutes(self, fault: Fault, answered: Collection[str]) -> float:
        """Minutes of what must still be known before a fault's fix."""
        checks = self._knowledge.checks
        return sum(checks[name].minutes for name in fault.confirm_first if name not in answered)
