"""What to do next: one routine, for the live visit and for every point of a tree.

Holds the order: what stops a visit, safety first, doubted readings, what follows from the last
fix, then the planner's choice. Words and the making of answers are left to `session` and
`unrolled`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from stillflow.engine.base import Mode
from stillflow.engine.dialogue.askable import Askable
from stillflow.engine.dialogue.choosing import Decision, Planner, Position
from stillflow.engine.dialogue.progress import Repair
from stillflow.engine.dialogue.verification import Verification
from stillflow.engine.inference import SKIPPED, Baseline, Visit
from stillflow.engine.ruleset import Check, FactValue, Fault, Knowledge, Stop

MoveKind = Literal[
    "stop",
    "safety",
    "again",
    "left",
    "in-order",
    "verify",
    "unmeasured",
    "restored",
    "ask",
    "confirm",
    "fix",
    "nothing-left",
]
ENDS: frozenset[MoveKind] = frozenset(
    {"stop", "left", "in-order", "unmeasured", "restored", "nothing-left"}
)


class Moment(Position, Protocol):
    """All that the next move hangs on: a visit's `Progress`, or a point of a tree."""

    @property
    def answered(self) -> Mapping[str, float | str]:
        """Answers believed now, by check."""

    @property
    def silent(self) -> Mapping[str, str]:
        """Checks without an answer, and why."""

    @property
    def again(self) -> Sequence[str]:
        """Ids of the checks to take again, the next one first."""

    @property
    def doubting(self) -> str:
        """Id of the rule that set them aside."""

    @property
    def last_repair(self) -> Repair | None:
        """The last fix, if there was one."""


@dataclass(frozen=True)
class Move:
    """What is done next: a check, a fix, or an end, with the rule or the numbers behind it."""

    kind: MoveKind
    check: Check | None = None
    fault: Fault | None = None
    rule_id: str = ""
    decision: Decision | None = None


class Course:
    """Decides what is done next over one rule set, visit and planner."""

    def __init__(
        self, knowledge: Knowledge, planner: Planner, visit: Visit, baseline: Baseline
    ) -> None:
        self._knowledge = knowledge
        self._planner = planner
        self._purpose = visit.purpose
        self._askable = Askable(knowledge, visit.missing_tools)
        self._verification = Verification(knowledge, baseline)

    def before_planning(self, moment: Moment, fired: Iterable[str]) -> Move | None:
        """The move that needs no look-ahead; None where the planner is to choose.

        Args:
            moment: how far the visit has come.
            fired: ids of the rules that fire there.
        """
        for rule_id in fired:
            if any(isinstance(item, Stop) for item in self._knowledge.rules[rule_id].then):
                return Move("stop", rule_id=rule_id)
        first = self._first(moment)
        if first is not None:
            return Move("safety", first)
        if moment.again:
            check = self._knowledge.checks[moment.again[0]]
            return Move("again", check, rule_id=moment.doubting)
        return self._after(moment)

    def planned(self, moment: Moment, facts: Mapping[str, FactValue]) -> Move:
        """The move that is expected to save most.

        Args:
            moment: how far the visit has come.
            facts: all that is known there, findings too.
        """
        checks, put_off = self._choices(moment, facts)
        decision = self._planner.decide(moment, checks)
        if put_off and (decision is None or decision.check_id is None):
            # No other check pays for itself any more, so what was put off comes back.
            decision = self._planner.decide(moment, [*checks, *put_off])
        if decision is None:
            return Move("nothing-left")
        if decision.check_id is not None:
            return Move("ask", self._knowledge.checks[decision.check_id], decision=decision)
        assert decision.fault_id is not None
        fault = self._knowledge.faults[decision.fault_id]
        standing = moment.situation.standing
        unknown = self._askable.to_confirm(fault, standing, _closed(moment))
        return Move("confirm" if unknown else "fix", unknown, fault, decision=decision)

    def nothing_left(self, moment: Moment, facts: Mapping[str, FactValue]) -> bool:
        """Whether `planned` would find no fault to deal with; looks nothing ahead."""
        checks, put_off = self._choices(moment, facts)
        return not self._planner.has_faults(moment, [*checks, *put_off])

    def _first(self, moment: Moment) -> Check | None:
        """A check that comes before anything else on a call, if one is still open."""
        if self._purpose != "call" and moment.situation.readings:
            # Readings taken without a complaint: whatever there was to fear has been run already.
            return None
        return self._askable.first(moment.situation.standing, _closed(moment))

    def _after(self, moment: Moment) -> Move | None:
        """What follows from the last fix: verify it, finish, hand over; None to go on."""
        repair = moment.last_repair
        if repair is None or not repair.found:
            return None
        fault = self._knowledge.faults[repair.fault_id]
        if not repair.done:
            return Move("left", fault=fault) if fault.fix.refer else None
        if fault.mode is Mode.NORMAL:
            return Move("in-order", fault=fault)
        standing = moment.situation.standing
        wanted = self._verification.checks(
            repair, lambda check: self._askable.possible(check, standing)
        )
        closed = _closed(moment)
        for check in wanted:
            if check.id not in closed:
                return Move("verify", check, fault)
        verdict = self._verification.verdict(wanted, moment.answered)
        if verdict is None:
            return Move("unmeasured", fault=fault)
        return Move("restored", fault=fault) if verdict else None

    def _choices(
        self, moment: Moment, facts: Mapping[str, FactValue]
    ) -> tuple[list[str], list[str]]:
        """Checks the planner may choose from, and those that were put off."""
        fit = self._askable.choices(moment.situation.standing, facts)
        closed = _closed(moment)
        unanswered = [check.id for check in fit if check.id not in closed]
        put_off = [check.id for check in fit if moment.silent.get(check.id) == SKIPPED]
        return unanswered, put_off


def _closed(moment: Moment) -> set[str]:
    return {*moment.answered, *moment.silent}
