"""What a gauge reads: one system, or a table of many.

The air path is described in `system` and `houses`; the balance of fan and path is in `network`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stillflow.engine.airflow.air import Array
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.path import find_path
from stillflow.engine.airflow.points import Columns, GaugePoint, columns
from stillflow.engine.airflow.system import System

BLOCK_ROWS = 16384
"""Houses solved together in a large table, so that the arrays stay in the processor's cache."""


def readings(system: System, station: str, condition: str, inlet: str | None = None) -> float:
    """What the gauge shows at one point of a system.

    A unit rated 130 inH2O, at sea level and a mile up. A series motor speeds up in thin air, so
    that suction goes as density to the 2/3: 130 * 0.82341 ** (2 / 3) = 114.2.

    >>> from stillflow.engine.airflow.fan import fan_from_rating
    >>> house = System(fan=fan_from_rating(130.0, 114.5))
    >>> high = house.model_copy(update={"altitude_ft": 5280.0})
    >>> [round(readings(one, "unit", "sealed"), 1) for one in (house, high)]  # inH2O
    [130.0, 114.2]

    Args:
        system: the air path, with whatever is damaged in it.
        station: `unit` (tubing off, at the intake), `utility` (inlet on the unit, tubing on),
            `inlet`, `other` (another inlet) or `hose` (hose end).
        condition: `sealed` (no air flows) or `working` (air enters through the orifice).
        inlet: which inlet is meant; without it the system's first, or its damaged one.

    Returns:
        inH2O.

    Raises:
        InputError: no such station, condition or inlet.
    """
    return float(readings_table(Houses.of([system]), [GaugePoint(station, condition, inlet)])[0, 0])


def readings_table(houses: Houses, points: Sequence[GaugePoint]) -> Array:
    """What the gauge shows at several points of many houses.

    Args:
        houses: n houses.
        points: where and how it is read.

    Returns:
        inH2O, shape (n, points).

    Raises:
        InputError: no such station, condition or inlet.
    """
    where = columns(points, houses)
    if houses.count <= BLOCK_ROWS // len(points):
        return _shown(houses, where)
    table = np.empty((houses.count, len(points)))
    for start in range(0, houses.count, BLOCK_ROWS):
        rows = slice(start, start + BLOCK_ROWS)
        block = houses.take(rows)
        for index in range(len(points)):
            table[rows, index] = _shown(block, where.one(index))[:, 0]
    return table


def _shown(houses: Houses, where: Columns) -> Array:
    true = find_path(houses, where).balance()
    shown = houses["gauge.factor"][:, None] * true + houses["gauge.offset_inh2o"][:, None]
    return np.maximum(shown, 0.0)
