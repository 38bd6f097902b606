"""Single faults drawn in random houses, read with a gauge good to 2 %, and estimated.

The same trial at any size: a short one among the tests, 2,000 in the benchmark.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stillflow.engine.airflow.atlas import Atlas
from stillflow.engine.airflow.causes import CAUSES, Variant, put
from stillflow.engine.airflow.draw import draw_houses, gauge_noise
from stillflow.engine.airflow.fan import fan_from_rating
from stillflow.engine.airflow.gauge import readings_table
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.points import EVERY_POINT, GaugePoint
from stillflow.engine.airflow.system import System

TOLERANCE = 0.02
RANGES = {"leak": (0.1, 0.6), "throat": (0.3, 1.1), "speed": (0.6, 0.95)}
SPOTS = {
    "leak-unit": ("holes.bin", "holes.motor", "holes.utility"),
    "leak-trunk": ("holes.trunk",),
    "leak-branch": ("holes.branch",),
    "leak-hose": ("holes.hose",),
    "throat-unit": ("throats.filter", "throats.intake"),
    "throat-trunk": ("throats.trunk",),
    "throat-branch": ("throats.branch",),
    "throat-hose": ("throats.hose",),
    "speed": ("fan.speed",),
}
OTHER_INLET = (GaugePoint("other", "sealed"), GaugePoint("other", "working"))


@dataclass(frozen=True)
class Trial:
    """What became of each drawn fault; arrays of shape (count,).

    Attributes:
        cause: index into CAUSES of the true one.
        inside: its size is inside the stated 90 % interval.
        visible: some reading moved by more than the gauge's tolerance.
        stretch: the first-named stretch is the right one of unit, trunk, branch, hose.
        told: it is, counting "between unit and inlet" as right for both trunk and branch where the
            estimate says they cannot be told apart.
        among: the true cause is the first named or said to be ambiguous with it.
        explained: one fault, or none, was found to explain the readings.
    """

    cause: NDArray[np.intp]
    inside: NDArray[np.bool_]
    visible: NDArray[np.bool_]
    stretch: NDArray[np.bool_]
    told: NDArray[np.bool_]
    among: NDArray[np.bool_]
    explained: NDArray[np.bool_]


def run_trial(seed: int, count: int, points: Sequence[GaugePoint] = EVERY_POINT) -> Trial:
    """Draw, read and estimate."""
    generator = np.random.default_rng(seed)
    system = System(fan=fan_from_rating(130, 114))
    houses = draw_houses(generator, count, system, (0, 7000), (90, 140), (90, 130))
    cause = generator.integers(0, len(CAUSES), count)
    size = np.array([generator.uniform(*RANGES[CAUSES[index].kind]) for index in cause])
    spot = [str(generator.choice(SPOTS[CAUSES[index].name])) for index in cause]
    rows = np.empty((count, len(points)))
    for key in set(spot):
        chosen = np.array([one == key for one in spot])
        faulty = put(houses.take(chosen), Variant("", key), size[chosen])
        rows[chosen] = readings_table(faulty, points)
    moved = np.abs(rows / readings_table(houses, points) - 1.0).max(axis=1)
    noisy = gauge_noise(generator, rows, TOLERANCE)
    found = [
        _estimated(houses.take(slice(i, i + 1)), noisy[i], points, int(cause[i]), size[i])
        for i in range(count)
    ]
    inside, stretch, told, among, explained = (np.array(part) for part in zip(*found, strict=True))
    return Trial(cause, inside, moved > TOLERANCE, stretch, told, among, explained)


def _estimated(
    house: Houses, row: NDArray[np.float64], points: Sequence[GaugePoint], true: int, size: float
) -> tuple[bool, bool, bool, bool, bool]:
    fits = Atlas(house, points).fit(row[None, :], TOLERANCE)
    first, cause = CAUSES[fits.best[0]], CAUSES[true]
    near = {CAUSES[index].name for index in np.flatnonzero(fits.ambiguous[0])}
    stretch = first.stretch == cause.stretch
    tubing = ("trunk", "branch")
    told = stretch or (
        first.stretch in tubing
        and cause.stretch in tubing
        and {f"{first.kind}-{part}" for part in tubing} <= near
    )
    return (
        bool(fits.low[0, true] <= size <= fits.high[0, true]),
        stretch,
        told,
        cause.name in near,
        bool(fits.healthy_fits[0] or fits.fits[0, fits.best[0]]),
    )
