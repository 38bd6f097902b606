"""How telling each answer is, re-weighed from closed, verified visits.

The shipped table of P(answer | fault) counts as a stated number of answers to each of its numbers,
and the answers that verified visits gave before their first fix are added: the mean of a Dirichlet
distribution over the answers to a question. Where an answer is mistaken now and then, what was
right is inferred from what was given. Two kinds of number are learnt: how often each answer is
seen while the fault is elsewhere, and how many times likelier a rule says it is with its faults. A
rule that names several faults learns from all of them.

What hangs on more than the one answer (a rule that joins facts, or is counted once with another)
stays as it is, and so do its faults at that check. Readings are the airflow model's say.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, log

import numpy as np
import sqlalchemy as sa

from stillflow.casebook.statistics import verified
from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import events, visits
from stillflow.engine.base import Flags, Floats, Integers, Strength, answer_fact
from stillflow.engine.inference import rule_table
from stillflow.engine.ruleset import BOTH, Check, Evidence, Knowledge

MOVED = 0.02
"""A number is written once the chance of its answer has moved by two points."""

_ROUNDS = 40
_SAME = 0.01
"""Factors that are less than a hundredth apart are one."""

Answers = Mapping[tuple[str, str, str], int]
"""Fault that was found, check, answer -> how often it was given before the first fix."""


@dataclass(frozen=True)
class Told:
    """One number of the table.

    Attributes:
        check: id of the question.
        answers: ids of the answers that it is about.
        rule: id of the rule that says it; empty for how often an answer is seen while the fault is
            elsewhere.
        number: which consequence of the rule, from 0.
        shipped, seen, now: the chance of these answers by the rules, as given, and after both.
        answered: how often the question was answered in visits that it is about.
        times: how many times likelier or rarer now; the chance itself where there is no rule.
        moved: whether that chance has moved enough to be written.
        moves_after: of one that has not: how many more answers like these; infinite where never.
    """

    check: str
    answers: tuple[str, ...]
    rule: str
    number: int
    shipped: float
    seen: float
    now: float
    answered: int
    times: float
    moved: bool
    moves_after: float


@dataclass
class _Said:
    """A piece of evidence that hangs on answers to one check alone."""

    rule: str
    number: int
    item: Evidence
    at: Flags
    faults: Integers
    weight: float


def counted_answers(casebook: Casebook, knowledge: Knowledge) -> dict[tuple[str, str, str], int]:
    """What verified visits answered before their first fix; what was struck is left out."""
    choices = [one.id for one in knowledge.checks.values() if one.kind == "choice"]
    strikes = sa.select(
        events.c.visit_id, events.c.more["strikes"].as_integer().label("number"), events.c.done
    ).where(events.c.more.is_not(None), events.c.more["strikes"].as_integer().is_not(None))
    struck = strikes.subquery()
    its = sa.and_(struck.c.visit_id == events.c.visit_id, struck.c.number == events.c.number)
    # A fix that was struck as never made was none; one that was undone changed the house.
    made = sa.or_(struck.c.number.is_(None), struck.c.done.is_(True))
    fixes = (
        sa.select(events.c.visit_id, sa.func.min(events.c.number).label("first"))
        .select_from(events.outerjoin(struck, its))
        .where(events.c.fix.is_not(None), made)
        .group_by(events.c.visit_id)
        .subquery()
    )
    asked = (
        sa.select(visits.c.fault, events.c.check, events.c.answer, sa.func.count())
        .select_from(
            events.join(visits, visits.c.id == events.c.visit_id)
            .join(fixes, fixes.c.visit_id == events.c.visit_id)
            .outerjoin(struck, its)
        )
        .where(
            verified(),
            events.c.check.in_(choices),
            events.c.number < fixes.c.first,
            struck.c.number.is_(None),
        )
        .group_by(visits.c.fault, events.c.check, events.c.answer)
    )
    with casebook.transaction() as connection:
        return {(row[0], row[1], str(row[2])): row[3] for row in connection.execute(asked)}


def weighed(given: Answers, knowledge: Knowledge, counts_as: float) -> tuple[Told, ...]:
    """Re-weigh every number that hangs on one answer alone.

    Args:
        given: what was answered.
        knowledge: the rules to start from.
        counts_as: so many answers each of their numbers counts as, more than 0.

    Returns:
        Those that anything was answered to, check by check.
    """
    by_check: dict[str, list[tuple[str, str, int]]] = {}
    for (fault, check_id, answer), count in given.items():
        if fault in knowledge.faults and check_id in knowledge.checks:
            by_check.setdefault(check_id, []).append((fault, answer, count))
    found: list[Told] = []
    for check_id in sorted(by_check):
        check = knowledge.checks[check_id]
        counts = np.zeros((len(check.answers), len(knowledge.faults)))
        for fault, answer, count in by_check[check_id]:
            for one in answer.split(BOTH):
                if one in check.answer_ids:
                    column = knowledge.fault_index[fault]
                    counts[check.answer_ids.index(one), column] += count
        if counts.any():
            found += _Table(check, knowledge, counts, counts_as).learnt()
    return tuple(found)


class _Table:
    """P(answer | fault) of one check, with what was answered to it."""

    def __init__(
        self, check: Check, knowledge: Knowledge, counts: Floats, counts_as: float
    ) -> None:
        self._check, self._counts_as = check, counts_as
        usual = np.array([one.usual for one in check.answers])
        self._usual = usual / usual.sum()
        self._evidence = np.zeros(counts.shape)
        self._said: list[_Said] = []
        self._elsewhere = np.ones(len(knowledge.faults), dtype=bool)
        left = self._hold(knowledge)
        self._elsewhere[left] = False
        # What hangs on more is learnt nowhere.
        self._counts = counts.copy()
        self._counts[:, left] = 0.0
        others = len(usual) - 1
        self._given = np.full((len(usual), len(usual)), check.mistaken / others)
        np.fill_diagonal(self._given, 1.0 - check.mistaken)

    def _hold(self, knowledge: Knowledge) -> list[int]:
        """Take in what rules say of the answers; columns of the faults that hang on more."""
        fact = answer_fact(self._check.id)
        table = rule_table(knowledge)
        fired = table.fire(table.rows([{fact: one} for one in self._check.answer_ids]))
        left: set[int] = set()
        for number, rule_id in enumerate(table.rule_ids):
            grounds = knowledge.grounds[rule_id]
            if fact not in grounds:
                continue
            rule = knowledge.rules[rule_id]
            for place, item in enumerate(rule.then):
                if not isinstance(item, Evidence):
                    continue
                [named] = [faults for one, faults in knowledge.evidence[rule_id] if one is item]
                columns = np.array(
                    sorted(knowledge.fault_index[one] for one in named), dtype=np.intp
                )
                self._elsewhere[columns] = False
                if grounds != {fact} or rule.once is not None:
                    left.update(columns.tolist())
                    continue
                said = _Said(rule_id, place, item, fired[:, number], columns, log(item.factor))
                self._said.append(said)
                self._evidence[np.ix_(said.at, columns)] += item.sign * said.weight
        return sorted(left)

    def learnt(self) -> list[Told]:
        """Every number that something was answered to."""
        shipped = _rows(self._usual, self._evidence)
        found = self._background()
        concerned = [one for one in self._said if self._counts[:, one.faults].any()]
        for _ in range(_ROUNDS):
            for said in concerned:
                self._fit(said, shipped)
        now = _rows(self._usual, self._evidence)
        for said in concerned:
            counts = self._counts[:, said.faults]
            before, after = (_mean(one[:, said.faults], said.at, counts) for one in (shipped, now))
            seen = float(self._right(now[:, said.faults], counts)[said.at].sum() / counts.sum())
            answers = tuple(
                one for one, at in zip(self._check.answer_ids, said.at, strict=True) if at
            )
            key = (answers, said.rule, said.number)
            # Two rules may be about the same chance; then the first of them has taken it all.
            stays = abs(said.weight - log(said.item.factor)) < _SAME
            chances = (before, seen, before if stays else after)
            times = float(np.exp(said.weight))
            found.append(self._one(key, chances, float(counts.sum()), times))
        return found

    def _background(self) -> list[Told]:
        """How often each answer is seen while the fault is elsewhere; the new row if it moved."""
        counts = self._counts[:, self._elsewhere].sum(axis=1, keepdims=True)
        total = float(counts.sum())
        if not total:
            return []
        row = self._usual[:, None]
        for _ in range(_ROUNDS):
            right = self._right(row, counts)
            row = (self._counts_as * self._usual[:, None] + right) / (self._counts_as + total)
        seen = self._right(row, counts)[:, 0] / total
        found = [
            self._one(((one,), "", 0), (float(u), float(s), float(n)), total, float(n))
            for one, u, s, n in zip(
                self._check.answer_ids, self._usual, seen, row[:, 0], strict=True
            )
        ]
        if any(one.moved for one in found):
            self._usual = row[:, 0]
        return found

    def _fit(self, said: _Said, shipped: Floats) -> None:
        """Move a rule's factor until its answers are as likely with its faults as was learnt."""
        counts = self._counts[:, said.faults]
        total = counts.sum()
        rows = _rows(self._usual, self._evidence)[:, said.faults]
        right = self._right(rows, counts)[said.at].sum()
        before = _mean(shipped[:, said.faults], said.at, counts)
        wanted = (self._counts_as * before + right) / (self._counts_as + total)
        has = _mean(rows, said.at, counts)
        step = said.item.sign * (_logit(wanted) - _logit(has))
        # What speaks for a fault never comes to speak against it: that is for a senior to say.
        weight = min(max(said.weight + step, 0.0), log(10_000))
        moved = said.item.sign * (weight - said.weight)
        self._evidence[np.ix_(said.at, said.faults)] += moved
        said.weight = weight

    def _right(self, rows: Floats, counts: Floats) -> Floats:
        """How often each answer was the right one, as far as what was given tells."""
        said = self._given @ rows
        return np.asarray(rows * (self._given.T @ (counts / said)))

    def _one(
        self,
        key: tuple[tuple[str, ...], str, int],
        chances: tuple[float, float, float],
        total: float,
        times: float,
    ) -> Told:
        shipped, seen, now = chances
        apart = abs(seen - shipped)
        after = MOVED * self._counts_as / (apart - MOVED) - total if apart > MOVED else inf
        moved = abs(now - shipped) >= MOVED
        return Told(self._check.id, *key, *chances, round(total), times, moved, max(0.0, after))


def changes(found: tuple[Told, ...], knowledge: Knowledge) -> list[dict[str, object]]:
    """What is to be changed in the rules, an entry each: usual answers, and evidence of rules."""
    entries: list[dict[str, object]] = []
    for check_id in dict.fromkeys(one.check for one in found if one.moved and not one.rule):
        usual = [
            {"id": one.answers[0], "usual": max(round(one.now, 4), 0.0001)}
            for one in found
            if one.check == check_id and not one.rule
        ]
        entries.append({"id": f"checks/{check_id}", "answers": usual})
    for rule_id in dict.fromkeys(one.rule for one in found if one.moved and one.rule):
        then = [
            one.model_dump(mode="json", by_alias=True, exclude_defaults=True)
            for one in knowledge.rules[rule_id].then
        ]
        for one in found:
            if one.rule == rule_id and one.moved:
                then[one.number] |= {"strength": _word(one.times), "times": round(one.times, 2)}
        entries.append({"id": f"rules/{rule_id}", "then": then})
    return entries


def _word(times: float) -> str:
    """The word of the scale that comes nearest to a factor."""
    words = [one for one in Strength if one is not Strength.COMPUTED]
    return min(words, key=lambda one: abs(log(one.factor) - log(times))).value


def _rows(usual: Floats, evidence: Floats) -> Floats:
    """P(right answer | fault), shape (answers, faults)."""
    weighed = usual[:, None] * np.exp(evidence)
    return np.asarray(weighed / weighed.sum(axis=0))


def _mean(rows: Floats, at: Flags, counts: Floats) -> float:
    """Chance of some answers over the faults that were answered about."""
    return float((rows[at].sum(axis=0) * counts.sum(axis=0)).sum() / counts.sum())


def _logit(chance: float) -> float:
    chance = min(max(chance, 1e-9), 1.0 - 1e-9)
    return log(chance / (1.0 - chance))
