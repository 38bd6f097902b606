"""Made-up visits by the thousand: what is answered on them, and which rules they make fire.

A visit hides one fault, and its answers are drawn from the rules' own P(answer | fault): what is
found on such visits says what a rule set does, and nothing of how true it is. Nothing here is kept
in a casebook.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from stillflow.engine.base import Flags, Floats, InputError, Integers, answer_fact
from stillflow.engine.inference import (
    SPOTS,
    Baseline,
    Event,
    LikelihoodModel,
    Situation,
    Spot,
    Visit,
    answers_given,
    baseline_for,
    possible,
    rule_table,
    spot_of,
    typical_reading,
)
from stillflow.engine.ruleset import Check, FactValue, Knowledge
from stillflow.engine.simulate import draw_calls

KINDS = 4
"""Units and houses that the visits are spread over."""

SHARE = 0.3
"""Share of the checks that are made on a visit."""

_AT_ONCE = 5000
"""Visits that are drawn together, for the memory's sake."""


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

    def __post_init__(self) -> None:
        self.baseline = baseline_for(self.arrival, self.knowledge)
        table = rule_table(self.knowledge)
        self.model = LikelihoodModel(self.knowledge, table, self.baseline, self.arrival)
        self.start = Situation(self.model.standing(self.arrival))

    def learnt(self, situation: Situation, check: Check, answer: str) -> Situation:
        """The situation after an answer; a reading lies in the middle of the level named."""
        if check.answers:
            return situation.with_choice(check.id, answer)
        spot = spot_of(check)
        level = next(one for one in self.knowledge.levels if one.id == answer)
        return situation.with_reading(spot, typical_reading(self.baseline, spot, level))


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
    # A station is read when the first of its readings is.
    first = [
        next(n for n, one in enumerate(chosen) if together and one.station == check.station)
        if together and check.station is not None
        else number
        for number, check in enumerate(chosen)
    ]
    priors = [kind.model.prior(kind.start.standing).cumsum() for kind in kinds]
    for begun in range(0, count, _AT_ONCE):
        some = min(_AT_ONCE, count - begun)
        numbers = generator.integers(len(kinds), size=some)
        which, luck = generator.random(some), generator.random((2, some, len(chosen)))
        made = luck[0][:, first] < share
        visits: dict[int, GeneratedVisit] = {}
        for number, kind in enumerate(kinds):
            rows = np.flatnonzero(numbers == number)
            until = priors[number]
            hidden = np.searchsorted(until, which[rows] * until[-1], side="right")
            drawn = _visits(kind, hidden, chosen, made[rows], luck[1, rows], generator)
            visits.update(zip(rows.tolist(), drawn, strict=True))
        yield from (visits[row] for row in range(some))


def _visits(
    kind: CallKind,
    hidden: Integers,
    chosen: Sequence[Check],
    made: Flags,
    luck: Floats,
    generator: np.random.Generator,
) -> list[GeneratedVisit]:
    """Visits to one unit in one house, a check at a time over all that make it, readings first.

    Args:
        kind: the unit and house.
        hidden: column of the fault behind each visit, (N,).
        chosen: the checks that may be made, readings first.
        made: which each visit makes, (N, chosen).
        luck: for its answers, likewise.
        generator: where readings come from.
    """
    if not len(hidden):
        return []
    knowledge, table = kind.knowledge, rule_table(kind.knowledge)
    open_ = [possible(check.possible_when, kind.start.standing) for check in chosen]
    answers: list[dict[str, str]] = [{} for _ in hidden]
    level = kind.model.gauge.drawn_levels(hidden, generator)
    situations = [kind.start] * len(hidden)
    for column, check in enumerate(chosen):
        if check.answers or not open_[column]:
            continue
        at = SPOTS.index(spot_of(check))
        for row in np.flatnonzero(made[:, column]).tolist():
            answer = knowledge.levels[level[row, at]].id
            answers[row][check.id] = answer
            situations[row] = kind.learnt(situations[row], check, answer)
    rows = known_rows(kind, knowledge, [one.readings for one in situations])
    for row in np.flatnonzero((table.fire(rows) & table.stops).any(axis=1)).tolist():
        # Readings that would stop the visit were not taken.
        answers[row], situations[row] = {}, kind.start
        rows[row] = known_rows(kind, knowledge, [{}])[0]
    for column, check in enumerate(chosen):
        where = np.flatnonzero(made[:, column])
        if not check.answers or not open_[column] or not len(where):
            continue
        asked = asked_of(knowledge, rows[where], check)
        usual = np.array([answer.usual for answer in check.answers])
        chances = chances_of(knowledge, check, asked, usual, check.mistaken)
        chances[asked.ways[:, :, table.stops[asked.rules]].any(axis=2)] = 0.0
        chances = chances[:, asked.way, hidden[where]]
        until = chances.cumsum(axis=0)
        given = (until <= luck[where, column] * until[-1]).sum(axis=0)
        for row, number in zip(where.tolist(), given.tolist(), strict=True):
            answers[row][check.id] = check.answer_ids[number]
        learn(knowledge, rows, check, where, given)
    choices = [check.id for check in chosen if check.answers]
    faults = list(knowledge.faults)
    return [
        GeneratedVisit(
            kind,
            faults[fault],
            said,
            Situation(
                kind.start.standing,
                situation.readings,
                {name: said[name] for name in choices if name in said},
            ),
        )
        for fault, said, situation in zip(hidden.tolist(), answers, situations, strict=True)
    ]


def known_rows(
    kind: CallKind, knowledge: Knowledge, readings: Sequence[Mapping[Spot, float]]
) -> Floats:
    """What a rule set knows in a house before any answer, a row for each set of readings."""
    alike: dict[frozenset[tuple[Spot, float]], int] = {}
    which = [alike.setdefault(frozenset(one.items()), len(alike)) for one in readings]
    silent = [GeneratedVisit(kind, "", {}, Situation({}, dict(one))) for one in alike]
    return np.asarray(rule_table(knowledge).rows(facts_of(silent, knowledge))[which])


@dataclass(frozen=True)
class AnswerWays:
    """What each answer to a check would make fire, on each of some visits.

    Attributes:
        rules: numbers of the rules concerned, R of them.
        ways: visits that differ in what bears on those rules, (answers, ways, R) of what fires.
        way: which of them each visit is, (N,).
    """

    rules: Integers
    ways: Flags
    way: Integers


@dataclass(frozen=True)
class _Bearing:
    """What hangs on the answer to a check.

    Attributes:
        rules: ids of the rules that it can help to fire.
        numbers: of these rules.
        deriving: those of them that derive findings.
        grounds: columns of the other facts they look at.
    """

    rules: Sequence[str]
    numbers: Integers
    deriving: Sequence[str]
    grounds: Sequence[int]


@lru_cache(maxsize=1000)
def _bearing(knowledge: Knowledge, fact: str) -> _Bearing:
    table, rules = rule_table(knowledge), knowledge.rules_using([fact])
    grounds = frozenset().union(*(knowledge.grounds[rule] for rule in rules)) - {fact}
    return _Bearing(
        rules=rules,
        numbers=np.array([table.rule_ids.index(rule) for rule in rules], dtype=np.intp),
        deriving=[rule for rule in rules if knowledge.rules[rule].derives],
        grounds=[table.columns[name] for name in sorted(grounds)],
    )


def asked_of(knowledge: Knowledge, rows: Floats, check: Check) -> AnswerWays:
    """Which of the rules concerned each answer would make fire, given what was known before it."""
    table, fact = rule_table(knowledge), answer_fact(check.id)
    bearing = _bearing(knowledge, fact)
    at, way = np.zeros(1, dtype=np.intp), np.zeros(len(rows), dtype=np.intp)
    if bearing.grounds:
        # As one word a row they are told apart ten times as fast as fact by fact.
        known = np.ascontiguousarray(rows[:, bearing.grounds])
        words = known.view(np.dtype((np.void, known.itemsize * known.shape[1])))
        _, at, way = np.unique(words[:, 0], return_index=True, return_inverse=True)
    fired = []
    for answer in check.answer_ids:
        tried = rows[at]
        tried[:, table.columns[fact]] = table.code(fact, answer)
        fired.append(table.fire(tried, bearing.rules)[:, bearing.numbers])
    return AnswerWays(bearing.numbers, np.array(fired), way.reshape(-1))


def chances_of(
    knowledge: Knowledge,
    check: Check,
    asked: AnswerWays,
    usual: Floats,
    mistaken: float,
    weights: Floats | None = None,
) -> Floats:
    """P(answer | fault) of a check for each way that rules fire, (answers, ways, F).

    Args:
        knowledge: the rule set.
        check: the check.
        asked: what its answers make fire.
        usual: of each answer, any sum.
        mistaken: share of answers that are another than the right one.
        weights: of all rules, in place of those that were declared.
    """
    answers, ways, rules = asked.ways.shape
    block = rule_table(knowledge).weigh(
        asked.ways.reshape(answers * ways, rules), weights, asked.rules
    )
    moved = check.model_copy(update={"mistaken": mistaken})
    given = answers_given(moved, (usual / usual.sum())[:, None], block.reshape(answers, -1))
    return given.reshape(answers, ways, -1)


def learn(
    knowledge: Knowledge, rows: Floats, check: Check, where: Integers, given: Integers
) -> None:
    """Write answers to a check into a table of what is known, with the findings they lead to.

    Args:
        knowledge: the rule set.
        rows: what is known on all visits.
        check: the check.
        where: rows of the visits that made it.
        given: number of the answer each gave.
    """
    table = rule_table(knowledge)
    fact = answer_fact(check.id)
    codes = np.array([table.code(fact, answer) for answer in check.answer_ids])
    rows[where, table.columns[fact]] = codes[given]
    deriving = _bearing(knowledge, fact).deriving
    if deriving:
        after = rows[where]
        table.fire(after, deriving)
        rows[where] = after


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
    kinds = {
        kind: kind if kind.knowledge is knowledge else CallKind(knowledge, kind.arrival)
        for kind in {visit.kind for visit in visits}
    }
    found = []
    for visit in visits:
        kind = kinds[visit.kind]
        situation = Situation(
            kind.start.standing, visit.situation.readings, visit.situation.choices
        )
        facts = kind.model.facts(situation)
        found.append({name: value for name, value in facts.items() if name in knowledge.facts})
    return found
