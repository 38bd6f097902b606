"""The dialogue of a visit as a state machine: facts in, next step out.

Holds the record of one visit and puts the next move into words. What comes next is decided in
`course`, how answers become belief in `progress`, how a choice is made in `choosing`, how it is
said in `present` and `explain`. No input or output.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from stillflow.engine.airflow import Estimate
from stillflow.engine.dialogue.choosing import Planner
from stillflow.engine.dialogue.course import ENDS, Course, Move
from stillflow.engine.dialogue.explain import Meaning, meanings, reasons
from stillflow.engine.dialogue.measured import outcome_words
from stillflow.engine.dialogue.present import Presenter
from stillflow.engine.dialogue.progress import Progress
from stillflow.engine.dialogue.steps import Ending, NextStep, StepKind
from stillflow.engine.inference import (
    Baseline,
    Conclusion,
    Conclusions,
    Event,
    LikelihoodModel,
    Situation,
    Visit,
    baseline_for,
    checked_event,
    inference_for,
    known_check,
    rule_table,
    with_event,
)
from stillflow.engine.planning import Think
from stillflow.engine.ruleset import Check, FactValue, Knowledge, Stop

SENIOR = "a senior technician"

NOTHING_CHANGED = "Nothing was put right, so nothing was measured again."


class Session:
    """One visit in progress.

    Args:
        knowledge: a loaded rule set.
        visit: the record so far; an empty one by default. Its events are replayed.
        think: how hard to look ahead for the next check.
        wrong_part_minutes: the price, in minutes, of having fitted a part that was not needed.

    Raises:
        InputError: an event of the visit names an unknown check or fault, or an answer that
            cannot be.
    """

    def __init__(
        self,
        knowledge: Knowledge,
        visit: Visit | None = None,
        think: Think = "normal",
        wrong_part_minutes: float = 0.0,
    ) -> None:
        visit = visit or Visit()
        self.knowledge = knowledge
        self.baseline: Baseline = baseline_for(visit, knowledge)
        self._visit = visit if visit.rules else visit.model_copy(update={"rules": knowledge.digest})
        self._model = LikelihoodModel(
            knowledge, rule_table(knowledge), self.baseline, visit.gauge.tolerance
        )
        self._inference = inference_for(knowledge)
        self._planner = Planner(knowledge, self._model, self.baseline, think, wrong_part_minutes)
        self._course = Course(knowledge, self._planner, visit, self.baseline)
        self._step: NextStep | None = None
        self.progress = self._replay(visit.events)

    @property
    def visit(self) -> Visit:
        """The record with every event so far, and the conclusion if there is one.

        Looks nothing ahead: whether a visit is over can be told without the planner's choice.
        """
        concluded = self.conclude()
        move = self._unplanned(concluded)
        if move is None and self._course.nothing_left(self.progress, concluded.facts):
            move = Move("nothing-left")
        conclusion = None
        if move is not None and move.kind in ENDS:
            tried = self.progress.tried
            kind, ending = self._ending(move)
            conclusion = Conclusion(step=kind, fault=tried[-1] if tried else None, text=ending.what)
        return self._visit.model_copy(update={"conclusion": conclusion})

    @property
    def events(self) -> tuple[Event, ...]:
        """Everything recorded so far, in order."""
        return self._visit.events

    def record(self, check_id: str, answer: float | str, at: datetime | None = None) -> None:
        """Take in the answer to a check.

        Args:
            check_id: which check.
            answer: for a reading inH2O as a number, or text with a unit; for a choice the
                answer's id; for either `can't tell`, `can't do here` or `skipped`.
            at: when, UTC.

        Raises:
            InputError: no such check, or an answer it does not have.
        """
        self._take(Event(check=check_id, answer=answer, at=at))

    def record_fix(
        self,
        fault_id: str,
        done: bool = True,
        at: datetime | None = None,
        found: bool = True,
    ) -> None:
        """Take in that a fix was done, left undone, or that its fault was not there.

        Args:
            fault_id: the fault.
            done: whether the fix was done.
            at: when, UTC.
            found: False if the fault turned out not to be there; then nothing was changed, and
                the readings still hold.

        Raises:
            InputError: no such fault.
        """
        self._take(Event(fix=fault_id, done=done, found=None if found else False, at=at))

    def undo(self) -> Event | None:
        """Take back the last event, and return it; None if there is none."""
        if not self._visit.events:
            return None
        *kept, last = self._visit.events
        self.progress = self._replay(kept)
        return last

    def next_step(self) -> NextStep:
        """What to do now. The same record gives the same step."""
        if self._step is None:
            self._step = self._decide()
        return self._step

    def safety_question(self) -> Check | None:
        """The question about danger, where it comes next."""
        move = self._unplanned(self.conclude())
        return move.check if move is not None and move.kind == "safety" else None

    @property
    def is_stopped(self) -> bool:
        """A rule forbids to go on."""
        move = self._unplanned(self.conclude())
        return move is not None and move.kind == "stop"

    def conclude(self, situation: Situation | None = None) -> Conclusions:
        """What the rules make, by experta, of what is known now or was at an earlier moment."""
        return self._inference.run(self._model.all_facts(situation or self.progress.situation))

    def sizes(self, situation: Situation | None = None) -> Estimate | None:
        """How big a leak or a squeeze would explain the readings; None without readings."""
        return self._model.sizes(situation or self.progress.situation)

    def facts(self, situation: Situation) -> dict[str, FactValue]:
        """The plain facts of a moment, without findings."""
        return self._model.all_facts(situation)

    def meanings(self, check_id: str) -> tuple[Meaning, ...]:
        """What each answer to a check would make of the belief.

        Raises:
            InputError: no such check.
        """
        check = known_check(self.knowledge, check_id)
        return meanings(self.knowledge, self.progress, self._model, self.baseline, check)

    def _take(self, event: Event) -> None:
        event = checked_event(self.knowledge, event)
        visit = with_event(self._visit, event)
        self.progress.apply(event)
        self._visit = visit
        self._step = None

    def _replay(self, events: Sequence[Event]) -> Progress:
        progress = Progress(self.knowledge, self._model, self._visit)
        checked = tuple(
            checked_event(self.knowledge, event, f"events.{index}")
            for index, event in enumerate(events)
        )
        for event in checked:
            progress.apply(event)
        self._visit = self._visit.model_copy(update={"events": checked})
        self._step = None
        return progress

    def _unplanned(self, concluded: Conclusions) -> Move | None:
        fired = (firing.rule_id for firing in concluded.firings)
        return self._course.before_planning(self.progress, fired)

    def _decide(self) -> NextStep:
        concluded = self.conclude()
        present = Presenter(
            self.knowledge, self.baseline, self._visit, self.progress, concluded.firings
        )
        move = self._unplanned(concluded) or self._course.planned(self.progress, concluded.facts)
        if move.kind in ENDS:
            kind, ending = self._ending(move)
            why = [self.knowledge.rules[move.rule_id].because] if move.rule_id else []
            repair = self.progress.last_repair if kind == "done" else None
            return present.end(kind, ending, why, repair)
        choice = move.decision.choice if move.decision is not None else None
        because = self._because(move, concluded)
        if move.check is not None:
            verifying = move.fault.id if move.kind == "verify" and move.fault is not None else ""
            return present.check(move.check, because, choice, verifying)
        assert move.fault is not None
        return present.fix(move.fault, because, choice)

    def _because(self, move: Move, concluded: Conclusions) -> tuple[str, ...]:
        """Why a check or a fix is next, in sentences."""
        if move.kind == "safety":
            return ("Safety first: this is asked before anything is run.",)
        if move.kind == "again":
            doubt = self.knowledge.rules[move.rule_id].because
            return (doubt, "So it is taken again before it is believed.")
        if move.kind == "verify":
            assert move.fault is not None
            return (f"'{move.fault.title}' is dealt with: is the suction back?",)
        because = tuple(reasons(self.knowledge, self.progress, concluded.firings))
        if move.kind == "confirm":
            assert move.fault is not None
            need = f"Before it can be called '{move.fault.title.lower()}', this must be known."
            return (need, *because)
        return because

    def _ending(self, move: Move) -> tuple[StepKind, Ending]:
        """The words of a move that ends the guided part."""
        if move.kind == "stop":
            rule = self.knowledge.rules[move.rule_id]
            stop = next(item for item in rule.then if isinstance(item, Stop))
            return "stop", Ending(what=stop.stop, call=stop.call, do_not=stop.do_not)
        if move.kind == "nothing-left":
            left = [self.knowledge.faults[name].title for name in self.progress.deferred]
            what = f"Left undone: {', '.join(left)}." if left else "Every fault is ruled out."
            return "refer", Ending(what=what, call=SENIOR)
        fault = move.fault
        assert fault is not None
        if move.kind == "left":
            ending = Ending(what=f"{fault.title}: left for others.", call=fault.fix.refer)
            return "refer", ending
        if move.kind == "unmeasured":
            what = f"{fault.title}: dealt with, but nothing could be measured afterwards."
            return "refer", Ending(what=what, call=SENIOR)
        if move.kind == "in-order":
            return "done", Ending(what=f"{fault.title}. {NOTHING_CHANGED}")
        measured = outcome_words(self.knowledge, self.baseline, self.progress)
        return "done", Ending(what=f"Restored: {fault.title}. {measured}")
