"""What to do next: one routine, for the live visit and for every point of a tree.

Puts a moment of a visit into facts, and lets the rules of `course.yaml` say what comes next; their
order is all the order there is. Words are put round it in `session` and `unrolled`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol, cast

from stillflow.engine.base import AirState, KnowledgeError, Mode
from stillflow.engine.dialogue.askable import Askable
from stillflow.engine.dialogue.choosing import Decision, Planner, Position
from stillflow.engine.dialogue.steps import Choice, Ending, StepKind
from stillflow.engine.dialogue.verification import Repair, Verification
from stillflow.engine.inference import SKIPPED, Further, LikelihoodModel, Visit, course_for
from stillflow.engine.ruleset import (
    ENDS,
    Check,
    FactValue,
    Fault,
    Knowledge,
    Next,
    Turn,
    leaves,
)

FORESEEN = 0.99
"""From this chance on what a reading will show is taken as known."""


class Moment(Position, Protocol):
    """All that the next move hangs on: a visit's `Progress`, or a point of a tree."""

    @property
    def answered(self) -> Mapping[str, float | str]:
        """Answers believed now, by check."""

    @property
    def silent(self) -> Mapping[str, str]:
        """Checks without an answer, and why."""

    @property
    def in_vain(self) -> Mapping[str, int]:
        """How often a check was asked that has no answer still, by id."""

    @property
    def again(self) -> Sequence[str]:
        """Ids of the checks to take again, the next one first."""

    @property
    def doubting(self) -> str:
        """Id of the rule that set them aside."""

    @property
    def unmoved(self) -> int:
        """Fixes in a row that changed nothing."""

    @property
    def unmoved_before(self) -> int:
        """The same, but for the last."""

    @property
    def spent(self) -> float:
        """Minutes of the visit so far."""

    @property
    def last_repair(self) -> Repair | None:
        """The last fix, if there was one."""


@dataclass(frozen=True)
class Move:
    """What is done next: a check, a fix, or an end.

    Attributes:
        turn: the rule of the course that says so.
        check: to make, if any.
        fault: to fix, to prove or to confirm, or the one last dealt with.
        rule_ids: of the trade's rules that stop the visit, or of the one that doubts readings.
        decision: the planner's numbers, where it chose.
        ending: how it ends, if it does; `{measured}` is left open.
    """

    turn: Turn
    check: Check | None = None
    fault: Fault | None = None
    rule_ids: tuple[str, ...] = ()
    decision: Decision | None = None
    ending: Ending | None = None

    @property
    def kind(self) -> StepKind:
        """What kind of step it is."""
        if self.ending is not None:
            return cast(StepKind, self.turn.next)
        return "fix" if self.check is None else "check"

    @property
    def choice(self) -> Choice | None:
        """What the planner expected, where it chose."""
        return self.decision.choice if self.decision is not None else None

    @property
    def because(self) -> str:
        """Why this now, in a sentence."""
        return _filled(self.turn.because, self.fault)


@dataclass
class _Now:
    """A moment as facts, with what they stand for."""

    facts: dict[str, FactValue]
    checks: dict[Next, Check] = field(default_factory=dict)
    rules: dict[Next, tuple[str, ...]] = field(default_factory=dict)
    fault: Fault | None = None
    unsure: Check | None = None
    left: str = ""
    open: Sequence[str] = ()
    put_off: Sequence[str] = ()
    decision: Decision | None = None


class Course:
    """Decides what is done next over one rule set, visit and planner."""

    def __init__(
        self, knowledge: Knowledge, planner: Planner, visit: Visit, model: LikelihoodModel
    ) -> None:
        self._knowledge = knowledge
        self._planner = planner
        self._askable = Askable(knowledge, visit.missing_tools)
        self._verification = Verification(knowledge, model)
        self._model = model
        self._baseline = model.baseline
        self._engine = course_for(knowledge)
        named = [(turn, {leaf.fact for leaf in leaves(turn.when)}) for turn in knowledge.turns]
        self._used = frozenset().union(*(facts for _, facts in named))
        planned = [turn.salience for turn, facts in named if "plan.act" in facts]
        self._above_planning = max(planned, default=-1)

    def unplanned(
        self, moment: Moment, fired: Iterable[str], facts: Mapping[str, FactValue]
    ) -> Move | None:
        """The move that needs no look-ahead; None where the planner is to choose.

        Args:
            moment: how far the visit has come.
            fired: ids of the rules on the trade that fire there.
            facts: all that is known there, findings too.
        """
        return self._unplanned(moment, self._now(moment, fired, facts))

    def move(self, moment: Moment, fired: Iterable[str], facts: Mapping[str, FactValue]) -> Move:
        """What comes next; arguments as `unplanned`.

        Raises:
            KnowledgeError: no rule of the course says what.
        """
        now = self._now(moment, fired, facts)
        move = self._unplanned(moment, now)
        if move is not None:
            return move
        self._plan(moment, now, now.open)
        if now.put_off:
            now.facts["now.put-off"] = True
        turn = self._turn(now)
        if turn is not None and turn.next == "put-back":
            del now.facts["now.put-off"]
            self._plan(moment, now, [*now.open, *now.put_off])
            turn = self._turn(now)
        if turn is None:
            right = "see that an entry of the course holds whatever plan.act is"
            raise KnowledgeError("no rule says what comes next", right=right)
        return self._safe(now, self._made(turn, now))

    def _safe(self, now: _Now, move: Move) -> Move:
        """Before anything is started, what nobody could tell of dangers is asked again."""
        if now.unsure is None or move.check is None or not _starts(move.check):
            return move
        now.facts["now.starts"] = True
        now.checks["ask-first"] = now.unsure
        turn = self._turn(now)
        return move if turn is None else self._made(turn, now)

    def _unplanned(self, moment: Moment, now: _Now) -> Move | None:
        turn = self._turn(now)
        if turn is None:
            return None
        if turn.salience < self._above_planning and "plan.act" not in now.facts:
            return None
        return self._safe(now, self._made(turn, now))

    def _turn(self, now: _Now) -> Turn | None:
        """The first rule of the course to fire."""
        firings = self._engine.run(now.facts).firings
        return self._knowledge.course[firings[0].rule_id] if firings else None

    def _now(self, moment: Moment, fired: Iterable[str], facts: Mapping[str, FactValue]) -> _Now:
        """The moment as facts, but for what the planner would choose."""
        now = _Now({name: facts[name] for name in self._used & facts.keys()})
        known = now.facts
        standing, closed = moment.situation.standing, _closed(moment)
        stops = tuple(one for one in fired if self._knowledge.rules[one].stop is not None)
        if stops:
            known["now.stop"] = True
            now.rules["stop"] = stops
        first = self._askable.first(standing, closed)
        if first is not None:
            known["now.first"] = True
            now.checks["ask-first"] = first
        unanswered = self._askable.first(standing, moment.answered)
        if unanswered is not None and unanswered.id in moment.in_vain:
            known["now.unsure"] = float(moment.in_vain[unanswered.id])
            now.unsure = unanswered
        # What was read and set aside is not unmeasured: it is taken again.
        if not moment.situation.readings and not moment.again:
            known["now.unmeasured"] = True
        if moment.again:
            known["now.again"] = True
            now.checks["take-again"] = self._knowledge.checks[moment.again[0]]
            now.rules["take-again"] = (moment.doubting,)
        if moment.deferred:
            known["now.left-undone"] = True
            titles = (self._knowledge.faults[name].title for name in moment.deferred)
            now.left = ", ".join(titles)
        if moment.last_repair is not None:
            self._after(moment.last_repair, moment, now)
        now.open, now.put_off = self._choices(moment, facts)
        self._half_read(moment, now)
        if not self._planner.has_faults(moment, [*now.open, *now.put_off]):
            known["plan.act"] = "none"
        return now

    def _half_read(self, moment: Moment, now: _Now) -> None:
        """The other reading where the gauge still is, if only one was taken there.

        One that can hardly be but one thing is not worth the reading of the needle.
        """
        station, readings = moment.footing.gauge, moment.situation.readings
        if station is None:
            return
        beyond = (at for _, at in readings if isinstance(at, Further))
        gauge = next((at for at in beyond if str(at) == moment.footing.inlet), station)
        for check in (self._knowledge.checks[name] for name in now.open):
            if check.station is not station or check.condition is None:
                continue
            about = moment.ahead.get(check.id, (check.condition, station))[1]
            [other] = set(AirState) - {check.condition}
            read = readings.get((other, gauge))
            if read is None or about != gauge:
                continue
            [outlook] = self._model.outlooks(moment.situation, [check.id], moment.ahead)
            chances = outlook.likelihood @ moment.probabilities
            if chances.max() < FORESEEN * chances.sum():
                now.facts["now.half-read"] = read / self._baseline.at(other, gauge)
                now.checks["read-with"] = check

    def _after(self, repair: Repair, moment: Moment, now: _Now) -> None:
        """What the last fix came to, and whether that is known yet."""
        now.fault = fault = self._knowledge.faults[repair.fault_id]
        came_to = ("done" if repair.done else "left") if repair.found else "not-there"
        now.facts["fix.came-to"] = came_to
        if fault.fix.refer:
            now.facts["fix.for-others"] = True
        if fault.mode is Mode.NORMAL:
            now.facts["fix.nothing-wrong"] = True
        elif came_to == "done":
            standing, closed = moment.situation.standing, _closed(moment)
            wanted = self._verification.checks(
                repair, lambda check: self._askable.possible(check, standing)
            )
            unproved = next((check for check in wanted if check.id not in closed), None)
            short = self._verification.is_short(
                repair, wanted, moment.answered, moment.unmoved_before
            )
            if unproved is not None and not short:
                now.facts["fix.unproved"] = True
                now.checks["verify"] = unproved
            else:
                now.facts |= self._verification.outcome(repair, wanted, moment.answered)
                now.facts["fix.unmoved"] = float(moment.unmoved)
                now.facts["now.minutes"] = moment.spent
                now.facts["now.lead"] = float(moment.probabilities.max(initial=0.0))

    def _plan(self, moment: Moment, now: _Now, checks: Sequence[str]) -> None:
        """Lay in what the planner chooses among some checks."""
        now.decision = decision = self._planner.decide(moment, checks)
        if decision is None:
            # Only what was put off could show that nothing is wrong.
            now.facts["plan.act"] = "fix"
        elif decision.check_id is not None:
            now.facts["plan.act"] = "check"
            now.checks["ask"] = self._knowledge.checks[decision.check_id]
        else:
            assert decision.fault_id is not None
            now.facts["plan.act"] = "fix"
            now.fault = self._knowledge.faults[decision.fault_id]
            standing = moment.situation.standing
            unknown = self._askable.to_confirm(now.fault, standing, _closed(moment), moment.footing)
            if unknown is not None:
                now.facts["now.unconfirmed"] = True
                now.checks["confirm"] = unknown

    def _made(self, turn: Turn, now: _Now) -> Move:
        """The move that a rule of the course stands for at a moment."""
        ending = None
        rule_ids = now.rules.get(turn.next, ())
        if turn.next == "stop" and rule_ids:
            stops = (self._knowledge.rules[one].stop for one in rule_ids)
            ending = Ending.by(one for one in stops if one is not None)
        elif turn.next in ENDS:
            others = now.fault.fix.refer if now.fault is not None else ""
            call = (turn.call or others) if turn.next == "refer" else ""
            says = _filled(turn.says, now.fault, now.left)
            ending = Ending(what=says, call=call)
        check = now.checks.get(turn.next)
        planned = turn.next == "fix" and now.decision is not None
        if ending is None and check is None and not planned:
            where = self._knowledge.places["course", turn.id]
            right = "let its condition name the fact that there is"
            raise KnowledgeError(f"'{turn.id}' has nothing to {turn.next}", where, right)
        # The planner's numbers are those of its own choice.
        decision = None if turn.next == "read-with" else now.decision
        return Move(turn, check, now.fault, rule_ids, decision, ending)

    def _choices(
        self, moment: Moment, facts: Mapping[str, FactValue]
    ) -> tuple[list[str], list[str]]:
        """Checks the planner may choose from, and those that were put off."""
        fit = self._askable.choices(moment.situation.standing, facts)
        closed = _closed(moment)
        closed -= {name for name in moment.ahead if name not in moment.silent}
        unanswered = [check.id for check in fit if check.id not in closed]
        put_off = [check.id for check in fit if moment.silent.get(check.id) == SKIPPED]
        return unanswered, put_off


def _starts(check: Check) -> bool:
    """Whether a check has the unit run."""
    return check.kind == "reading" or check.again_after_fix


def _filled(words: str, fault: Fault | None, left: str = "") -> str:
    """Words of the course with what they leave open; what was measured stays open."""
    return words.replace("{fault}", fault.title if fault else "").replace("{left}", left)


def _closed(moment: Moment) -> set[str]:
    return {*moment.answered, *moment.silent}
