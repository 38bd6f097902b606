"""How far out a reading is in what was foretold of it: both tails, over faults as believed."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil

import numpy as np

from stillflow.engine.base import Floats
from stillflow.engine.inference.baseline import Baseline
from stillflow.engine.inference.facts import Spot
from stillflow.engine.inference.gauging import GaugeModel
from stillflow.engine.inference.losses import OFFSET_INH2O, logs
from stillflow.engine.ruleset import Level

_PIECE = 0.08
"""Longest stretch of the gauge's logarithm summed up at once: four of the narrowest spreads."""

_POINTS = 8
"""Of the rule of Gauss and Legendre, in each piece."""


def tail_of(
    gauge: GaugeModel,
    baseline: Baseline,
    levels: tuple[Level, ...],
    before: Mapping[Spot, float],
    spot: Spot,
    value: float,
    belief: Floats,
) -> float:
    """P(a reading at least as far out as this one, either way).

    Args:
        gauge: what readings say of the faults in this house.
        baseline: what it should read.
        levels: the bands of share of expected that `gauge` goes by.
        before: readings taken, inH2O.
        spot: where this one was taken.
        value: what was read, inH2O.
        belief: probability of each fault before it, shape (F,).
    """
    expected = baseline.at(*spot)
    shares = [one.below_class if baseline.wide else one.below for one in levels]
    edges = [share * expected for share in shares if share is not None]
    level = int(np.searchsorted(edges, value, side="right"))
    chance = gauge.levels(before, spot) @ belief
    # Of the reading's own level, what lies between it and an edge is summed up.
    if level > 0:
        within = between(gauge, expected, before, spot, edges[level - 1], value)
        below = float(chance[:level].sum() + within @ belief)
    else:
        within = between(gauge, expected, before, spot, value, edges[0])
        below = float(chance[0] - within @ belief)
    return float(np.clip(2.0 * min(below, 1.0 - below), 0.0, 1.0))


def between(
    gauge: GaugeModel,
    expected: float,
    before: Mapping[Spot, float],
    spot: Spot,
    low: float,
    high: float,
) -> Floats:
    """P(a reading from low to high, inH2O | fault, the readings before), shape (F,).

    The live density summed up by the rule of Gauss and Legendre, in pieces.
    """
    start, end = logs(np.array([low, high]), np.array(expected))
    ends = np.linspace(start, end, max(1, ceil((end - start) / _PIECE)) + 1)
    half = np.diff(ends) / 2.0
    nodes, weights = np.polynomial.legendre.leggauss(_POINTS)
    places = (ends[:-1] + half)[:, None] + half[:, None] * nodes
    values = np.exp(places) * (expected + OFFSET_INH2O) - OFFSET_INH2O
    density = [gauge.likelihood(before, spot, float(one)) for one in values.ravel()]
    return np.asarray((half[:, None] * weights).ravel() @ np.array(density))
