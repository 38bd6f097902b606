"""How far a visit has come: the events replayed into answers, doubts, fixes and belief.

A fold over the record, one event at a time, with no opinion on what to do next (see `session`).
Readings that contradict each other are set aside here, to be taken again; a fix that was done
takes its fault off the list and makes the readings stale.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from stillflow.engine.base import Floats, Mode, tried_fact
from stillflow.engine.inference import (
    NO_ANSWER,
    SKIPPED,
    Event,
    LikelihoodModel,
    Situation,
    Visit,
    spot_of,
)
from stillflow.engine.ruleset import Check, Doubt, Knowledge

STILL = 0.06
"""A reading within this share of the one before a fix has not moved: somewhat over the gauge's."""


@dataclass(frozen=True)
class Asked:
    """One answer as it was taken: what it did to the belief, or that it was set aside.

    Attributes:
        number: position in the visit's events, from 1.
        check_id: the check.
        answer: as recorded.
        round: 0 before the first fix, then one more after each fix.
        before: belief before it, shape (F,).
        after: belief after it, shape (F,).
        doubted_by: the rule that set it aside, empty if it was believed.
    """

    number: int
    check_id: str
    answer: float | str
    round: int
    before: Floats
    after: Floats
    doubted_by: str = ""

    @property
    def moved(self) -> float:
        """The largest change of any fault's probability."""
        return float(np.abs(self.after - self.before).max()) if len(self.after) else 0.0


@dataclass(frozen=True)
class Repair:
    """One fix as it went.

    Attributes:
        number: position in the visit's events, from 1.
        fault_id: the fault.
        done: False if it was left undone, handed to somebody else, or not needed.
        found: False if the fault turned out not to be there.
        probability: of the fault when the fix was recorded.
        probabilities: of every fault then, shape (F,).
        situation: what was known then.
    """

    number: int
    fault_id: str
    done: bool
    found: bool
    probability: float
    probabilities: Floats
    situation: Situation


@dataclass
class Progress:
    """The state of a visit after some of its events.

    Attributes:
        spent: minutes of checks, fixes and opening so far, as the rules count them.
        unmoved: fixes in a row after which nothing read otherwise.
    """

    knowledge: Knowledge
    model: LikelihoodModel
    visit: Visit
    weights: Floats = field(init=False)
    accepted: list[tuple[Check, float | str]] = field(default_factory=list)
    silent: dict[str, str] = field(default_factory=dict)
    opened: set[str] = field(default_factory=set)
    asked: list[Asked] = field(default_factory=list)
    repairs: list[Repair] = field(default_factory=list)
    again: list[str] = field(default_factory=list)
    doubting: str = ""
    doubts: list[str] = field(default_factory=list)
    events: int = 0
    spent: float = 0.0
    unmoved: int = 0
    _stale: list[tuple[Check, float | str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._standing = self.model.standing(self.visit)
        self._believe()

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
        """Answers believed now, by check; readings with the gauge's zero taken off."""
        return {check.id: answer for check, answer in self.accepted}

    @property
    def closed(self) -> set[str]:
        """Checks that were answered or given up, so that they are not asked now."""
        return {*(check.id for check, _ in self.accepted), *self.silent}

    @property
    def last_repair(self) -> Repair | None:
        """The last fix, done or not; None before the first."""
        return self.repairs[-1] if self.repairs else None

    def apply(self, event: Event) -> None:
        """Take in one event that has been checked to make sense."""
        self.events += 1
        if event.fix is not None:
            self._repair(event.fix, bool(event.done), event.found is not False)
            return
        assert event.check is not None and event.answer is not None
        check = self.knowledge.checks[event.check]
        if check.id in self.again:
            self.again.remove(check.id)
        if event.answer in NO_ANSWER:
            self.silent[check.id] = str(event.answer)
            self._note(check, event.answer, self.probabilities)
        else:
            self._answer(check, event.answer)

    def _answer(self, check: Check, answer: float | str) -> None:
        self.silent.pop(check.id, None)
        before = self.probabilities
        self._spend(check.minutes, check.access)
        if check.id in self.answered:
            self.accepted = [(one, old) for one, old in self.accepted if one.id != check.id]
            self._believe()
        believed = answer
        if check.kind == "reading":
            # What the gauge shows in open air is no suction.
            believed = max(0.0, float(answer) - self.visit.gauge.zero)
        self.accepted.append((check, believed))
        doubt = self._contradiction() if check.kind == "reading" else None
        if doubt is not None:
            self._set_aside(check, answer, before, *doubt)
            return
        if self._stale and check.verifies and check.kind == "choice":
            if self._nothing_moved():
                self._stand_again()
                self._note(check, answer, before)
                return
            self._stale, self.unmoved = [], 0
        prior = self._situation(len(self.accepted) - 1)
        self.weights = self._scaled(self.weights * self.model.likelihood(prior, check, believed))
        self._note(check, answer, before)

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
        self,
        check: Check,
        answer: float | str,
        before: Floats,
        rule_id: str,
        checks: tuple[str, ...],
    ) -> None:
        self.accepted = [pair for pair in self.accepted if pair[0].id not in checks]
        if rule_id in self.doubts:
            # The same contradiction twice: asking a third time would teach nothing.
            self.silent.update((name, "set aside") for name in checks)
            self.again = [name for name in self.again if name not in checks]
        else:
            self.again += [name for name in checks if name not in self.again]
        self.doubts.append(rule_id)
        self.doubting = rule_id
        self._believe()
        self._note(check, answer, before, rule_id)

    def _repair(self, fault_id: str, done: bool, found: bool) -> None:
        column = self.knowledge.fault_index[fault_id]
        probability = float(self.probabilities[column])
        self.repairs.append(
            Repair(
                self.events, fault_id, done, found, probability, self.probabilities, self.situation
            )
        )
        if not found:
            self._believe()
        if not done:
            return
        fix = self.knowledge.faults[fault_id].fix
        self._spend(fix.minutes, fix.access)
        if self.knowledge.faults[fault_id].mode is not Mode.NORMAL:
            kept = [
                (check, answer)
                for check, answer in self.accepted
                if check.kind == "choice" and not (check.again_after_fix or check.verifies)
            ]
            self._stale = [pair for pair in self.accepted if pair not in kept]
            self.accepted = kept
        # What could not be told or was put off may be asked again; what cannot be done stays so.
        self.silent = {
            name: said for name, said in self.silent.items() if said not in (SKIPPED, "set aside")
        }
        self.opened.clear()
        self.again.clear()
        self._believe()

    def _spend(self, minutes: float, access: str | None) -> None:
        self.spent += minutes
        if access and access not in self.opened:
            self.opened.add(access)
            self.spent += self.knowledge.accesses[access].minutes

    def _nothing_moved(self) -> bool:
        """Whether all that was read again after a fix is as it was."""
        now = self.answered
        again = [
            (float(now[one.id]), float(old))
            for one, old in self._stale
            if one.kind == "reading" and one.id in now
        ]
        return all(abs(new - old) <= max(STILL * old, 2.0) for new, old in again)

    def _stand_again(self) -> None:
        """What was read and seen before a fix that changed nothing holds as before."""
        now = self.answered
        old = [
            (check, answer)
            for check, answer in self._stale
            if check.id not in now and not (check.verifies and check.kind == "choice")
        ]
        self.accepted = [*old, *self.accepted]
        self._stale = []
        self.unmoved += 1
        self._believe()

    def _believe(self) -> None:
        """Fold the belief afresh over what is accepted now."""
        self.weights = self.model.prior(self.situation.standing, [*self.tried, *self.absent])
        for index, (check, answer) in enumerate(self.accepted):
            situation = self._situation(index)
            self.weights = self._scaled(
                self.weights * self.model.likelihood(situation, check, answer)
            )

    def _scaled(self, weights: Floats) -> Floats:
        total = weights.sum()
        return weights / total if total > 0 else weights

    def _situation(self, count: int) -> Situation:
        standing = dict(self._standing)
        standing["visit.fixes"] = float(len(self.tried))
        standing["visit.doubts"] = float(len(self.doubts))
        standing.update((tried_fact(fault_id), True) for fault_id in self.tried)
        readings = {}
        choices = {}
        for check, answer in self.accepted[:count]:
            if check.kind == "reading":
                readings[spot_of(check)] = float(answer)
            else:
                choices[check.id] = str(answer)
        return Situation(standing, readings, choices)

    def _note(
        self, check: Check, answer: float | str, before: Floats, doubted_by: str = ""
    ) -> None:
        self.asked.append(
            Asked(
                self.events,
                check.id,
                answer,
                self.round,
                before,
                self.probabilities,
                doubted_by,
            )
        )
