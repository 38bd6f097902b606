"""Houses for weighing rules: how often a condition holds in them, and what belief makes of it.

What is compared with what, and when a rule is marked, is in `weighing`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stillflow.engine.airflow import (
    HoseSizeEffect,
    apply_many,
    draw_sizes,
    gauge_noise,
    readings_table,
)
from stillflow.engine.base import AirState, Floats, Station
from stillflow.engine.inference import (
    Gauge,
    LikelihoodModel,
    Situation,
    Spot,
    baseline_for,
    reading_facts,
    rule_table,
    spot_of,
    typical_reading,
)
from stillflow.engine.ruleset import Check, Fault, Knowledge, Leaf, Rule, leaves
from stillflow.engine.simulate.calls import fault_weights
from stillflow.engine.simulate.houses import POINTS, draw_callers

POOL = 40
"""Houses over which what belief makes of a rule is averaged; it hangs on their baselines only."""

_READ = ("level", "share", "reading", "kept", "drop", "margin")
_STANDING = ("baseline", "unit", "site")
_SPOTS: tuple[Spot, ...] = tuple((AirState(one.condition), Station(one.station)) for one in POINTS)
_ALONG = (Station.UNIT, Station.UTILITY, Station.OTHER, Station.INLET, Station.HOSE)
"""Stations in the order in which readings build on each other."""


@dataclass(frozen=True)
class Question:
    """A rule, and the readings its condition rests on, in the order they are taken."""

    rule: Rule
    checks: tuple[Check, ...]

    @staticmethod
    def reads(rule: Rule) -> bool:
        """Whether a condition speaks of readings."""
        return any(leaf.fact.split(".")[0] in _READ for leaf in leaves(rule.when))

    @staticmethod
    def beyond(knowledge: Knowledge, rule: Rule) -> tuple[str, ...]:
        """The facts of a condition that neither a reading nor unit, site and baseline give."""
        by_spot = _reading_checks(knowledge)
        return tuple(
            sorted(
                leaf.fact
                for leaf in leaves(rule.when)
                if leaf.fact.split(".")[0] not in (*_READ, *_STANDING)
                or any(spot not in by_spot for spot in _spots(leaf))
            )
        )

    @staticmethod
    def of(knowledge: Knowledge, rule: Rule) -> Question:
        """The question a rule puts to the gauge; nothing is to be `beyond` it."""
        spots = {spot for leaf in leaves(rule.when) for spot in _spots(leaf)}
        by_spot = _reading_checks(knowledge)
        ordered = sorted(
            spots, key=lambda spot: (_ALONG.index(spot[1]), spot[0] is AirState.WORKING)
        )
        return Question(rule, tuple(by_spot[spot] for spot in ordered))


def _reading_checks(knowledge: Knowledge) -> dict[Spot, Check]:
    return {spot_of(one): one for one in knowledge.checks.values() if one.kind == "reading"}


def _spots(leaf: Leaf) -> tuple[Spot, ...]:
    """The readings a comparison rests on."""
    kind, _, rest = leaf.fact.partition(".")
    if kind not in _READ:
        return ()
    if kind == "margin":
        return tuple((state, Station(rest)) for state in AirState)
    state, _, where = rest.partition(".")
    return tuple((AirState(state), Station(name)) for name in where.split("-"))


@dataclass(frozen=True)
class Seen:
    """A condition in the simulated houses that have one fault.

    Attributes:
        houses: how many can have it, counted as they weigh.
        held: share of them in which the condition holds.
    """

    houses: float
    held: float


@dataclass(frozen=True)
class Believed:
    """What belief makes of a condition: P(holds) as is usual, and with each fault, shape (F,)."""

    usual: float
    with_fault: Floats


class WeighingHouses:
    """Houses with their baselines, in which faults are put and the gauge is read.

    Args:
        knowledge: the rule set.
        generator: where the chance comes from.
        houses: how many to draw.
    """

    def __init__(self, knowledge: Knowledge, generator: np.random.Generator, houses: int) -> None:
        self._knowledge = knowledge
        self._generator = generator
        self._table = rule_table(knowledge)
        self._columns = {rule_id: index for index, rule_id in enumerate(self._table.rule_ids)}
        self._callers = draw_callers(knowledge, generator, houses)
        healthy = readings_table(self._callers.houses, POINTS)
        self._visits = self._callers.visits(generator, healthy)
        self._baselines = [baseline_for(visit, knowledge) for visit in self._visits]
        self._models = [LikelihoodModel(knowledge, self._table, one) for one in self._baselines]
        self._standing = [
            model.standing(visit) for model, visit in zip(self._models, self._visits, strict=True)
        ]
        self._fit = fault_weights(knowledge, self._callers.truths)

    @property
    def common(self) -> Floats:
        """How common each fault is among these houses, shape (F,); they sum to 1."""
        weights = self._fit.sum(axis=0)
        return np.asarray(weights / weights.sum())

    def seen(self, fault: Fault, asked: Sequence[Question]) -> dict[str, Seen]:
        """How often conditions hold in the houses that can have a fault, by rule id.

        Each house counts as much as it fits the fault: older ones more for what age brings.
        """
        weight = self._fit[:, self._knowledge.fault_index[fault.id]]
        if isinstance(fault.effect, HoseSizeEffect):
            # Where the hose's length is on record, it is that of the right hose.
            weight = weight * [visit.house.hose_ft is None for visit in self._visits]
        rows = np.flatnonzero(weight > 0.0)
        if not len(rows):
            return {one.rule.id: Seen(0.0, 0.0) for one in asked}
        weight = weight[rows]
        sizes = draw_sizes(fault.effect, self._generator, len(rows))
        houses = apply_many(self._callers.houses.take(rows), fault.effect, sizes)
        shown = gauge_noise(self._generator, readings_table(houses, POINTS), Gauge().tolerance)
        facts = [
            {
                **self._standing[row],
                **reading_facts(
                    dict(zip(_SPOTS, map(float, read), strict=True)),
                    self._baselines[row],
                    self._knowledge.levels,
                ),
            }
            for row, read in zip(rows, shown, strict=True)
        ]
        fired = self._table.fire(self._table.rows(facts), [one.rule.id for one in asked])
        held = weight @ fired / weight.sum()
        # Kish's effective sample size: as many evenly weighed houses say as much.
        count = float(weight.sum() ** 2 / (weight**2).sum())
        return {one.rule.id: Seen(count, float(held[self._columns[one.rule.id]])) for one in asked}

    def believed(self, asked: Sequence[Question]) -> dict[str, Believed]:
        """What belief makes of conditions, on average over houses, by rule id."""
        some = self._generator.permutation(len(self._baselines))[:POOL]
        alike: dict[tuple[str, ...], list[Question]] = {}
        for one in asked:
            alike.setdefault(tuple(check.id for check in one.checks), []).append(one)
        found: dict[str, Believed] = {}
        for group in alike.values():
            ids = [one.rule.id for one in group]
            both = [
                self._chances(row, Situation(self._standing[row]), group[0].checks, ids)
                for row in some
            ]
            usual, with_fault = (np.mean(part, axis=0) for part in zip(*both, strict=True))
            for index, rule_id in enumerate(ids):
                found[rule_id] = Believed(float(usual[index]), with_fault[:, index])
        return found

    def _chances(
        self, row: int, known: Situation, checks: Sequence[Check], rule_ids: Sequence[str]
    ) -> tuple[Floats, Floats]:
        """P(each condition will hold) as is usual, shape (R,), and with each fault, (F, R).

        Args:
            row: the house.
            known: what has been read in it.
            checks: the readings still to be taken, in order.
            rule_ids: whose conditions.
        """
        model, baseline = self._models[row], self._baselines[row]
        faults = len(self._knowledge.faults)
        if not checks:
            fired = self._table.fire(self._table.rows([model.facts(known)]), rule_ids)[0]
            holds = fired[[self._columns[rule_id] for rule_id in rule_ids]].astype(np.float64)
            return holds, np.tile(holds, (faults, 1))
        check, later = checks[0], checks[1:]
        [outlook] = model.outlooks(known, [check.id])
        usual, with_fault = np.zeros(len(rule_ids)), np.zeros((faults, len(rule_ids)))
        for level, often, likely in zip(
            self._knowledge.levels, model.usual(known, check), outlook.likelihood, strict=True
        ):
            value = typical_reading(baseline, spot_of(check), level)
            after = known.with_reading(spot_of(check), value)
            chance, chances = self._chances(row, after, later, rule_ids)
            usual += often * chance
            with_fault += likely[:, None] * chances
        return usual, with_fault
