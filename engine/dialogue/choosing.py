"""The planner's problem, posed from a visit: which faults are left, what each check could say.

Bridges `progress` and the generic `planning`, which knows only numbers.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stillflow.engine.base import Flags, Floats, Integers, Mode, Station
from stillflow.engine.dialogue.steps import Choice
from stillflow.engine.dialogue.verification import Verification
from stillflow.engine.inference import Baseline, LikelihoodModel, Situation, Spot
from stillflow.engine.planning import Action, Moves, Problem, Think, next_action
from stillflow.engine.ruleset import (
    Check,
    FactValue,
    Fault,
    Footing,
    Knowledge,
    checking,
    stand_of,
    truth,
    walk,
)

DOUBTED = 0.3
"""A fault this likely is in question again whatever was seen: looks deceive now and then."""

_FORESEEN = 20
"""Fixes looked ahead for the one after which a call is handed over."""

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
    def footing(self) -> Footing:
        """Where one stands, and what is undone."""

    @property
    def answered(self) -> Collection[str]:
        """Ids of the checks that were answered."""

    @property
    def deferred(self) -> Collection[str]:
        """Ids of the faults whose fix was left undone."""

    @property
    def unmoved(self) -> int:
        """Fixes in a row that changed nothing."""

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
    _fixes_left: int

    @property
    def choice(self) -> Choice:
        """What it is expected to cost and to save, and what came close to it.

        The planner prices doubt by what is left to check, without an end: late in a call, where
        little tells any more, that comes to hours. But a visit ends: by the course, after so many
        fixes in vain. It takes no longer than to try those.
        """
        runner_up = self._action.runner_up
        expected = min(self._action.minutes, self._action.fixes_at_most(self._fixes_left))
        if runner_up is None:
            title, minutes = "", None
        else:
            index = runner_up.index
            minutes = expected + runner_up.minutes - self._action.minutes
            check = runner_up.kind == "check"
            title = self._checks[index].ask if check else f"fix: {self._faults[index].title}"
        return Choice(
            expected=expected,
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
        self._verification = Verification(knowledge, model)
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
        self._ways = _Ways(knowledge)
        self._fixes_in_vain = _fixes_in_vain(knowledge)
        self._confirmed = [
            (column, fault) for column, fault in enumerate(faults) if fault.confirm_first
        ]

    def proving(self, situation: Situation, footing: Footing) -> tuple[float, Footing]:
        """Minutes of what is measured and asked after a fix made on what is known.

        Args:
            situation: what is known.
            footing: how the fix has left the house.

        Returns:
            The minutes, with ways and put-backs, and how that leaves the house.
        """
        minutes = 0.0
        for check in self._verification.wanted(situation.readings, lambda check: True):
            outlay = checking(self._knowledge, footing, check)
            footing, minutes = outlay.after, minutes + outlay.minutes
        return minutes, footing

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
        for name in position.footing.opened:
            opened[self._groups[name]] = True
        at = self._ways.number(position.footing)
        action = next_action(problem, problem.priors, opened, self._think, at=at)
        check_id = checks[action.index].id if action.kind == "check" else None
        fault_id = faults[action.index].id if action.kind == "fix" else None
        left = max(1, self._fixes_in_vain - position.unmoved)
        return Decision(check_id, fault_id, action, checks, faults, left)

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
        weights = position.probabilities
        ways = self._ways
        proving = {
            one: self.proving(position.situation, Footing(one)) for one in set(ways.fix_stands)
        }
        # Where nothing is broken nothing is put right, so nothing is measured again.
        after = [
            (0.0, Footing(stand)) if fault.mode is Mode.NORMAL else proving[stand]
            for fault, stand in zip(self._faults, ways.fix_stands, strict=True)
        ]
        minutes = self._fix_minutes + [spent for spent, _ in after]
        ends = np.array([ways.number(footing) for _, footing in after])
        rows = [ways.row[name] for name in check_ids]
        for column, fault in self._confirmed:
            minutes[column] += self._confirming_minutes(fault, position.answered)
        outlooks = self._model.outlooks(position.situation, check_ids, position.ahead)
        kept, share = self._as_one(kept, weights)
        priors = weights @ share
        # P(answer | one of them) is that of each, by how likely it is among them.
        given = share * weights[:, None] / priors
        return (
            Problem(
                priors=priors / priors.sum(),
                fix_minutes=minutes[kept],
                check_minutes=ways.check_minutes[rows],
                answers=[(outlook.likelihood @ given).T for outlook in outlooks],
                access=[self._group(check.access) for check in checks],
                access_minutes=ways.access_minutes,
                fix_access=[self._fix_groups[column] for column in kept],
                wrong_fix_minutes=self._wrong_minutes[kept],
                moves=Moves(
                    ways.to_check[:, rows], ways.to_fix[:, kept], ways.ends[rows], ends[kept]
                ),
                closes=ways.closes[rows],
                closing_minutes=ways.closing_minutes,
            ),
            [self._faults[column] for column in kept],
            checks,
        )

    def _as_one(self, kept: Integers, weights: Floats) -> tuple[Integers, Floats]:
        """Take all that means that nothing is broken as one: to tell them apart mends nothing.

        Returns:
            The columns that stand for what may be dealt with, the likeliest for those taken
            together; and which faults each stands for, shape (F, columns).
        """
        normal = [column for column in kept if self._faults[column].mode is Mode.NORMAL]
        if normal:
            best = max(normal, key=lambda column: weights[column])
            kept = np.array([one for one in kept if one == best or one not in normal])
        share = np.zeros((len(self._faults), len(kept)))
        share[kept, np.arange(len(kept))] = 1.0
        if normal:
            share[normal, list(kept).index(best)] = 1.0
        return kept, share

    def _dealt_with(self, position: Position, check_ids: Sequence[str]) -> Integers:
        """Columns of the faults that may be mended now: likely enough, and not left undone."""
        index = self._knowledge.fault_index
        weights = position.probabilities
        open_ = weights > NEGLIGIBLE
        open_[[index[name] for name in position.deferred]] = False
        # "Nothing is wrong" is never said on what was not read; who cannot tell was asked.
        known = {*position.answered, *check_ids}
        checks = self._knowledge.checks
        for column, fault in self._confirmed:
            unknown = set(fault.confirm_first).difference(known)
            if fault.mode is Mode.NORMAL and any(checks[one].kind == "reading" for one in unknown):
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


def _fixes_in_vain(knowledge: Knowledge) -> int:
    """After how many fixes that changed nothing the course hands a call over, in good time."""
    short: dict[str, FactValue] = {"fix.came-to": "done", "fix.proved": "short", "now.minutes": 0.0}
    over = [turn.when for turn in knowledge.course.values() if turn.next == "refer"]
    return next(
        (
            many
            for many in range(1, _FORESEEN)
            if any(truth(when, {**short, "fix.unmoved": float(many)}) for when in over)
        ),
        _FORESEEN,
    )


class _Ways:
    """Walks, set-ups, openings and put-backs of a rule set as arrays: P positions, G accesses.

    A position is a stand, or a station that the gauge is still at; number 0 is the door.

    Attributes:
        row: row of each check in the arrays over checks.
        fix_stands: where each fix is done, by fault.
        check_minutes: (C,) of each check with the gauge at hand.
        to_check: (P, C) minutes to get there and set the gauge up; `to_fix`: (P, F).
        ends: (C,) the position each check leaves us in; -1 for where we were.
        closes: (C, G) what must be put back before a check.
        access_minutes: (G,) of opening and putting back; `closing_minutes`: of the latter.
    """

    def __init__(self, knowledge: Knowledge) -> None:
        checks, accesses = list(knowledge.checks.values()), list(knowledge.accesses.values())
        self.row = {check.id: row for row, check in enumerate(checks)}
        self.fix_stands = [stand_of(knowledge, fault) for fault in knowledge.faults.values()]
        stations = {check.station: stand_of(knowledge, check) for check in checks if check.station}
        positions: list[tuple[str, Station | None]] = [
            *((stand, None) for stand in ("", *knowledge.stands)),
            *((stand, station) for station, stand in stations.items()),
        ]
        self._number = {position: number for number, position in enumerate(positions)}
        self.check_minutes = np.array([check.minutes - check.set_up for check in checks])
        self.to_check = np.array(
            [
                [
                    walk(knowledge, at, stand_of(knowledge, check))
                    + (0.0 if check.station and gauge is check.station else check.set_up)
                    for check in checks
                ]
                for at, gauge in positions
            ]
        ).reshape(len(positions), len(checks))
        self.to_fix = np.array(
            [[walk(knowledge, at, stand) for stand in self.fix_stands] for at, _ in positions]
        )
        after = [checking(knowledge, Footing(), check).after for check in checks]
        self.ends = np.array([self.number(one) or -1 for one in after], dtype=np.intp)
        undone = Footing(opened=frozenset(knowledge.accesses))
        shut = [checking(knowledge, undone, check).put_back for check in checks]
        self.closes: Flags = np.array(
            [[one.id in names for one in accesses] for names in shut], dtype=bool
        ).reshape(len(checks), len(accesses))
        self.closing_minutes = np.array([one.closing for one in accesses])
        self.access_minutes = self.closing_minutes + [
            one.minutes + sum(knowledge.accesses[name].minutes for name in one.also)
            for one in accesses
        ]

    def number(self, footing: Footing) -> int:
        """Which position that is."""
        at = self._number[footing.at, None]
        return self._number.get((footing.at, footing.gauge), at)
