"""Simulated calls on the level of the rules' own tables, for policies to find their way through.

A call is a kind of unit and house, one hidden fault, and one draw of luck for each check. What a
check answers is read off P(answer | hidden fault, what was answered before) by that luck, so every
policy meets the same calls with the same luck. A fix costs its minutes, its access and the
measuring afterwards; one that was wrong rules its fault out, and answers given before it stand.
What must be known before a fix may be offered is asked first, whatever the policy. Answers are
drawn from the very tables that the policies reckon with: nothing here tests those.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, NamedTuple

import numpy as np

from stillflow.casebook.generated import CallKind
from stillflow.engine.base.arrays import Flags, Floats
from stillflow.engine.dialogue.askable import Askable
from stillflow.engine.dialogue.choosing import Planner
from stillflow.engine.inference.facts import Spot
from stillflow.engine.inference.likelihood import Situation
from stillflow.engine.ruleset import Footing, Outlay, checking, fixing
from stillflow.engine.simulate.calls import same_fix


class Act(NamedTuple):
    """A check to make or a fault to fix, by id."""

    kind: Literal["check", "fix"]
    id: str


@dataclass(eq=False)
class Point:
    """What is known and done at one moment of a call; the planner can decide on it."""

    situation: Situation
    probabilities: Floats
    answers: Mapping[str, str] = field(default_factory=dict)
    footing: Footing = Footing()  # noqa: RUF009 - it is frozen
    tried: frozenset[str] = frozenset()
    deferred: frozenset[str] = frozenset()
    ahead: Mapping[str, Spot] = field(default_factory=dict)
    act: Act | None = None
    after: dict[tuple[str, str], Point] = field(default_factory=dict)

    @property
    def answered(self) -> Mapping[str, str]:
        """Checks with an answer."""
        return self.answers


@dataclass(frozen=True)
class Outcome:
    """How a call went: minutes to the verified fix, checks made, fixes tried."""

    minutes: float
    checks: int
    fixes: int


Policy = Callable[[Point], Act]


class Place:
    """One kind of unit and house, where calls are played."""

    def __init__(self, kind: CallKind) -> None:
        self.kind = kind
        self.knowledge = kind.knowledge
        self.model = kind.model
        self.planner = Planner(kind.knowledge, kind.model, kind.baseline)
        self._askable = Askable(kind.knowledge)
        self.check_ids = list(kind.knowledge.checks)

    @cached_property
    def alike(self) -> Flags:
        """Which faults have the same fix, shape (F, F)."""
        names = list(self.knowledge.faults)
        return np.array([[same_fix(self.knowledge, a, b) for b in names] for a in names])

    def start(self) -> tuple[Point, float]:
        """The call with the question about danger behind it, and the minutes that took."""
        situation = self.kind.start
        point = Point(situation, self.model.prior(situation.standing))
        minutes = 0.0
        while (check := self._askable.first(situation.standing, point.answers)) is not None:
            minutes += self.cost(point, Act("check", check.id))
            point = self._told(point, check.id, 0)
        return point, minutes

    def choices(self, point: Point) -> list[str]:
        """Ids of the checks that may be made."""
        standing = point.situation.standing
        facts = self.model.facts(point.situation)
        return [
            check.id
            for check in self._askable.choices(standing, facts)
            if check.id not in point.answers
        ]

    def can_be_made(self, check_id: str) -> bool:
        """Whether a check is possible in this house at all."""
        check = self.knowledge.checks[check_id]
        return self._askable.possible(check, self.kind.start.standing)

    def cost(self, point: Point, act: Act) -> float:
        """Minutes of an act with what has to be opened, and measured after a fix."""
        outlay = self.outlay(point, act)
        if act.kind == "check":
            return outlay.minutes
        return outlay.minutes + self.planner.proving(point.situation, outlay.after)[0]

    def outlay(self, point: Point, act: Act) -> Outlay:
        """What an act takes, and how it leaves the house."""
        if act.kind == "check":
            return checking(self.knowledge, point.footing, self.knowledge.checks[act.id])
        return fixing(self.knowledge, point.footing, self.knowledge.faults[act.id])

    def play(self, start: Point, policy: Policy, hidden: str, luck: Floats) -> Outcome:
        """Follow a policy from a point to the right fix.

        A wrong fix costs its minutes, and what the rules say is lost by it besides: the second
        drive where it would have ended the call.

        Args:
            start: the point; what comes after it is kept in it, for further calls.
            policy: asked once at every point.
            hidden: the fault.
            luck: below 1, for each check of the rules, (C,).
        """
        point, minutes, checks, fixes = start, 0.0, 0, 0
        column = self.knowledge.fault_index[hidden]
        while True:
            if point.act is None:
                point.act = self._due(point, policy(point))
            act = point.act
            minutes += self.cost(point, act)
            if act.kind == "check":
                checks += 1
                point = self.seen(point, act, column, luck)
                continue
            fixes += 1
            if self.alike[column, self.knowledge.fault_index[act.id]]:
                return Outcome(minutes, checks, fixes)
            minutes += self.knowledge.faults[act.id].fix.if_wrong_minutes
            key = act.id, ""
            if key not in point.after:
                point.after[key] = self._without(point, act.id)
            point = point.after[key]

    def seen(self, point: Point, act: Act, column: int, luck: Floats) -> Point:
        """The point after a check, answered by the tables and the luck of the call."""
        answers, until = self._chances(point, act.id)
        here = luck[self.check_ids.index(act.id)]
        number = int(np.searchsorted(until[:, column], here, side="right"))
        key = act.id, answers[number]
        if key not in point.after:
            point.after[key] = self._told(point, act.id, number)
        return point.after[key]

    def _due(self, point: Point, act: Act) -> Act:
        if act.kind == "check":
            return act
        fault = self.knowledge.faults[act.id]
        standing = point.situation.standing
        first = self._askable.to_confirm(fault, standing, point.answers)
        return act if first is None else Act("check", first.id)

    def _chances(self, point: Point, check_id: str) -> tuple[tuple[str, ...], Floats]:
        check = self.knowledge.checks[check_id]
        return self.kind.chances(point.situation, self.model.facts(point.situation), check)

    def _told(self, point: Point, check_id: str, number: int) -> Point:
        check = self.knowledge.checks[check_id]
        answer = self._chances(point, check_id)[0][number]
        [outlook] = self.model.outlooks(point.situation, [check_id])
        weights = point.probabilities * outlook.likelihood[outlook.answers.index(answer)]
        return Point(
            self.kind.learnt(point.situation, check, answer),
            weights / weights.sum(),
            {**point.answers, check_id: answer},
            self.outlay(point, Act("check", check_id)).after,
            point.tried,
        )

    def _without(self, point: Point, fault_id: str) -> Point:
        weights = point.probabilities.copy()
        weights[self.knowledge.fault_index[fault_id]] = 0.0
        return Point(
            point.situation,
            weights / weights.sum(),
            point.answers,
            self.outlay(point, Act("fix", fault_id)).after,
            point.tried | {fault_id},
        )
