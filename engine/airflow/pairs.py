"""Two faults at once: which pair of causes explains readings that no single one does.

Starts from the single causes' table, as if two causes acted one on top of the other, and refines
the likeliest pairs on the true model, all at once, by damped least squares (Levenberg 1944,
Marquardt 1963).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from stillflow.engine.airflow.air import Array
from stillflow.engine.airflow.atlas import Atlas, within_tolerance
from stillflow.engine.airflow.causes import NO_SIZE, VARIANT_CAUSE, VARIANTS, put
from stillflow.engine.airflow.gauge import readings_table
from stillflow.engine.base import Floats

REFINED = 8
"""Pairs refined on the true model, the likeliest first."""

STEPS = 8
COARSE = 4
"""Every so manieth size of the table is tried for a start."""

NUDGE = 0.25
"""Step of the numerical slope, in places of the table."""

SPREAD_90 = 1.645
"""Standard normal quantile at 95 %: half-width of a 90 % interval in standard deviations."""


@dataclass(frozen=True)
class PairFit:
    """Two causes that explain one row of readings together.

    Attributes:
        variants: indices into `VARIANTS`.
        sizes: their sizes.
        low: lower ends of their 90 % intervals.
        high: upper ends.
        chi_square: weighted squared misfit.
        misfit: farthest reading from what they give, in tolerances.
        fits: whether they explain the row within tolerance.
        read: readings they give at the atlas's `all_points`, inH2O, the hose end last.
    """

    variants: tuple[int, int]
    sizes: tuple[float, float]
    low: tuple[float, float]
    high: tuple[float, float]
    chi_square: float
    misfit: float
    fits: bool
    read: Array


def _lead_variants() -> tuple[int, ...]:
    """One variant for each number of a system that causes change: the first of each."""
    keys = [variant.key for variant in VARIANTS]
    return tuple(sorted({keys.index(key) for key in keys}))


LEADS = _lead_variants()
PAIRS = tuple(
    (left, right)
    for left, right in combinations(LEADS, 2)
    if VARIANT_CAUSE[left] != VARIANT_CAUSE[right]
)


def fit_pairs(atlas: Atlas, row: Array, tolerance: float) -> list[PairFit]:
    """Fit pairs of causes to one row of readings.

    Args:
        atlas: the system's.
        row: readings, inH2O, shape (points,); NaN where none was taken.
        tolerance: share of the reading.

    Returns:
        The likeliest pairs, the best first.
    """
    shown, taken, half_width = (part[0] for part in atlas.spread(row[None, :], tolerance))
    weight = np.sqrt(3.0) / half_width * taken
    problem = _Problem(atlas, shown, weight)
    pairs, place = problem.start()
    place, read, slope = problem.refine(pairs, place)
    off = (shown - read[:, :-1]) * weight
    chi_square = (off**2).sum(axis=1)
    misfit = np.abs(off).max(axis=1) / np.sqrt(3.0)
    degrees = np.full(len(pairs), max(int(taken.sum()) - 2, 1))
    fits = within_tolerance(misfit, chi_square, degrees)
    spread = SPREAD_90 * _uncertainty(slope)
    size, low, high = (
        problem.sizes(pairs, where) for where in (place, place - spread, place + spread)
    )
    low, high = np.minimum(low, high), np.maximum(low, high)
    order = np.argsort(chi_square, kind="stable")
    return [
        PairFit(
            variants=pairs[i],
            sizes=(float(size[i, 0]), float(size[i, 1])),
            low=(float(low[i, 0]), float(low[i, 1])),
            high=(float(high[i, 0]), float(high[i, 1])),
            chi_square=float(chi_square[i]),
            misfit=float(misfit[i]),
            fits=bool(fits[i]),
            read=read[i],
        )
        for i in order
    ]


class _Problem:
    """One row of readings; sizes are spoken of by their place in the table, 0 to SIZES - 1."""

    def __init__(self, atlas: Atlas, shown: Array, weight: Array) -> None:
        self.atlas = atlas
        self.shown = shown
        self.weight = weight
        self.last = atlas.lines.grid.shape[1] - 1

    def start(self) -> tuple[list[tuple[int, int]], Array]:
        """The likeliest pairs and where in the table to start, (pairs, 2).

        The two causes' effects are taken to multiply: T_i T_j / T_healthy.
        """
        table = self.atlas.lines.table[:, ::COARSE, :-1]
        share = table / np.maximum(self.atlas.healthy, 1e-9)
        left, right = (list(side) for side in zip(*PAIRS, strict=True))
        read = share[left][:, :, None, :] * table[right][:, None, :, :]
        chi_square = (((self.shown - read) * self.weight) ** 2).sum(axis=3)
        flat = chi_square.reshape(len(PAIRS), -1)
        chosen = np.argsort(flat.min(axis=1), kind="stable")[:REFINED]
        where = np.unravel_index(flat[chosen].argmin(axis=1), chi_square.shape[1:])
        place = np.stack(where, axis=1).astype(float) * COARSE
        return [PAIRS[index] for index in chosen], np.clip(place, 1.0, self.last - 1.0)

    def refine(self, pairs: list[tuple[int, int]], place: Array) -> tuple[Array, Array, Array]:
        """Damped least squares on all pairs at once.

        Returns:
            Places (pairs, 2), readings there (pairs, points + 1), and the weighted slope of the
            readings along each place (pairs, points, 2).
        """
        damping = np.full(len(pairs), 1e-2)
        read, slope, cost = self._at(pairs, place)
        for _ in range(STEPS):
            residual = (self.shown - read[:, :-1]) * self.weight
            normal = np.einsum("kpi,kpj->kij", slope, slope)
            normal = normal + damping[:, None, None] * (
                np.eye(2) * (np.trace(normal, axis1=1, axis2=2)[:, None, None] + 1e-9)
            )
            pull = np.einsum("kpi,kp->ki", slope, residual)
            step = np.linalg.solve(normal, pull[:, :, None])[:, :, 0]
            trial = np.clip(place + np.clip(step, -8.0, 8.0), 0.0, float(self.last))
            read_new, slope_new, cost_new = self._at(pairs, trial)
            better = cost_new < cost
            place = np.where(better[:, None], trial, place)
            read = np.where(better[:, None], read_new, read)
            slope = np.where(better[:, None, None], slope_new, slope)
            settled = np.abs(cost - cost_new) < 0.01 * cost + 1e-3
            cost = np.where(better, cost_new, cost)
            damping = np.clip(np.where(better, damping / 5.0, damping * 5.0), 1e-7, 1e3)
            if settled.all():
                break
        return place, read, slope

    def _at(self, pairs: list[tuple[int, int]], place: Array) -> tuple[Array, Array, Array]:
        nudge = np.where(place + NUDGE <= self.last, NUDGE, -NUDGE)
        places = np.stack([place, place.copy(), place.copy()], axis=1)
        places[:, 1, 0] += nudge[:, 0]
        places[:, 2, 1] += nudge[:, 1]
        read = self._read(pairs, places)
        change = read[:, 1:, :-1] - read[:, :1, :-1]
        slope = (change * self.weight / nudge[:, :, None]).transpose(0, 2, 1)
        cost = (((self.shown - read[:, 0, :-1]) * self.weight) ** 2).sum(axis=1)
        return read[:, 0], slope, cost

    def _read(self, pairs: list[tuple[int, int]], places: Array) -> Array:
        """Readings of the true model at places (pairs, 3, 2)."""
        count = places.shape[0] * places.shape[1]
        houses = self.atlas.house.repeat(count)
        involved = {variant for pair in pairs for variant in pair}
        for variant in LEADS:
            if variant not in involved:
                continue
            size = np.full(places.shape[:2], NO_SIZE[VARIANTS[variant].kind])
            for index, pair in enumerate(pairs):
                if variant in pair:
                    size[index] = self._size(variant, places[index, :, pair.index(variant)])
            houses = put(houses, VARIANTS[variant], size.ravel())
        table = readings_table(houses, self.atlas.all_points)
        return table.reshape(*places.shape[:2], -1)

    def _size(self, variant: int, place: Array) -> Array:
        grid = self.atlas.lines.grid[variant]
        return np.asarray(np.interp(place, np.arange(len(grid)), grid))

    def sizes(self, pairs: list[tuple[int, int]], place: Array) -> Array:
        """Sizes at places (pairs, 2)."""
        return np.array(
            [
                [float(self._size(variant, place[i, j])) for j, variant in enumerate(pair)]
                for i, pair in enumerate(pairs)
            ]
        )


def _uncertainty(slope: Floats) -> Array:
    """Standard deviations of places from the weighted slopes, shape (pairs, 2)."""
    normal = np.einsum("kpi,kpj->kij", slope, slope) + 1e-9 * np.eye(2)
    variance = np.linalg.inv(normal)
    return np.asarray(np.sqrt(np.maximum(np.einsum("kii->ki", variance), 0.0)))
