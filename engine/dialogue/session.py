"""The dialogue of a visit as a state machine: facts in, next step out.

Holds the record of one visit and puts the next move into words. What comes next is decided in
`course`, how answers become belief in `progress`, how a choice is made in `choosing`, how it is
said in `present` and `explain`. No input or output.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from datetime import datetime
from typing import Protocol

from stillflow.engine.base import Floats, Station, answer_fact
from stillflow.engine.dialogue.answers import given
from stillflow.engine.dialogue.choosing import Planner
from stillflow.engine.dialogue.contradiction import contradiction_words
from stillflow.engine.dialogue.course import Course, Move
from stillflow.engine.dialogue.explain import Meaning, meanings, reasons
from stillflow.engine.dialogue.measured import answered_in, outcome_words
from stillflow.engine.dialogue.places import Places, done_words
from stillflow.engine.dialogue.present import Presenter, fault_shares
from stillflow.engine.dialogue.progress import Progress
from stillflow.engine.dialogue.steps import CheckStep, Ending, NextStep, inlet_of
from stillflow.engine.dialogue.verification import Repair
from stillflow.engine.dialogue.voice import Said, say
from stillflow.engine.inference import (
    NO_ANSWER,
    Baseline,
    Conclusion,
    Conclusions,
    Event,
    GoodReading,
    LikelihoodModel,
    Outlook,
    Situation,
    Sizes,
    Visit,
    baseline_for,
    checked_event,
    checked_strikes,
    inference_for,
    known_check,
    reads_well,
    rule_table,
    spot_of,
    with_event,
)
from stillflow.engine.planning import Think
from stillflow.engine.ruleset import Check, FactValue, Knowledge, Rule, heard, truth


class Believed(Protocol):
    """A moment of a visit: what was known then, and how likely each fault was, shape (F,)."""

    @property
    def situation(self) -> Situation:
        """What was known."""
        ...

    @property
    def probabilities(self) -> Floats:
        """Of every fault, in the order of the knowledge."""
        ...


class Session:
    """One visit in progress.

    Args:
        knowledge: a loaded rule set.
        visit: the record so far; an empty one by default. Its events are replayed.
        think: how hard to look ahead for the next check.
        wrong_part_minutes: the price, in minutes, of having fitted a part that was not needed.

    Attributes:
        climbed: minutes that the whole visit is now expected to take beyond what was foreseen when
            this session last looked ahead; below 0 for fewer.

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
        self._model = LikelihoodModel(knowledge, rule_table(knowledge), self.baseline, visit)
        self._inference = inference_for(knowledge)
        self._planner = Planner(knowledge, self._model, self.baseline, think, wrong_part_minutes)
        self._course = Course(knowledge, self._planner, visit, self._model)
        self._step: NextStep | None = None
        self._questioned: tuple[str | None, str | None, float | str | None] | None = None
        self._doubts: set[str] = set()
        self._then: NextStep | None = None
        self._concluded: Conclusions | None = None
        self._whole: Visit | None = None
        self._foreseen: float | None = None
        self.progress = self._replay(visit.events)

    @property
    def visit(self) -> Visit:
        """The record with every event so far, and the conclusion if there is one.

        Looks nothing ahead: whether a visit is over can be told without the planner's choice.
        """
        if self._whole is not None:
            return self._whole
        move = self._unplanned(self.conclude())
        conclusion = None
        if move is not None and move.ending is not None:
            tried = self.progress.tried
            text = self._ending(move.ending).what
            fault = tried[-1] if tried else None
            proved = move.turn.proves
            good = self._good_readings(proved) if move.kind == "done" else ()
            conclusion = Conclusion(
                step=move.kind, fault=fault, text=text, proved=proved, readings=good
            )
        self._whole = self._visit.model_copy(update={"conclusion": conclusion})
        return self._whole

    @property
    def events(self) -> tuple[Event, ...]:
        """Everything recorded so far, in order."""
        return self._visit.events

    def record(
        self,
        check_id: str,
        answer: float | str,
        at: datetime | None = None,
        inlet: str | None = None,
    ) -> None:
        """Take in the answer to a check.

        Args:
            check_id: which check.
            answer: for a reading inH2O as a number, or text with a unit; for a choice the
                answer's id; for either `can't tell`, `can't do here` or `skipped`.
            at: when, UTC.
            inlet: name of the inlet that the answer is about. Station `other` may be read at any
                number of inlets; each name is a reading of its own.

        Raises:
            InputError: no such check, an answer it does not have, or an inlet that it is not about.
        """
        self.take(Event(check=check_id, answer=answer, at=at, inlet=inlet))

    def record_fix(
        self,
        fault_id: str,
        done: bool = True,
        at: datetime | None = None,
        found: bool = True,
        inlet: str | None = None,
    ) -> None:
        """Take in that a fix was done, left undone, or that its fault was not there.

        Args:
            fault_id: the fault.
            done: whether the fix was done.
            at: when, UTC.
            found: False if the fault turned out not to be there; then nothing was changed, and
                the readings still hold.
            inlet: name of the inlet it was done at; the one that `next_step` named by default.

        Raises:
            InputError: no such fault.
        """
        found_ = None if found else False
        self.take(Event(fix=fault_id, done=done, found=found_, at=at, inlet=inlet))

    def checked(self, event: Event) -> Event:
        """The event as it would go on record: with the inlet of the step that it answers.

        Raises:
            InputError: it cannot, as for `record` and `record_fix`.
        """
        if event.inlet is None and self._step is not None and event.answer not in NO_ANSWER:
            event = event.model_copy(update={"inlet": inlet_of(self._step, event)})
        return checked_event(self.knowledge, event, inlets=self.progress.inlets)

    def questioned(self, event: Event) -> str:
        """Why an answer should be looked at again before it is recorded; empty if it need not be.

        A reading that goes with nothing read before is more often a slip than a find, and so is
        the name of an inlet that is nearly a known one; given a second time in a row it is meant.
        """
        if event.answer in NO_ANSWER or event.check in self.progress.again:
            return ""
        checked = self.checked(event)
        given = (checked.check or checked.fix, checked.inlet, checked.answer)
        if given != self._questioned:
            self._questioned, self._doubts = given, set()
        for doubt in self._doubts_of(checked):
            if doubt not in self._doubts:
                self._doubts.add(doubt)
                return doubt
        return ""

    def _doubts_of(self, event: Event) -> Iterator[str]:
        near = self.progress.inlets.near(event.inlet or "")
        if near:
            yield (
                f"no inlet is called '{event.inlet}' so far, but one '{near}': did you mean that? "
                "The same name once more keeps it"
            )
        odd = self.progress.questioned(event) if event.check is not None else ""
        if odd:
            yield f"{odd}; look at the needle again, the same number once more keeps it"

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
            if self._step.choice is not None:
                whole = self.progress.spent + self._step.choice.expected
                self.climbed = 0.0 if self._foreseen is None else whole - self._foreseen
                self._foreseen = whole if self.progress.situation.readings else None
        return self._step

    def step_for(self, check_id: str) -> CheckStep:
        """A check as it would be asked now, whether it is next or not.

        Raises:
            InputError: no such check.
        """
        step = self.once_more(check_id).check
        assert step is not None
        return step

    def safety_question(self) -> Check | None:
        """The question about danger, where it comes next."""
        move = self._unplanned(self.conclude())
        return move.check if move is not None and move.turn.next == "ask-first" else None

    @property
    def is_stopped(self) -> bool:
        """A rule forbids to go on."""
        move = self._unplanned(self.conclude())
        return move is not None and move.turn.next == "stop"

    def conclude(self, situation: Situation | None = None) -> Conclusions:
        """What the rules make, by experta, of what is known now or was at an earlier moment."""
        if situation is not None:
            return self._inference.run(self._model.facts(situation))
        if self._concluded is None:
            self._concluded = self._inference.run(self._model.facts(self.progress.situation))
        return self._concluded

    def sizes(self, at: Believed | None = None) -> Sizes | None:
        """What readings and belief say of losses, and how big; None without readings.

        Args:
            at: a moment of the visit, such as a round or a repair; now by default.
        """
        at = at or self.progress
        return self._model.sizes(at.situation, at.probabilities)

    def said(self, at: Believed | None = None) -> Said:
        """The belief of a moment, now by default, in sentences that agree with each other.

        While readings wait to be taken again, why they cannot be.
        """
        at = at or self.progress
        if at is self.progress and self.progress.again:
            return Said(contradiction_words(self.progress, self.baseline))
        places = Places(self.progress) if at is self.progress else None
        shares = fault_shares(self.knowledge, at.probabilities, places)
        return say(self.knowledge, self.baseline, shares, self.sizes(at))

    def facts(self, situation: Situation) -> dict[str, FactValue]:
        """The plain facts of a moment, without findings."""
        return self._model.facts(situation)

    def meanings(self, check_id: str) -> tuple[Meaning, ...]:
        """What each answer to a check would make of the belief.

        Raises:
            InputError: no such check.
        """
        check = known_check(self.knowledge, check_id)
        return meanings(self.knowledge, self.progress, self._model, self.baseline, check)

    def take(self, event: Event) -> None:
        """Take in an event as it stands in a record.

        Raises:
            InputError: it cannot be, as for `record` and `record_fix`.
        """
        event = self.checked(event)
        visit = with_event(self._visit, event)
        if event.strikes is not None:
            self.progress = self._replay(visit.events)
            return
        self.progress.apply(event)
        self._go_on_from(visit)

    def _go_on_from(self, visit: Visit) -> None:
        self._visit = visit
        self._step = self._then = self._concluded = self._questioned = self._whole = None

    def _replay(self, events: Sequence[Event]) -> Progress:
        progress = Progress(self.knowledge, self._model, self._visit)
        checked: list[Event] = []
        struck = self._visit.model_copy(update={"events": tuple(events)}).struck
        for index, event in enumerate(events):
            where = f"events.{index}"
            checked.append(checked_event(self.knowledge, event, where, progress.inlets))
            progress.apply(checked[-1], index + 1 in struck)
        visit = self._visit.model_copy(update={"events": tuple(checked)})
        checked_strikes(visit)
        self._go_on_from(visit)
        # What was foreseen after an answer that is taken back is nothing to compare with.
        self._foreseen, self.climbed = None, 0.0
        return progress

    def _unplanned(self, concluded: Conclusions) -> Move | None:
        return self._course.unplanned(self.progress, _fired(concluded), concluded.facts)

    def _decide(self) -> NextStep:
        concluded = self.conclude()
        present = Presenter(self.knowledge, self.baseline, self.progress, concluded.firings)
        move = self._course.move(self.progress, _fired(concluded), concluded.facts)
        if move.ending is not None:
            why = [self.knowledge.rules[one].because for one in move.rule_ids]
            step = present.end(move.kind, self._ending(move.ending), why, self._proved(move))
        elif move.check is not None:
            verifying = move.fault.id if move.turn.next == "verify" and move.fault else ""
            because = self._because(move, concluded)
            step = present.check(move.check, because, move.choice, verifying)
        else:
            assert move.fault is not None
            step = present.fix(move.fault, self._because(move, concluded), move.choice)
        changes: dict[str, object] = {"turn": move.turn.id, "why_now": move.because}
        if move.turn.next == "take-again" and move.check is not None:
            changes["contradiction"] = contradiction_words(self.progress, self.baseline)
            aside = self.progress.set_aside.get(move.check.id)
            if aside is not None:
                changes["read_before"] = float(aside.answer) + self._visit.gauge.zero
        return step.model_copy(update=changes)

    def once_more(self, check_id: str, because: str = "") -> NextStep:
        """A check as a step, whether it comes next or not: what is known is asked once more.

        Raises:
            InputError: no such check.
        """
        check = known_check(self.knowledge, check_id)
        firings = self.conclude().firings
        present = Presenter(self.knowledge, self.baseline, self.progress, firings)
        step = present.check(check, [because] if because else [])
        return step.model_copy(update={"why_now": because})

    def safety_step(self) -> NextStep | None:
        """The question about danger, at any time; None where the rules have none."""
        first = next((one for one in self.knowledge.checks.values() if one.first), None)
        return None if first is None else self.once_more(first.id, "A danger goes before all else.")

    def proof_step(self) -> NextStep | None:
        """The last question that showed a fix to have worked, asked again; None where none did."""
        proofs = [
            asked.check_id
            for asked in self.progress.asked
            if self.knowledge.checks[asked.check_id].verifies
            and self.knowledge.checks[asked.check_id].kind == "choice"
        ]
        return self.once_more(proofs[-1], "The fix did not last.") if proofs else None

    def supposing(self, event: Event) -> Session:
        """The visit as it would be after one event more; this one stays as it is.

        Raises:
            InputError: it cannot be.
        """
        other = copy(self)
        other.progress = self.progress.copied()
        other.take(event)
        return other

    def foreseen(self) -> NextStep | None:
        """The step after the likeliest answer to this one; None where nothing follows."""
        if self._then is None:
            step = self.next_step()
            if step.check is not None:
                event = Event(check=step.check.id, answer=self._likeliest(step.check.id))
            elif step.fix is not None:
                event = Event(fix=step.fix.fault, done=True, inlet=step.fix.inlet)
            else:
                return None
            self._then = self.supposing(event).next_step()
        return self._then

    def _likeliest(self, check_id: str) -> float | str:
        """The likeliest answer to a check, as it would be recorded."""
        outlook = self.outlook(check_id)
        chances = outlook.likelihood @ self.progress.probabilities
        check = self.knowledge.checks[check_id]
        answer = given(self.knowledge, self.baseline, check, outlook.answers[chances.argmax()])
        return answer if isinstance(answer, str) else answer + self._visit.gauge.zero

    def outlook(self, check_id: str) -> Outlook:
        """What a check could answer, given each fault, after all that is known.

        Raises:
            InputError: no such check.
        """
        known_check(self.knowledge, check_id)
        return self._model.outlooks(self.progress.situation, [check_id])[0]

    def stopped_by(self) -> list[str]:
        """Ids of the checks whose answers stop the visit."""
        return [
            name.removeprefix("answer.")
            for firing in self.conclude().firings
            if self.knowledge.rules[firing.rule_id].stop is not None
            for name in firing.facts
            if name.startswith("answer.")
        ]

    def lifted(self) -> list[tuple[Rule, Event | None]]:
        """What stopped the visit once and does not any more, because it was answered otherwise.

        Returns:
            Each rule with the last event that it held at; None where the complaint told of it.
        """
        said = heard(self.knowledge, self._visit.complaint).values()
        known: dict[str, FactValue] = {answer_fact(one.check): one.answer for one in said}
        ending = [rule for rule in self.knowledge.ordered_rules if rule.stop is not None]
        ruled: dict[str, tuple[Rule, Event | None]] = {}
        for event in (None, *self._visit.believed):
            if event is not None and event.check is not None and event.answer is not None:
                known[answer_fact(event.check)] = event.answer
            ruled |= {rule.id: (rule, event) for rule in ending if truth(rule.when, known)}
        still = {one.rule_id for one in self.conclude().firings}
        return [one for name, one in ruled.items() if name not in still]

    def _because(self, move: Move, concluded: Conclusions) -> tuple[str, ...]:
        """Why a check or a fix is next, in sentences."""
        if move.decision is None and move.turn.next != "read-with":
            doubt = [self.knowledge.rules[one].because for one in move.rule_ids]
            return (*doubt, move.because)
        because = tuple(reasons(self.knowledge, self.progress, concluded.firings))
        own = move.turn.next in ("confirm", "read-with")
        return (move.because, *because) if own else because

    def _good_readings(self, proved: bool) -> tuple[GoodReading, ...]:
        """What is read now, for the next visit to be judged by; after what fix, where it is proved.

        What was short before the last fix and was not read again shows the fault, not the house.
        """
        visit, progress = self._visit, self.progress
        levels = self.knowledge.levels
        inlets, gauge = progress.inlets, visit.gauge
        names = {
            Station.INLET: inlets.here,
            Station.HOSE: inlets.here,
            Station.OTHER: inlets.other,
        }
        rounds = {
            (spot_of(check)[0], inlets.at(spot_of(check)[1], asked.inlet)): number
            for number in range(progress.round + 1)
            for check, asked in answered_in(self.knowledge, progress, number)
            if check.kind == "reading"
        }
        return tuple(
            GoodReading(
                station=at if isinstance(at, Station) else Station.OTHER,
                state=state,
                inlet=names.get(at, "") if isinstance(at, Station) else at.name,
                suction=value,
                orifice_in=gauge.orifice_in,
                altitude_ft=visit.site.altitude_ft,
                gauge=gauge.name,
                tolerance=gauge.tolerance,
                after=progress.tried[fixes - 1] if fixes and proved else "",
                at=visit.last_at,
            )
            for (state, at), value in progress.situation.readings.items()
            for fixes in [rounds.get((state, at), 0)]
            if fixes == progress.round or reads_well((state, at), value, self.baseline, levels)
        )

    def _ending(self, ending: Ending) -> Ending:
        measured = outcome_words(self.knowledge, self.baseline, self.progress)
        what = ending.what.replace("{measured}", measured)
        # Suction came back by all of it together, not by the last alone.
        faults = self.knowledge.faults
        done = [
            done_words(faults[one.fault_id], one.inlet) for one in self.progress.repairs if one.done
        ]
        if done:
            what = what.replace("{done}", ". ".join(dict.fromkeys(done)))
        return ending.model_copy(update={"what": what})

    def _proved(self, move: Move) -> Repair | None:
        """The fix that a visit ended on, whose belief its end shows."""
        return self.progress.last_repair if move.kind == "done" else None


def _fired(concluded: Conclusions) -> list[str]:
    return [firing.rule_id for firing in concluded.firings]
