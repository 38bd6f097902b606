"""The final belief of thousands of generated visits at once, as a live visit would hold it.

Readings first, all of a visit together by the airflow model; then each answer given what was known
before it, one check at a time over all visits that made it. Doubts that set readings aside, and
fixes, play no part. Evidence of a strength of its own on readings alone is multiplied as it stands.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from graphlib import TopologicalSorter
from itertools import pairwise

import numpy as np

from stillflow.casebook.generated import (
    AnswerWays,
    CallKind,
    GeneratedVisit,
    asked_of,
    chances_of,
    known_rows,
    learn,
)
from stillflow.engine.base import Floats, Integers, Strength
from stillflow.engine.inference import (
    SPOTS,
    LikelihoodModel,
    Visit,
    baseline_for,
    rule_table,
)
from stillflow.engine.ruleset import (
    Check,
    Fault,
    JudgedNumber,
    Knowledge,
    numbers_of,
)

Told = Callable[[int, int], None]
"""Is told how many of how many are done."""


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

    def believed(self, knowledge: Knowledge) -> Floats:
        """Probability of each fault at the end of each visit, shape (N, F).

        Args:
            knowledge: the rule set that believes; answers it does not list are left out.
        """
        if not self.visits:
            return np.zeros((0, len(knowledge.faults)))
        return self.worked_out(knowledge).believed()

    def worked_out(
        self, knowledge: Knowledge, sizes: bool = False, told: Told | None = None
    ) -> WorkedOut:
        """All visits laid out for a rule set.

        Args:
            knowledge: the rule set.
            sizes: whether the ends of sizes are to be moved as well.
            told: is told houses done, of how many.
        """
        start = np.zeros((len(self.visits), len(knowledge.faults)))
        parts: dict[str, list[_Asked]] = {}
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
        ends = _Ends(knowledge, len(self.visits)) if sizes else None
        for done, (kind, numbers) in enumerate(self._kinds.items()):
            if told is not None:
                told(done, len(self._kinds))
            arrival = kind.arrival
            table = rule_table(knowledge)
            model = LikelihoodModel(knowledge, table, baseline_for(arrival, knowledge), arrival)
            visits = [self.visits[number] for number in numbers]
            if ends is not None:
                read, *moved = _read(visits, model, ends.faults)
                ends.put(numbers, read, moved)
                self._known[kind, air] = read
            elif (kind, air) not in self._known:
                self._known[kind, air] = _read(visits, model)[0]
            read = self._known[kind, air]
            start[numbers], asked = _of_kind(visits, arrival, knowledge, model, read)
            for one in asked:
                here = replace(one, where=np.array(numbers)[one.where])
                parts.setdefault(one.check.id, []).append(here)
        # A check's answers in one piece, whatever house they are from: its numbers stand once.
        joined = [
            replace(
                some[0],
                where=np.concatenate([one.where for one in some]),
                given=np.concatenate([one.given for one in some]),
                would=_together([one.would for one in some]),
            )
            for some in parts.values()
        ]
        return WorkedOut(knowledge, start, joined, ends)


_OF_AIR = {
    "id",
    "effect",
    "how_common",
    "often",
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


@dataclass(frozen=True)
class _Asked:
    """All answers to one check: by whom, which, and which rules each answer fires.

    Attributes:
        check: the check.
        where: rows of the visits that made it.
        given: number of the answer each gave.
        would: which rules each answer would make fire.
    """

    check: Check
    where: Integers
    given: Integers
    would: AnswerWays


class _Ends:
    """How the readings' say moves with the least and the greatest size of what each fault does.

    Attributes:
        numbers: the ends, those of a size of two measures moved together.
        faults: all faults as they would be with one end of all of them moved one way.
    """

    def __init__(self, knowledge: Knowledge, visits: int) -> None:
        self.numbers = [
            one
            for name in knowledge.faults
            for one in numbers_of(knowledge, "faults", name)
            if one.kind == "size"
        ]
        columns = [knowledge.fault_index[one.entry] for one in self.numbers]
        self._least = np.array(
            [one.key.startswith("least ") for one in self.numbers], dtype=np.bool_
        )
        # Of a hose with another length and bore both are moved at once, and each takes its share.
        shares = np.bincount(columns, minlength=1)[columns] / 2.0
        self._columns, self._shares = np.array(columns, dtype=np.intp), shares
        self.faults = [
            [_resized(fault, knowledge, least, up) for fault in knowledge.faults.values()]
            for least, up in _WAYS
        ]
        self._moved = np.zeros((len(_WAYS), visits, len(knowledge.faults)))

    def put(self, rows: Sequence[int], read: Floats, moved: Sequence[Floats]) -> None:
        """What some visits' readings say, as the sizes are and with each end moved each way."""
        for way, one in enumerate(moved):
            self._moved[way, rows] = np.log(np.maximum(one, _TINY) / np.maximum(read, _TINY))

    def add(self, logs: Floats, times: Floats) -> None:
        """Move the ends.

        Args:
            logs: of belief, (N, F); moved in place.
            times: the factor each of `numbers` is moved by.
        """
        value, low, high = np.array([[one.value, one.low, one.high] for one in self.numbers]).T
        by = value * (times - 1.0)
        along = by / np.where(by > 0.0, high - value, value - low)
        for way, (least, up) in enumerate(_WAYS):
            mine = np.flatnonzero((self._least == least) & ((along > 0.0) == up))
            by = np.abs(along[mine]) / self._shares[mine]
            columns = self._columns[mine]
            for column, share in zip(columns, by, strict=True):
                logs[:, column] += share * self._moved[way][:, column]


_WAYS = ((True, True), (True, False), (False, True), (False, False))
"""Whether it is the least size, and whether it is moved up."""


def _resized(fault: Fault, knowledge: Knowledge, least: bool, up: bool) -> Fault:
    """A fault with one end of its sizes moved to the end of what it may be."""
    moved = {
        one.key: one.high if up else one.low
        for one in numbers_of(knowledge, "faults", fault.id)
        if one.kind == "size"
    }
    ends = {}
    for key, (low, high) in fault.effect.sizes().items():
        name = key.replace("_", " ")
        low = moved.get(f"least {name}", low) if least else low
        high = high if least else moved.get(f"greatest {name}", high)
        ends[key] = (min(low, high), max(low, high))
    return fault.model_copy(update={"effect": fault.effect.model_copy(update=ends)})


class WorkedOut:
    """Visits laid out for one rule set, so that only its numbers are still to be put in.

    Attributes:
        numbers: what may be moved, as `judged` has them.
    """

    def __init__(
        self,
        knowledge: Knowledge,
        start: Floats,
        asked: Sequence[_Asked],
        ends: _Ends | None = None,
    ) -> None:
        table = rule_table(knowledge)
        self._knowledge, self._start, self._ends = knowledge, start, ends
        self._weights = table.weigh(np.eye(len(table.rule_ids), dtype=bool))
        self._asked = list(asked)
        used = {
            int(rule)
            for one in self._asked
            for rule in one.would.rules[one.would.ways.any(axis=(0, 1))]
        }
        self.numbers: list[JudgedNumber] = [
            next(numbers_of(knowledge, "faults", name)) for name in knowledge.faults
        ]
        self._spoken: list[tuple[int, Integers, float]] = []
        for rule in sorted(used):
            name = table.rule_ids[rule]
            declared = iter(
                [one for one in numbers_of(knowledge, "rules", name) if one.kind == "strength"]
            )
            for item, faults in knowledge.evidence[name]:
                if item.strength is not Strength.COMPUTED:
                    columns = np.array(sorted(map(knowledge.fault_index.__getitem__, faults)))
                    self.numbers.append(next(declared))
                    self._spoken.append((rule, columns.astype(np.intp), float(item.sign)))
        for one in asked:
            own = [
                number
                for number in numbers_of(knowledge, "checks", one.check.id)
                if number.kind in ("usual", "mistaken")
            ]
            # The answers' shares first, then how often one is mistaken.
            self.numbers += sorted(own, key=lambda number: number.kind == "mistaken")
        if ends is not None:
            self.numbers += ends.numbers

    def believed(self, moved: Floats | None = None) -> Floats:
        """Probability of each fault at the end of each visit, shape (N, F).

        Args:
            moved: natural logarithm of the factor each of `numbers` is moved by; none by default.
        """
        weights, logs = self._weights, self._start.copy()
        at = logs.shape[1]
        if moved is not None:
            logs += moved[:at]
            weights = weights.copy()
            for (rule, columns, sign), by in zip(self._spoken, moved[at:], strict=False):
                weights[rule, columns] += sign * by
            at += len(self._spoken)
        for one in self._asked:
            usual = np.array([answer.usual for answer in one.check.answers])
            mistaken = one.check.mistaken
            if moved is not None:
                usual = usual * np.exp(moved[at : at + len(usual)])
                at += len(usual)
                if mistaken > 0.0:
                    mistaken *= float(np.exp(moved[at]))
                    at += 1
            chances = chances_of(self._knowledge, one.check, one.would, usual, mistaken, weights)
            logs[one.where] += np.log(np.maximum(chances, _TINY))[one.given, one.would.way]
        if moved is not None and self._ends is not None:
            self._ends.add(logs, np.exp(moved[at:]))
        found = np.exp(logs - logs.max(axis=1, keepdims=True))
        return np.asarray(found / found.sum(axis=1, keepdims=True))


def _together(some: Sequence[AnswerWays]) -> AnswerWays:
    """The same check asked of several lots of visits, as of one."""
    begin = np.cumsum([0, *(one.ways.shape[1] for one in some[:-1])])
    return AnswerWays(
        some[0].rules,
        np.concatenate([one.ways for one in some], axis=1),
        np.concatenate([one.way + at for one, at in zip(some, begin, strict=True)]),
    )


def _of_kind(
    visits: Sequence[GeneratedVisit],
    arrival: Visit,
    knowledge: Knowledge,
    model: LikelihoodModel,
    read: Floats,
) -> tuple[Floats, list[_Asked]]:
    """Visits to one unit in one house: logs of what is believed before any answer, the answers."""
    table = rule_table(knowledge)
    prior = model.prior(model.standing(arrival))
    logs = np.log(np.maximum(prior, _TINY)) + np.log(np.maximum(read, _TINY))
    rows = known_rows(visits[0].kind, knowledge, [one.situation.readings for one in visits])
    standing = table.weigh(table.fire(table.rows([model.standing(arrival)])))
    logs += table.weigh(table.fire(rows)) - standing
    numbered = {
        name: {answer: number for number, answer in enumerate(check.answer_ids)}
        for name, check in knowledge.checks.items()
    }
    made: dict[str, tuple[list[int], list[int]]] = {}
    for number, visit in enumerate(visits):
        for check_id, answer in visit.answers.items():
            given = numbered.get(check_id, {}).get(answer)
            if given is not None:
                numbers, answers = made.setdefault(check_id, ([], []))
                numbers.append(number)
                answers.append(given)
    asked = []
    for check_id in _in_order(visits, made):
        check, (numbers, answers) = knowledge.checks[check_id], made[check_id]
        where = np.array(numbers)
        asked.append(
            _Asked(check, where, np.array(answers), asked_of(knowledge, rows[where], check))
        )
        learn(knowledge, rows, check, where, np.array(answers))
    return logs, asked


def _in_order(visits: Sequence[GeneratedVisit], made: Mapping[str, object]) -> list[str]:
    """The checks in the order in which every visit made those it made."""
    before: dict[str, dict[str, None]] = {name: {} for name in made}
    for visit in visits:
        for first, then in pairwise(name for name in visit.answers if name in made):
            before[then][first] = None
    return list(TopologicalSorter(before).static_order())


def _read(
    visits: Sequence[GeneratedVisit],
    model: LikelihoodModel,
    otherwise: Sequence[Sequence[Fault]] = (),
) -> Floats:
    """P(all readings of a visit | fault) up to a factor of each visit, (1 + otherwise, N, F)."""
    patterns: dict[tuple[int, ...], list[int]] = {}
    for number, visit in enumerate(visits):
        columns = tuple(n for n, spot in enumerate(SPOTS) if spot in visit.situation.readings)
        patterns.setdefault(columns, []).append(number)
    found = np.ones((1 + len(otherwise), len(visits), len(model.gauge.common)))
    for columns, numbers in patterns.items():
        spots = [SPOTS[column] for column in columns]
        values = np.array(
            [[visits[n].situation.readings[spot] for spot in spots] for n in numbers]
        ).reshape(len(numbers), len(spots))
        different, which = np.unique(values, axis=0, return_inverse=True)
        read = model.gauge.foretold_many(spots, different, otherwise)
        found[:, numbers] = read[:, which.reshape(-1)]
    return found
