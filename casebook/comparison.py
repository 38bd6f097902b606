"""Where two rule sets conclude differently from the same generated visits.

The rules of each are run over all visits in one table. What is printed is for others to say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from stillflow.casebook.generated import GeneratedVisit, facts_of, recorded
from stillflow.engine.base import Flags, Floats
from stillflow.engine.dialogue import Session
from stillflow.engine.inference import inference_for, rule_table
from stillflow.engine.ruleset import Knowledge

Table = TypeVar("Table", Flags, Floats)

SAMPLE = 50
"""Visits that are also run as a live visit would run them, one by one, which takes its time."""

_SAME = 1e-9


@dataclass(frozen=True)
class RuleChange:
    """On how many visits a rule fires now and did not before, and the other way round."""

    rule_id: str
    gained: int
    lost: int


@dataclass(frozen=True)
class FaultChange:
    """On how many visits the likeliest fault was one and is another now."""

    before: str
    now: str
    visits: int


@dataclass(frozen=True)
class Comparison:
    """What two rule sets conclude from N visits.

    Attributes:
        visits: N.
        silent: ids of the rules that fire on none of them now.
        fewest, most: rules that fire on one visit now.
        live, live_agreeing: visits also run through the engine of live visits, and those of them
            on which it fires the same rules.
        agreeing: visits on which the same rules fire and say the same of every fault.
        other_rules: visits on which other rules fire.
        rules: the rules concerned, most visits first.
        believed: of the visits that do not agree, those whose belief was worked out.
        other_fault: of these, those whose likeliest fault is another.
        faults: the likeliest faults concerned, most visits first.
    """

    visits: int
    silent: tuple[str, ...]
    fewest: int
    most: int
    live: int
    live_agreeing: int
    agreeing: int
    other_rules: int
    rules: tuple[RuleChange, ...]
    believed: int
    other_fault: int
    faults: tuple[FaultChange, ...]


def compare(visits: Sequence[GeneratedVisit], before: Knowledge, now: Knowledge) -> Comparison:
    """Run visits through a rule set, and the one it replaces."""
    old_ids, old_fired, old_evidence = _concluded(visits, before)
    ids, fired, evidence = _concluded(visits, now)
    rule_ids = sorted({*old_ids, *ids})
    was, is_ = _columns(old_fired, old_ids, rule_ids), _columns(fired, ids, rule_ids)
    fault_ids = sorted({*before.faults, *now.faults})
    said = _columns(old_evidence, tuple(before.faults), fault_ids)
    says = _columns(evidence, tuple(now.faults), fault_ids)
    other_rules = (was != is_).any(axis=1)
    changed = other_rules | (np.abs(says - said) > _SAME).any(axis=1)
    gained, lost = (is_ & ~was).sum(axis=0).tolist(), (was & ~is_).sum(axis=0).tolist()
    rules = [RuleChange(*one) for one in zip(rule_ids, gained, lost, strict=True) if any(one[1:])]
    parted = [visits[row] for row in np.flatnonzero(changed)[:SAMPLE].tolist()]
    pairs = list(zip(_likeliest(parted, before), _likeliest(parted, now), strict=True))
    faults = [FaultChange(*pair, pairs.count(pair)) for pair in set(pairs) if pair[0] != pair[1]]
    each = fired.sum(axis=1)
    live = _fired_live(visits[:SAMPLE], now)
    return Comparison(
        visits=len(visits),
        silent=tuple(ids[rule] for rule in np.flatnonzero(fired.sum(axis=0) == 0).tolist()),
        fewest=int(each.min()),
        most=int(each.max()),
        live=len(live),
        live_agreeing=sum(
            one == {name for name, fires in zip(ids, row, strict=True) if fires}
            for one, row in zip(live, fired, strict=False)
        ),
        agreeing=int((~changed).sum()),
        other_rules=int(other_rules.sum()),
        rules=tuple(sorted(rules, key=lambda one: (-one.gained - one.lost, one.rule_id))),
        believed=len(parted),
        other_fault=sum(one.visits for one in faults),
        faults=tuple(sorted(faults, key=lambda one: (-one.visits, one.before, one.now))),
    )


def _concluded(
    visits: Sequence[GeneratedVisit], knowledge: Knowledge
) -> tuple[tuple[str, ...], Flags, Floats]:
    """Return the rules' ids, which of them fire, (N, rules), and their evidence, (N, F)."""
    table = rule_table(knowledge)
    fired = table.fire(table.rows(facts_of(visits, knowledge)))
    return table.rule_ids, fired, table.weigh(fired)


def _fired_live(visits: Sequence[GeneratedVisit], knowledge: Knowledge) -> list[set[str]]:
    engine = inference_for(knowledge)
    return [
        {firing.rule_id for firing in engine.run(facts).firings}
        for facts in facts_of(visits, knowledge)
    ]


def _columns(values: Table, names: Sequence[str], wanted: Sequence[str]) -> Table:
    """The same with the columns that are wanted, by name; zero where there is no such column."""
    wide = np.zeros((len(values), len(wanted)), dtype=values.dtype)
    places = {name: number for number, name in enumerate(wanted)}
    wide[:, [places[name] for name in names]] = values
    return wide


def _likeliest(visits: Sequence[GeneratedVisit], knowledge: Knowledge) -> list[str]:
    """The likeliest fault of each visit, as a live visit would hold it."""
    names = list(knowledge.faults)
    sessions = (Session(knowledge, recorded(one, knowledge)) for one in visits)
    return [names[int(one.progress.probabilities.argmax())] for one in sessions]
