"""The dialogue of a visit as a state machine: facts in, next step out.

Holds what to do next and in which order: what ends the visit, doubted readings, verification of
the last fix, the planner's choice. How answers become belief is in `progress`, how a choice is
made in `plan`, how it is said in `present` and `explain`. No input or output.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from stillflow.engine.airflow import Estimate
from stillflow.engine.base import Mode
from stillflow.engine.dialogue.askable import Askable
from stillflow.engine.dialogue.choosing import Planner
from stillflow.engine.dialogue.explain import Meaning, meanings, reasons
from stillflow.engine.dialogue.measured import outcome_words
from stillflow.engine.dialogue.present import Presenter
from stillflow.engine.dialogue.progress import Progress, Repair
from stillflow.engine.dialogue.steps import Ending, NextStep
from stillflow.engine.dialogue.verification import Verification
from stillflow.engine.inference import (
    SKIPPED,
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
)
from stillflow.engine.planning import Think
from stillflow.engine.ruleset import Check, FactValue, Fault, Knowledge, Stop

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
        self._planner = Planner(knowledge, self._model, think, wrong_part_minutes)
        self._askable = Askable(knowledge, visit.missing_tools)
        self._verification = Verification(knowledge, self.baseline)
        self._step: NextStep | None = None
        self.progress = self._replay(visit.events)

    @property
    def visit(self) -> Visit:
        """The record with every event so far, and the conclusion if there is one."""
        step = self.next_step()
        conclusion = None
        if step.ending is not None:
            tried = self.progress.tried
            fault = step.fix.fault if step.fix else tried[-1] if tried else None
            conclusion = Conclusion(step=step.step, fault=fault, text=step.ending.what)
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
        self.progress.apply(event)
        self._visit = self._visit.model_copy(update={"events": (*self._visit.events, event)})
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

    def _decide(self) -> NextStep:
        concluded = self.conclude()
        present = Presenter(
            self.knowledge, self.baseline, self._visit, self.progress, concluded.firings
        )
        for firing in concluded.firings:
            for item in self.knowledge.rules[firing.rule_id].then:
                if isinstance(item, Stop):
                    ending = Ending(what=item.stop, call=item.call, do_not=item.do_not)
                    because = self.knowledge.rules[firing.rule_id].because
                    return present.end("stop", ending, (because,))
        first = self._first()
        if first is not None:
            return present.check(first, ("Safety first: this is asked before anything is run.",))
        if self.progress.again:
            because = self.knowledge.rules[self.progress.doubting].because
            check = self.knowledge.checks[self.progress.again[0]]
            return present.check(check, (because, "So it is taken again before it is believed."))
        if self.progress.repairs:
            step = self._after(self.progress.repairs[-1], present)
            if step is not None:
                return step
        return self._plan(present, concluded)

    def _after(self, repair: Repair, present: Presenter) -> NextStep | None:
        """What follows from the last fix: verify it, finish, hand over; None to go on."""
        fault = self.knowledge.faults[repair.fault_id]
        if not repair.found:
            return None
        if not repair.done:
            if fault.fix.refer:
                ending = Ending(what=f"{fault.title}: left for others.", call=fault.fix.refer)
                return present.end("refer", ending)
            return None
        if fault.mode is Mode.NORMAL:
            ending = Ending(what=f"{fault.title}. {NOTHING_CHANGED}")
            return present.end("done", ending, repair=repair)
        wanted = self._verification.checks(repair, self._possible)
        for check in wanted:
            if self._open(check):
                because = f"'{fault.title}' is dealt with: is the suction back?"
                return present.check(check, (because,), verifying=fault.id)
        verdict = self._verification.verdict(wanted, self.progress.answered)
        if verdict is None:
            what = f"{fault.title}: dealt with, but nothing could be measured afterwards."
            return present.end("refer", Ending(what=what, call=SENIOR))
        if verdict:
            measured = outcome_words(self.knowledge, self.baseline, self.progress)
            ending = Ending(what=f"Restored: {fault.title}. {measured}")
            return present.end("done", ending, repair=repair)
        return None

    def _plan(self, present: Presenter, concluded: Conclusions) -> NextStep:
        checks, put_off = self._choices(concluded.facts)
        decision = self._planner.decide(self.progress, checks)
        if put_off and (decision is None or decision.check_id is None):
            # No other check pays for itself any more, so what was put off comes back.
            decision = self._planner.decide(self.progress, [*checks, *put_off])
        if decision is None:
            left = [self.knowledge.faults[name].title for name in self.progress.deferred]
            what = f"Left undone: {', '.join(left)}." if left else "Every fault is ruled out."
            return present.end("refer", Ending(what=what, call=SENIOR))
        because = reasons(self.knowledge, self.progress, concluded.firings)
        if decision.check_id is not None:
            check = self.knowledge.checks[decision.check_id]
            return present.check(check, because, decision.choice)
        assert decision.fault_id is not None
        fault = self.knowledge.faults[decision.fault_id]
        first = self._to_confirm(fault)
        if first is not None:
            need = f"Before it can be called '{fault.title.lower()}', this must be known."
            return present.check(first, (need, *because), decision.choice)
        return present.fix(fault, because, decision.choice)

    def _first(self) -> Check | None:
        """A check that comes before anything else on a call, if one is still open."""
        if self._visit.purpose != "call" and self.progress.situation.readings:
            # Readings taken without a complaint: whatever there was to fear has been run already.
            return None
        return self._askable.first(self.progress.situation.standing, self.progress.closed)

    def _to_confirm(self, fault: Fault) -> Check | None:
        standing = self.progress.situation.standing
        return self._askable.to_confirm(fault, standing, self.progress.closed)

    def _open(self, check: Check) -> bool:
        return check.id not in self.progress.closed

    def _possible(self, check: Check) -> bool:
        return self._askable.possible(check, self.progress.situation.standing)

    def _choices(self, facts: Mapping[str, FactValue]) -> tuple[list[str], list[str]]:
        """Checks the planner may choose from, and those that were put off."""
        fit = self._askable.choices(self.progress.situation.standing, facts)
        unanswered = [check.id for check in fit if self._open(check)]
        put_off = [check.id for check in fit if self.progress.silent.get(check.id) == SKIPPED]
        return unanswered, put_off
