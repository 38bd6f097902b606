"""How far a visit has come: the events replayed into answers, doubts, fixes and belief.

A fold over the record, one event at a time, with no opinion on what to do next (see `session`).
Readings that contradict each other are set aside here, to be taken again; a fix that was done
takes its fault off the list and makes the readings stale.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Mapping
from copy import copy, deepcopy
from dataclasses import dataclass, field

import numpy as np

from stillflow.engine.base import Floats, Mode, Station, part_fact, tried_fact
from stillflow.engine.dialogue.places import AGAIN, AGAIN_IN_VAIN, Places
from stillflow.engine.dialogue.verification import Repair, Verification, is_still
from stillflow.engine.inference import (
    CANT_TELL,
    NO_ANSWER,
    NO_SINGLE,
    SKIPPED,
    Event,
    Further,
    Inlets,
    LikelihoodModel,
    Situation,
    Spot,
    Visit,
    odd_beside,
    spot_of,
)
from stillflow.engine.ruleset import (
    NONE_HERE,
    Check,
    Doubt,
    FactValue,
    Footing,
    Heard,
    Knowledge,
    Outlay,
    checking,
    fixing,
    heard,
    stand_of,
    truth,
)

JUMP = 0.1
"""From this share of expected on a place does not read otherwise the next time by itself."""

SETTLED = "settled"
"""Why a question is closed whose answer is plain from what is known."""


@dataclass(frozen=True)
class Taken:
    """One answer as it is believed.

    Attributes:
        check: the check.
        answer: a choice's, or a reading with the gauge's zero taken off.
        spot: where a reading was taken.
        inlet: name of the inlet that the answer is about, empty where none was given.
    """

    check: Check
    answer: float | str
    spot: Spot | None
    inlet: str

    @property
    def further(self) -> bool:
        """Whether it was read at an inlet that has no station of its own."""
        return self.spot is not None and isinstance(self.spot[1], Further)

    @property
    def pointing(self) -> bool:
        """Whether it says of an inlet that something is wrong there."""
        said = (one for one in self.check.answers if one.id == self.answer)
        return bool(self.inlet) and any(one.inlet for one in said)

    def replaces(self, other: Taken) -> bool:
        """Whether it is the same asked again."""
        return (self.check.id, self.spot) == (other.check.id, other.spot)


@dataclass(frozen=True)
class Asked:
    """One answer as it was taken: what it did to the belief, or that it was set aside.

    Attributes:
        number: position in the visit's events, from 1; 0 for what was taken from the complaint.
        check_id: the check.
        answer: as recorded.
        round: 0 before the first fix, then one more after each fix.
        before: belief before it, shape (F,).
        after: belief after it, shape (F,).
        doubted_by: the rule that set it aside, empty if it was believed.
        inlet: name of the inlet that it is about, empty where none was given.
        further: whether it was read at an inlet that has no station of its own.
    """

    number: int
    check_id: str
    answer: float | str
    round: int
    before: Floats
    after: Floats
    doubted_by: str = ""
    inlet: str = ""
    further: bool = False

    @property
    def moved(self) -> float:
        """The largest change of any fault's probability."""
        return float(np.abs(self.after - self.before).max()) if len(self.after) else 0.0


def settled_by(
    knowledge: Knowledge, facts: Mapping[str, FactValue], closed: Container[str]
) -> dict[str, tuple[str, str]]:
    """Questions whose answer is plain from what is known: by check, the rule and the answer.

    Args:
        knowledge: whose rules.
        facts: all that is known.
        closed: checks that were answered or given up.
    """
    return {
        item.settles: (rule.id, item.as_)
        for rule, item in reversed(knowledge.settling)
        if item.settles not in closed and truth(rule.when, facts) is True
    }


@dataclass
class Progress:
    """The state of a visit after some of its events.

    Attributes:
        footing: where one stands, and what is undone.
        spent: minutes so far of all that was done, as the rules count them.
        unmoved: fixes in a row after which nothing read otherwise.
        mended: fixes after which something read higher.
        inlets: the inlets of the house as far as they have names.
        heard: answers taken from the complaint, by check, until they are given otherwise.
        set_aside: by check, the readings that were last set aside because they contradict.
        settled: by check, the rule that settles a question unasked, and the answer it says.
    """

    knowledge: Knowledge
    model: LikelihoodModel
    visit: Visit
    weights: Floats = field(init=False)
    inlets: Inlets = field(init=False)
    heard: dict[str, Heard] = field(init=False)
    settled: dict[str, tuple[str, str]] = field(default_factory=dict)
    accepted: list[Taken] = field(default_factory=list)
    silent: dict[str, str] = field(default_factory=dict)
    footing: Footing = field(default_factory=Footing)
    asked: list[Asked] = field(default_factory=list)
    repairs: list[Repair] = field(default_factory=list)
    again: list[str] = field(default_factory=list)
    doubting: str = ""
    doubts: list[str] = field(default_factory=list)
    set_aside: dict[str, Taken] = field(default_factory=dict)
    events: int = 0
    spent: float = 0.0
    unmoved: int = 0
    mended: int = 0
    _stale: list[Taken] = field(default_factory=list)
    _in_vain: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.inlets = Inlets(self.visit.site)
        self._standing = self.model.standing(self.visit)
        self._verification = Verification(self.knowledge, self.model)
        said = heard(self.knowledge, self.visit.complaint)
        self.heard = {name: one for name, one in said.items() if name not in self.visit.not_taken}
        self._believe()
        for one in self.heard.values():
            before = self.probabilities
            self.accepted.append(Taken(self.knowledge.checks[one.check], one.answer, None, ""))
            self._believe()
            self._note(Event(check=one.check, answer=one.answer), before)
        self._settle()

    def copied(self) -> Progress:
        """This moment, to go on from by itself."""
        other = copy(self)
        for name, kept in vars(self).items():
            if isinstance(kept, list | dict | set):
                setattr(other, name, copy(kept))
        other.inlets = deepcopy(self.inlets)
        return other

    @property
    def tried(self) -> list[str]:
        """Faults whose fix was done, in order."""
        return [repair.fault_id for repair in self.repairs if repair.done]

    @property
    def deferred(self) -> list[str]:
        """Faults whose fix was left undone, in order."""
        return [one.fault_id for one in self.repairs if one.found and not one.done]

    @property
    def absent(self) -> list[str]:
        """Faults that turned out not to be there, in order."""
        return [repair.fault_id for repair in self.repairs if not repair.found]

    @property
    def round(self) -> int:
        """How many fixes lie behind."""
        return len(self.tried)

    @property
    def situation(self) -> Situation:
        """What is known and believed now."""
        return self._situation(len(self.accepted))

    @property
    def probabilities(self) -> Floats:
        """Probability of each fault, shape (F,); all zero when none is left."""
        total = self.weights.sum()
        return self.weights / total if total > 0 else self.weights

    @property
    def answered(self) -> dict[str, float | str]:
        """Answers believed now, by check; readings with the gauge's zero taken off.

        What was read at further inlets is not among them.
        """
        return {one.check.id: one.answer for one in self.accepted if not one.further}

    @property
    def in_vain(self) -> dict[str, int]:
        """How often a check was asked that has no answer still, by id."""
        return Counter(one.check_id for one in self.asked if one.check_id in self.silent)

    @property
    def ahead(self) -> dict[str, Spot]:
        """Readings at the other inlet that may be taken at a further one as well, and where."""
        return Places(self).ahead()

    @property
    def unmoved_before(self) -> int:
        """Fixes in a row before the last one that changed nothing."""
        last = self._last_done
        return self.unmoved - (last is not None and last.number in self._in_vain)

    @property
    def _last_done(self) -> Repair | None:
        return next((one for one in reversed(self.repairs) if one.done), None)

    @property
    def closed(self) -> set[str]:
        """Checks that were answered or given up, so that they are not asked now."""
        return {*self.answered, *self.silent}

    @property
    def last_repair(self) -> Repair | None:
        """The last fix, done or not; None before the first."""
        return self.repairs[-1] if self.repairs else None

    def questioned(self, event: Event) -> str:
        """What is odd about a reading that is not recorded yet, in words; empty if nothing is."""
        assert event.check is not None
        check = self.knowledge.checks[event.check]
        if check.kind != "reading":
            return ""
        taken = self._taken(check, event)
        assert taken.spot is not None
        before = next((float(one.answer) for one in self.accepted if taken.replaces(one)), None)
        expected = self.model.baseline.at(*taken.spot)
        if before is not None and abs(float(taken.answer) - before) > JUMP * expected:
            return (
                f"{before:.0f} was read here before; if something was mended since, "
                "say that first, as in 'done: bag full'"
            )
        others = {
            spot: value for spot, value in self.situation.readings.items() if spot != taken.spot
        }
        odd = odd_beside(
            self.model.baseline,
            self.model.gauge,
            others,
            self.probabilities,
            taken.spot,
            float(taken.answer),
        )
        return odd.said(self.inlets.words(taken.spot[1])) if odd is not None else ""

    def apply(self, event: Event, struck: bool = False) -> None:
        """Take in one event that has been checked to make sense; a struck one only counts."""
        self.events += 1
        if struck or event.beside:
            return
        self._take_in(event)
        self._settle()

    def _take_in(self, event: Event) -> None:
        if event.fix is not None:
            self.inlets.learn(event.inlet or "", None)
            self._repair(event)
            return
        assert event.check is not None and event.answer is not None
        check = self.knowledge.checks[event.check]
        self.inlets.learn(event.inlet or "", check, event.answer)
        taken = self._taken(check, event)
        if not taken.further and check.id in self.again:
            self.again.remove(check.id)
        if event.answer not in NO_ANSWER:
            self._answer(taken, event)
            return
        before = self.probabilities
        if event.answer == CANT_TELL:
            # It was tried, so what it is behind stands open now.
            self.footing = checking(self.knowledge, self.footing, check, taken.inlet).after
        if not taken.further:
            self.silent[check.id] = str(event.answer)
            if event.answer == NONE_HERE:
                self._believe()
        self._note(event, before)

    def _taken(self, check: Check, event: Event) -> Taken:
        assert event.answer is not None
        inlet, spot, answer = event.inlet or "", None, event.answer
        if check.kind == "reading":
            state, station = spot_of(check)
            spot = state, self.inlets.at(station, event.inlet)
            if answer not in NO_ANSWER:
                # What the gauge shows in open air is no suction.
                answer = max(0.0, float(answer) - self.visit.gauge.zero)
        return Taken(check, answer, spot, inlet)

    def _answer(self, taken: Taken, event: Event) -> None:
        check = taken.check
        before = self.probabilities
        if not taken.further and self.silent.pop(check.id, "") == NONE_HERE:
            self._believe()
        self.heard.pop(check.id, None)
        self._spend(checking(self.knowledge, self.footing, check, taken.inlet))
        kept = [one for one in self.accepted if not taken.replaces(one)]
        if len(kept) < len(self.accepted):
            self.accepted = kept
            self._believe()
        self.accepted.append(taken)
        doubt = self._contradiction() if check.kind == "reading" else None
        if doubt is not None:
            self._set_aside(event, before, *doubt)
            return
        if self._stale and not self._nothing_moved():
            self.mended += any(new > old for old, new in self._read_again())
            self._stale, self.unmoved = [], 0
            self._believe()
            self._note(event, before)
            return
        if self._stale and ((check.verifies and check.kind == "choice") or self._is_short()):
            self._stand_again()
            self._note(event, before)
            return
        prior = self._situation(len(self.accepted) - 1)
        self.weights = self._scaled(self.weights * self._likelihood(prior, taken))
        self._note(event, before)

    def _settle(self) -> None:
        """Close the questions whose answer is plain from what is known."""
        asked = {name: said for name, said in self.silent.items() if said != SETTLED}
        facts = self.model.facts(self.situation)
        self.settled = settled_by(self.knowledge, facts, {*self.answered, *asked})
        self.silent = {**asked, **dict.fromkeys(self.settled, SETTLED)}

    def _contradiction(self) -> tuple[str, tuple[str, ...]] | None:
        """The first rule by id that doubts readings taken so far, and the checks it doubts."""
        taken = self.answered
        for rule_id in sorted(self.model.fired(self.situation)):
            for item in self.knowledge.rules[rule_id].then:
                if isinstance(item, Doubt):
                    checks = tuple(name for name in item.doubt if name in taken)
                    if checks:
                        return rule_id, checks
        return None

    def _set_aside(
        self, event: Event, before: Floats, rule_id: str, checks: tuple[str, ...]
    ) -> None:
        self.set_aside = {one.check.id: one for one in self.accepted if one.check.id in checks}
        self.accepted = [one for one in self.accepted if one.check.id not in checks]
        if rule_id in self.doubts:
            # The same contradiction twice: asking a third time would teach nothing.
            self.silent.update((name, "set aside") for name in checks)
            self.again = [name for name in self.again if name not in checks]
        else:
            self.again += [name for name in checks if name not in self.again]
        self.doubts.append(rule_id)
        self.doubting = rule_id
        self._believe()
        self._note(event, before, rule_id)

    def _repair(self, event: Event) -> None:
        assert event.fix is not None
        fault_id, done, found = event.fix, bool(event.done), event.found is not False
        column = self.knowledge.fault_index[fault_id]
        probability, situation = float(self.probabilities[column]), self.situation
        two = 0.0
        if situation.readings:
            two = self.model.gauge.two(situation.readings, self.probabilities)
        self.repairs.append(
            Repair(
                number=self.events,
                fault_id=fault_id,
                done=done,
                found=found,
                probability=probability,
                probabilities=self.probabilities,
                situation=situation,
                two=two >= NO_SINGLE,
                inlet=event.inlet or "",
            )
        )
        if not found:
            self._believe()
        if done or not found:
            self._spend(fixing(self.knowledge, self.footing, self.knowledge.faults[fault_id]))
        if not done:
            return
        if self.knowledge.faults[fault_id].mode is not Mode.NORMAL:
            kept = [one for one in self.accepted if self._outlasts(one, fault_id)]
            seen = self._seen_of(fault_id)
            self._stale = [one for one in self.accepted if one not in [*kept, *seen]]
            kept = [one for one in kept if one not in seen]
            self.accepted = kept
        # What was put off may be asked again, and what could not be told once; not a third time,
        # unless the fix may have made it plain. What cannot be done stays so.
        self.silent = {name: said for name, said in self.silent.items() if self._stays(name, said)}
        self.again.clear()
        self._believe()

    def _stays(self, name: str, said: str) -> bool:
        """Whether a check without an answer stays so after a fix."""
        if said != CANT_TELL:
            return said not in (SKIPPED, "set aside")
        check = self.knowledge.checks[name]
        return self.in_vain[name] > 1 and not (check.again_after_fix or check.verifies)

    def _outlasts(self, taken: Taken, fault_id: str) -> bool:
        """Whether what was seen or read holds after a fix as before.

        So does a reading in which the fault does not show, unless the unit was opened for the fix:
        with the tubing off, what was mended out in the house is nothing to the unit.
        """
        check = taken.check
        if taken.spot is None:
            return not (check.again_after_fix or check.verifies)
        stand = self.knowledge.stands.get(stand_of(self.knowledge, self.knowledge.faults[fault_id]))
        if stand is None or Station.UNIT in stand.stations:
            return False
        return self.model.gauge.leaves_alone(fault_id, taken.spot)

    def _seen_of(self, fault_id: str) -> list[Taken]:
        """What was seen of a fault at the place where it is mended now: gone with it.

        So it can be seen again at another place, where the fault may have several.
        """
        if not self.knowledge.faults[fault_id].several:
            return []
        return [
            one
            for one in self.accepted
            if fault_id in self.knowledge.shown.get((one.check.id, str(one.answer)), ())
        ]

    def _spend(self, outlay: Outlay) -> None:
        self.spent += outlay.minutes
        self.footing = outlay.after

    def _nothing_moved(self) -> bool:
        """Whether all that was read again after a fix is as it was."""
        return all(is_still(old, new) for old, new in self._read_again())

    def _read_again(self) -> list[tuple[float, float]]:
        """Readings before the last fix, and the same after it."""
        return [
            (float(old.answer), float(now.answer))
            for old in self._stale
            for now in self.accepted
            if old.check.kind == "reading" and now.replaces(old)
        ]

    def _is_short(self) -> bool:
        """Whether what was read again is enough to know that the last fix was not all."""
        repair = self._last_done
        assert repair is not None
        wanted = self._verification.checks(repair, lambda check: True)
        return self._verification.is_short(repair, wanted, self.answered, self.unmoved)

    def _stand_again(self) -> None:
        """What was read and seen before a fix that changed nothing holds as before."""
        old = [
            one
            for one in self._stale
            if not any(now.replaces(one) for now in self.accepted)
            and not (one.check.verifies and one.check.kind == "choice")
        ]
        self.accepted = [*old, *self.accepted]
        self._stale = []
        self.unmoved += 1
        assert self._last_done is not None
        self._in_vain.add(self._last_done.number)
        self._believe()

    def _believe(self) -> None:
        """Fold the belief afresh over what is accepted now."""
        self.weights = self.model.prior(self.situation.standing, self._left())
        for index, taken in enumerate(self.accepted):
            situation = self._situation(index)
            self.weights = self._scaled(self.weights * self._likelihood(situation, taken))

    def _left(self) -> dict[str, float]:
        """How much of its chance is left to each fault that was dealt with: somewhere else."""
        left: dict[str, float] = {}
        for one in self.repairs:
            if one.done or not one.found:
                several = self.knowledge.faults[one.fault_id].several
                somewhere = AGAIN_IN_VAIN if one.number in self._in_vain else AGAIN
                some = somewhere if several and (one.done or one.inlet) else 0.0
                left[one.fault_id] = left.get(one.fault_id, 1.0) * some
        return left

    def _likelihood(self, situation: Situation, taken: Taken) -> Floats:
        return self.model.likelihood(situation, taken.check, taken.answer, taken.spot)

    def _scaled(self, weights: Floats) -> Floats:
        total = weights.sum()
        return weights / total if total > 0 else weights

    def _situation(self, count: int) -> Situation:
        standing = dict(self._standing)
        standing["visit.fixes"] = float(len(self.tried))
        standing["visit.mended"] = float(self.mended)
        standing["visit.doubts"] = float(len(self.doubts))
        standing.update((tried_fact(fault_id), True) for fault_id in self.tried)
        standing.update(
            (part_fact(part), False)
            for name, said in self.silent.items()
            if said == NONE_HERE and (part := self.knowledge.checks[name].part)
        )
        readings = {}
        choices = {}
        for one in self.accepted[:count]:
            if one.spot is not None:
                readings[one.spot] = float(one.answer)
            else:
                choices[one.check.id] = str(one.answer)
        return Situation(standing, readings, choices)

    def _note(self, event: Event, before: Floats, doubted_by: str = "") -> None:
        assert event.check is not None and event.answer is not None
        taken = self._taken(self.knowledge.checks[event.check], event)
        self.asked.append(
            Asked(
                number=self.events,
                check_id=event.check,
                answer=event.answer,
                round=self.round,
                before=before,
                after=self.probabilities,
                doubted_by=doubted_by,
                inlet=taken.inlet,
                further=taken.further,
            )
        )
