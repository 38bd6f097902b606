"""What the airflow model makes of a rule on readings: how its condition bears on each fault.

Live belief weighs readings as they were read, all together. Here the same model is asked once for
all, in one house: how much likelier is it that a condition holds with a fault than with any other,
each as common as it is? Readings are taken along the air path, each in the middle of its level.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np

from stillflow.engine.base import AirState, Floats, Station
from stillflow.engine.inference.baseline import baseline_for
from stillflow.engine.inference.facts import Spot, reading_facts, typical_reading
from stillflow.engine.inference.gauging import GaugeModel
from stillflow.engine.inference.visit import Unit, Visit
from stillflow.engine.ruleset import Condition, FactValue, Knowledge, Rule, leaves, observed, truth

_ALONG = (Station.UNIT, Station.UTILITY, Station.OTHER, Station.INLET, Station.HOSE)
"""Stations in the order in which readings build on each other."""

_RARE = 1e-4
"""Readings less likely than this with every fault are not followed up."""

SLACK = float(10**0.25)
"""A factor this near 1 contradicts nobody: half a step of the scale of strengths."""


def contradicts(sign: int, factor: float) -> bool:
    """Whether a factor speaks clearly against what evidence says.

    Args:
        sign: of the evidence, +1 for, -1 against.
        factor: how much likelier it is with the fault.
    """
    return bool(factor**sign < 1.0 / SLACK)


class Bearings:
    """Rules on readings in one house: the newest class of unit, as if that were its rating.

    Args:
        knowledge: the rule set; it has levels, classes and faults.
    """

    def __init__(self, knowledge: Knowledge) -> None:
        self._knowledge = knowledge
        fan = baseline_for(Visit(), knowledge).system.fan
        rated = Unit(rated_sealed=fan.sealed_inh2o, rated_airflow=fan.airflow_cfm)
        self._baseline = baseline_for(Visit(unit=rated), knowledge)
        self._gauge = GaugeModel(knowledge, self._baseline, Visit(unit=rated))
        self._common = self._gauge.common

    def of(self, rule: Rule) -> Floats | None:
        """How much likelier a condition on readings is with each fault than elsewhere, shape (F,).

        None where no readings in the middle of their levels fulfil it.
        """
        seen = observed(leaf.fact for leaf in leaves(rule.when))
        spots = [(state, station) for station in _ALONG for state in AirState]
        spots = [spot for spot in spots if f"reading.{spot[0]}.{spot[1]}" in seen]
        chance = self._holds(rule.when, {}, spots, np.ones(len(self._common)))
        return self.factors(chance) if chance.any() else None

    def chances(self, spot: Spot) -> Floats:
        """P(level of a first reading | fault), (levels, F)."""
        return self._gauge.levels({}, spot)

    def usual(self, spot: Spot) -> Floats:
        """How often a first reading is in each level, over all faults, (levels,)."""
        return np.asarray(self.chances(spot) @ self._common)

    def factors(self, chance: Floats) -> Floats:
        """P(something | fault) over P(it | another fault), each as common as it is, (..., F)."""
        share = self._common * chance
        others = share.sum(axis=-1, keepdims=True) - share
        ratio = np.ones_like(chance)
        np.divide(chance * (1.0 - self._common), others, out=ratio, where=others > 0.0)
        return ratio

    def _holds(
        self,
        when: Condition,
        before: Mapping[Spot, float],
        spots: Sequence[Spot],
        chance: Floats,
    ) -> Floats:
        """P(these readings and then the condition | fault), given P(these readings | fault)."""
        facts: dict[str, FactValue] = reading_facts(before, self._baseline, self._knowledge.levels)
        said = truth(when, facts)
        if said is not None or not spots or chance.max() < _RARE:
            return chance if said else np.zeros_like(chance)
        spot, later = spots[0], spots[1:]
        total = np.zeros_like(chance)
        for level, likely in zip(
            self._knowledge.levels, self._gauge.levels(before, spot), strict=True
        ):
            value = typical_reading(self._baseline, spot, level)
            total += self._holds(when, {**before, spot: value}, later, chance * likely)
        return total


@lru_cache(maxsize=4)
def bearings_of(knowledge: Knowledge) -> Bearings | None:
    """The bearings of a rule set, worked out once; None where it has no house to read in."""
    if not (knowledge.classes and knowledge.levels and knowledge.faults):
        return None
    return Bearings(knowledge)
