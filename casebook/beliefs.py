"""The final belief of thousands of generated visits at once, as a live visit would hold it.

Readings first, all of a visit together by the airflow model; then each answer given what was known
before it, one check at a time over all visits that made it. Doubts that set readings aside, and
fixes, play no part. Evidence of a strength of its own on readings alone is multiplied as it stands.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

import numpy as np

from stillflow.casebook.generated import CallKind, GeneratedVisit, facts_of
from stillflow.engine.base import Floats, Integers, answer_fact
from stillflow.engine.inference import SPOTS, LikelihoodModel, Visit, baseline_for, rule_table
from stillflow.engine.ruleset import Check, Derivation, Knowledge


class ManyVisits:
    """Visits whose final belief is asked for under one rule set after another.

    What readings say hangs on what faults do to the air and on no rule, so that rule sets which
    differ in rules alone share it.

    Args:
        visits: drawn from any rule set.
    """

    def __init__(self, visits: Sequence[GeneratedVisit]) -> None:
        self.visits = tuple(visits)
        self._kinds: dict[CallKind, list[int]] = {}
        for number, visit in enumerate(visits):
            self._kinds.setdefault(visit.kind, []).append(number)
        self._known: dict[tuple[CallKind, str], Floats] = {}

    def believed(self, knowledge: Knowledge, only: Sequence[int] | None = None) -> Floats:
        """Probability of each fault at the end of each visit, shape (N, F).

        Args:
            knowledge: the rule set that believes; answers it does not list are left out.
            only: visits to work out, by number; the other rows are zero. All by default.
        """
        found = np.zeros((len(self.visits), len(knowledge.faults)))
        wanted = set(range(len(self.visits)) if only is None else only)
        air = json.dumps(
            [
                [one.model_dump(mode="json", include=_OF_AIR) for one in group]
                for group in (
                    knowledge.faults.values(),
                    knowledge.levels,
                    knowledge.classes.values(),
                )
            ]
        )
        for kind, numbers in self._kinds.items():
            arrival = kind.arrival
            table = rule_table(knowledge)
            model = LikelihoodModel(knowledge, table, baseline_for(arrival, knowledge), arrival)
            if (kind, air) not in self._known:
                self._known[kind, air] = _read([self.visits[n] for n in numbers], model)
            part = [place for place, number in enumerate(numbers) if number in wanted]
            if part:
                some = [numbers[place] for place in part]
                read = self._known[kind, air][part]
                visits = [self.visits[number] for number in some]
                found[some] = _of_kind(visits, arrival, knowledge, model, read)
        return found


_OF_AIR = {
    "id",
    "effect",
    "how_common",
    "mode",
    "below",
    "below_class",
    "sealed",
    "working",
    "tolerance",
    "age_from",
    "age_below",
    "typical",
    "typical_class",
}
"""Keys of faults, levels and classes that what readings say hangs on."""

_TINY = 1e-300


def _of_kind(
    visits: Sequence[GeneratedVisit],
    arrival: Visit,
    knowledge: Knowledge,
    model: LikelihoodModel,
    read: Floats,
) -> Floats:
    """The final beliefs of visits to one unit in one house."""
    table = rule_table(knowledge)
    prior = model.prior(model.standing(arrival))
    logs = np.log(np.maximum(prior, _TINY)) + np.log(np.maximum(read, _TINY))
    rows = table.rows(
        [
            {name: value for name, value in facts.items() if not name.startswith("answer.")}
            for facts in facts_of(visits, knowledge)
        ]
    )
    deriving = [
        rule.id
        for rule in knowledge.ordered_rules
        if any(isinstance(item, Derivation) for item in rule.then)
    ]
    standing = table.weigh(table.fire(table.rows([model.standing(arrival)])))
    logs += table.weigh(table.fire(rows)) - standing
    made: dict[str, list[int]] = {}
    for number, visit in enumerate(visits):
        for check_id, answer in visit.answers.items():
            if check_id in knowledge.checks and answer in knowledge.checks[check_id].answer_ids:
                made.setdefault(check_id, []).append(number)
    for check_id in _in_order(visits, made):
        check = knowledge.checks[check_id]
        where = np.array(made[check_id])
        given = np.array([check.answer_ids.index(visits[n].answers[check_id]) for n in where])
        logs[where] += _answered(knowledge, rows[where], check, given)
        column = table.columns[answer_fact(check_id)]
        rows[where, column] = [
            table.code(answer_fact(check_id), check.answer_ids[n]) for n in given
        ]
        after = rows[where]
        table.fire(after, deriving)
        rows[where] = after
    weights = np.exp(logs - logs.max(axis=1, keepdims=True))
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def _in_order(visits: Sequence[GeneratedVisit], made: Mapping[str, object]) -> list[str]:
    """The checks in the order in which every visit made those it made."""
    longest: list[str] = []
    for visit in visits:
        known = set(longest)
        at = 0
        for check_id in visit.answers:
            if check_id in known:
                at = longest.index(check_id) + 1
            elif check_id in made:
                longest.insert(at, check_id)
                at += 1
    return longest


def _read(visits: Sequence[GeneratedVisit], model: LikelihoodModel) -> Floats:
    """P(all readings of a visit | fault) up to a factor of each visit, (N, F)."""
    patterns: dict[tuple[int, ...], list[int]] = {}
    for number, visit in enumerate(visits):
        columns = tuple(n for n, spot in enumerate(SPOTS) if spot in visit.situation.readings)
        patterns.setdefault(columns, []).append(number)
    found = np.ones((len(visits), len(model.gauge.common)))
    for columns, numbers in patterns.items():
        spots = [SPOTS[column] for column in columns]
        values = np.array(
            [[visits[n].situation.readings[spot] for spot in spots] for n in numbers]
        ).reshape(len(numbers), len(spots))
        found[numbers] = model.gauge.foretold_many(spots, values)
    return found


def _answered(knowledge: Knowledge, rows: Floats, check: Check, given: Integers) -> Floats:
    """Ln P(this answer | fault, what was known before it), (n, F), as `likelihood` has it."""
    table = rule_table(knowledge)
    fact = answer_fact(check.id)
    concerned = knowledge.rules_using([fact])
    usual = np.array([answer.usual for answer in check.answers])
    blocks = []
    for answer, share in zip(check.answer_ids, usual / usual.sum(), strict=True):
        tried = rows.copy()
        tried[:, table.columns[fact]] = table.code(fact, answer)
        blocks.append(np.log(share) + table.weigh(table.fire(tried, concerned)))
    block = np.array(blocks)
    block = np.exp(block - block.max(axis=0))
    right = block / block.sum(axis=0)
    mine = right[given, np.arange(len(given))]
    if check.mistaken:
        others = (1.0 - mine) / (len(usual) - 1)
        mine = (1.0 - check.mistaken) * mine + check.mistaken * others
    return np.asarray(np.log(np.maximum(mine, _TINY)))
