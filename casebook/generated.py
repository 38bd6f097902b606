"""Made-up visits by the thousand: what is answered on them, and which rules they make fire.

A visit hides one fault, and its answers are drawn from the rules' own P(answer | fault): what is
found on such visits says what a rule set does, and nothing of how true it is. Nothing here is kept
in a casebook.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from stillflow.engine.base import Floats, InputError, answer_fact
from stillflow.engine.inference import (
    Baseline,
    Event,
    LikelihoodModel,
    Situation,
    Visit,
    baseline_for,
    possible,
    rule_table,
    spot_of,
    typical_reading,
)
from stillflow.engine.ruleset import Check, FactValue, Knowledge, Stop
from stillflow.engine.simulate import draw_calls

KINDS = 4
"""Units and houses that the visits are spread over."""

SHARE = 0.3
"""Share of the checks that are made on a visit."""


@dataclass(eq=False)
class CallKind:
    """One unit in one house as it is on record on arrival, and the belief that goes with it.

    Args:
        knowledge: the rule set.
        arrival: the record, without events.

    Attributes:
        model: how likely answers are under each fault.
        start: what is known on arrival.
        baseline: what the unit should read.
    """

    knowledge: Knowledge
    arrival: Visit
    model: LikelihoodModel = field(init=False)
    start: Situation = field(init=False)
    baseline: Baseline = field(init=False)
    _stops: set[str] = field(init=False)
    _stop_facts: set[str] = field(init=False)
    _chances: dict[tuple[str, tuple[FactValue | None, ...]], tuple[tuple[str, ...], Floats]] = (
        field(init=False, default_factory=dict)
    )

    def __post_init__(self) -> None:
        self.baseline = baseline_for(self.arrival, self.knowledge)
        table = rule_table(self.knowledge)
        self.model = LikelihoodModel(self.knowledge, table, self.baseline, self.arrival)
        self.start = Situation(self.model.standing(self.arrival))
        self._stops = {
            rule.id
            for rule in self.knowledge.rules.values()
            if any(isinstance(item, Stop) for item in rule.then)
        }
        self._stop_facts = {
            name for rule_id in self._stops for name in self.knowledge.grounds[rule_id]
        }

    def learnt(self, situation: Situation, check: Check, answer: str) -> Situation:
        """The situation after an answer; a reading lies in the middle of the level named."""
        if check.answers:
            return situation.with_choice(check.id, answer)
        spot = spot_of(check)
        level = next(one for one in self.knowledge.levels if one.id == answer)
        return situation.with_reading(spot, typical_reading(self.baseline, spot, level))

    def chances(
        self, situation: Situation, facts: Mapping[str, FactValue], check: Check
    ) -> tuple[tuple[str, ...], Floats]:
        """The answers of a check that stop no visit, and P(answer | fault) of them cumulated.

        Args:
            situation: what is known.
            facts: the same as `Belief.facts` gives it.
            check: which.

        Returns:
            The answers, and an array (answers, F) that rises to 1 in each column.
        """
        key = check.id, tuple(map(facts.get, self.model.neighbours(check.id)))
        if key not in self._chances:
            [outlook] = self.model.outlooks(situation, [check.id])
            after = [self.learnt(situation, check, answer) for answer in outlook.answers]
            calm = [number for number, one in enumerate(after) if not self._stopped(facts, one)]
            until = outlook.likelihood[calm].cumsum(axis=0)
            answers = tuple(outlook.answers[number] for number in calm)
            self._chances[key] = answers, until / until[-1]
        return self._chances[key]

    def _stopped(self, known: Mapping[str, FactValue], situation: Situation) -> bool:
        """Whether what is known more now than before makes a rule stop the visit."""
        new = self.model.facts(situation).keys() - known.keys()
        return not self._stop_facts.isdisjoint(new) and any(
            name in self._stops for name in self.model.fired(situation)
        )


@dataclass(frozen=True, eq=False)
class GeneratedVisit:
    """One visit before its first fix.

    Attributes:
        kind: the unit and house.
        hidden: id of the fault.
        answers: check -> answer, the level of a reading, in the order they were given.
        situation: what is known at the end.
    """

    kind: CallKind
    hidden: str
    answers: Mapping[str, str]
    situation: Situation


def draw_kinds(knowledge: Knowledge, generator: np.random.Generator, count: int) -> list[CallKind]:
    """Draw units in houses with their paperwork, as `simulation` does."""
    return [CallKind(knowledge, call.visit) for call in draw_calls(knowledge, generator, count)]


def generate(
    kinds: Sequence[CallKind],
    generator: np.random.Generator,
    count: int,
    share: float = SHARE,
    checks: Sequence[str] | None = None,
    together: bool = False,
) -> Iterator[GeneratedVisit]:
    """Draw visits: a kind, one fault as often as it is common there, and answers.

    Each answer is drawn from P(answer | hidden fault, what was answered before it), readings
    first. Answers that would stop the visit are not given.

    Args:
        kinds: units and houses, all of one rule set, each as likely.
        generator: where the chance comes from.
        count: how many visits.
        share: of the checks that are made on each visit, 0 to 1.
        checks: ids of the checks that may be made; by default all but those that come after a
            fix and those that wait for another answer.
        together: whether sealed and working of a station are read both or not at all.

    Raises:
        InputError: fewer than one visit.
    """
    if count < 1:
        raise InputError(f"{count} visits cannot be generated", right="use 1 or more")
    knowledge = kinds[0].knowledge
    chosen = [
        check
        for check in knowledge.checks.values()
        if (
            check.id in checks
            if checks is not None
            else check.asked_when is None and not (check.verifies and check.answers)
        )
    ]
    chosen.sort(key=lambda check: bool(check.answers))
    faults = list(knowledge.faults)
    # A station is read when the first of its readings is.
    first = [
        next(n for n, one in enumerate(chosen) if together and one.station == check.station)
        if together and check.station is not None
        else number
        for number, check in enumerate(chosen)
    ]
    priors = [kind.model.prior(kind.start.standing).cumsum() for kind in kinds]
    for _ in range(count):
        number = int(generator.integers(len(kinds)))
        until = priors[number]
        hidden = int(np.searchsorted(until, generator.random() * until[-1], side="right"))
        luck = generator.random((2, len(chosen)))
        made = [
            (check, x)
            for check, at, x in zip(chosen, first, luck[1], strict=True)
            if luck[0, at] < share
        ]
        yield _visit(kinds[number], faults, hidden, made)


def _visit(
    kind: CallKind, faults: Sequence[str], hidden: int, made: Sequence[tuple[Check, float]]
) -> GeneratedVisit:
    situation, answers = kind.start, {}
    facts = kind.model.facts(situation)
    for check, luck in made:
        if not possible(check.possible_when, situation.standing):
            continue
        listed, until = kind.chances(situation, facts, check)
        answer = listed[int(np.searchsorted(until[:, hidden], luck, side="right"))]
        answers[check.id] = answer
        situation = kind.learnt(situation, check, answer)
        if check.answers:
            facts[answer_fact(check.id)] = answer
        else:
            facts = kind.model.facts(situation)
    return GeneratedVisit(kind, faults[hidden], answers, situation)


def recorded(visit: GeneratedVisit, knowledge: Knowledge) -> Visit:
    """A visit as it would be on record, without the answers that a rule set does not list."""
    events = []
    for name, answer in visit.answers.items():
        check = knowledge.checks.get(name)
        if check is None:
            continue
        if check.kind == "reading":
            events.append(Event(check=name, answer=visit.situation.readings[spot_of(check)]))
        elif answer in check.answer_ids:
            events.append(Event(check=name, answer=answer))
    return visit.kind.arrival.model_copy(update={"events": tuple(events)})


def facts_of(visits: Sequence[GeneratedVisit], knowledge: Knowledge) -> list[dict[str, FactValue]]:
    """Every plain fact of visits as a rule set sees them, the one they were drawn from or another.

    How big a leak or a squeeze would be is not worked out, so rules that ask for it stay silent.
    """
    kinds = {kind: CallKind(knowledge, kind.arrival) for kind in {visit.kind for visit in visits}}
    found = []
    for visit in visits:
        kind = kinds[visit.kind]
        situation = Situation(
            kind.start.standing, visit.situation.readings, visit.situation.choices
        )
        facts = kind.model.facts(situation)
        found.append({name: value for name, value in facts.items() if name in knowledge.facts})
    return found
