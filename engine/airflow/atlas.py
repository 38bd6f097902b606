"""The table of single causes by size, and how rows of readings lie in it.

An `Atlas` is worked out once for a system: what every cause at every size would read at every
gauge point. Any number of rows of readings, each with its own points missing, are then fitted by
weighted least squares along the table's edges, without solving the air path again. What is made of
the fits is in `estimate`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from stillflow.engine.airflow.air import Array
from stillflow.engine.airflow.causes import CAUSES, VARIANT_CAUSE, VARIANTS, put, sizes
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.points import EVERY_POINT, GaugePoint
from stillflow.engine.airflow.readings import readings_table
from stillflow.engine.airflow.system import System
from stillflow.engine.errors import InputError

RESOLUTION_INH2O = 0.25
"""A dial is read to about half a division: this much, either way, on top of the tolerance."""

INTERVAL_RISE = 2.7055
"""Rise of chi-square at the ends of a 90 % interval for one size (chi-square, 1 degree)."""

MOST_TOLERANCES = 1.5
"""A reading farther than this many tolerances from what a cause gives is not explained by it."""

FIT_QUANTILE = 2.3263
"""Standard normal quantile at 99 %: a cause fits unless chi-square is beyond its 99 % point."""


@dataclass(frozen=True)
class Fits:
    """How well each cause explains each row of readings; arrays of shape (rows, causes).

    Attributes:
        size: best size, in the cause's own unit.
        low: lower end of the 90 % interval.
        high: upper end.
        chi_square: weighted squared misfit at the best size.
        misfit: farthest reading from what the cause gives, in tolerances.
        fits: whether the cause alone explains the row within tolerance.
        variant: index into `VARIANTS` of the place that fits best.
        healthy_misfit: the same as misfit with nothing wrong, shape (rows,).
        healthy_fits: whether nothing needs to be wrong, shape (rows,).
    """

    size: Array
    low: Array
    high: Array
    chi_square: Array
    misfit: Array
    fits: NDArray[np.bool_]
    variant: NDArray[np.intp]
    healthy_misfit: Array
    healthy_fits: NDArray[np.bool_]


class Atlas:
    """What single causes of every size would read in one system.

    Args:
        system: the system in the state it should be in, or one house.
        points: the gauge points rows of readings are given at, in the order of their columns.

    Raises:
        InputError: a point the system does not have, or more than one house.
    """

    def __init__(self, system: System | Houses, points: Sequence[GaugePoint] = EVERY_POINT) -> None:
        self.house = Houses.of([system]) if isinstance(system, System) else system
        if self.house.count != 1:
            raise InputError(f"an atlas is of one house, not of {self.house.count}")
        self.points = tuple(points)
        self.healthy: Array = readings_table(self.house, self.points)[0]
        self.grid: Array = np.stack([sizes(CAUSES[index], self.house) for index in VARIANT_CAUSE])

    @cached_property
    def table(self) -> Array:
        """Readings, inH2O, shape (variants, sizes, points)."""
        houses = self.house.repeat(self.grid.shape[1])
        return np.stack(
            [
                readings_table(put(houses, variant, grid), self.points)
                for variant, grid in zip(VARIANTS, self.grid, strict=True)
            ]
        )

    def fit(self, rows: Array, tolerance: float) -> Fits:
        """Fit every cause to every row of readings.

        Between two tabled sizes readings are taken to run straight, so chi-square is a parabola
        there; its lowest point and where it has risen by 2.71 are exact.

        A gauge good to +-tolerance is taken as an even spread of that half-width, standard
        uncertainty tolerance/sqrt(3) (JCGM 100:2008, 4.3.7).

        Args:
            rows: readings, inH2O, shape (rows, points); NaN where none was taken.
            tolerance: share of the reading, such as 0.02.

        Raises:
            InputError: a row with no reading, or a tolerance that is not above zero.
        """
        rows = np.asarray(rows, dtype=float)
        taken = np.isfinite(rows)
        if not taken.any(axis=1).all():
            raise InputError("a row of readings has none", right="give at least one reading")
        if not 0.0 < tolerance < 1.0:
            raise InputError(f"tolerance {tolerance:g}", right="a share such as 0.02")
        shown = np.where(taken, rows, 0.0)
        half_width = np.hypot(tolerance * shown, RESOLUTION_INH2O)
        weight = taken * 3.0 / half_width**2
        line = self._along_lines(shown, weight)
        degrees = np.maximum(taken.sum(axis=1) - 1, 1)
        best = _best_variant(line.chi_square)
        row = np.arange(len(rows))[:, None]
        chi_square = line.chi_square[row, best]
        off = np.abs(shown[:, None, :] - line.read[row, best]) / half_width[:, None, :]
        misfit = (off * taken[:, None, :]).max(axis=2)
        off_healthy = np.abs(shown - self.healthy) / half_width * taken
        healthy_misfit = off_healthy.max(axis=1)
        healthy_chi = 3.0 * (off_healthy**2).sum(axis=1)
        low, high = self._interval(line, chi_square + INTERVAL_RISE)
        return Fits(
            size=line.size[row, best],
            low=low,
            high=high,
            chi_square=chi_square,
            misfit=misfit,
            fits=(misfit <= MOST_TOLERANCES) & (chi_square <= most_chi_square(degrees)[:, None]),
            variant=best,
            healthy_misfit=healthy_misfit,
            healthy_fits=(healthy_misfit <= MOST_TOLERANCES)
            & (healthy_chi <= most_chi_square(degrees + 1)),
        )

    @cached_property
    def _edges(self) -> tuple[Array, Array, Array, Array, Array]:
        """The sums a parabola needs, as matrices (points, variants x edges)."""
        start = self.table[:, :-1, :]
        step = np.diff(self.table, axis=1)
        flat = [
            part.reshape(-1, len(self.points)).T.copy()
            for part in (start, start * start, step, step * start, step * step)
        ]
        return flat[0], flat[1], flat[2], flat[3], flat[4]

    def _along_lines(self, shown: Array, weight: Array) -> _Lines:
        start, start_2, step, step_start, step_2 = self._edges
        shape = (len(shown), len(VARIANTS), self.grid.shape[1] - 1)
        seen = weight * shown
        constant = (
            (seen * shown).sum(axis=1)[:, None] - 2.0 * (seen @ start) + weight @ start_2
        ).reshape(shape)
        slope = (seen @ step - weight @ step_start).reshape(shape)
        bend = (weight @ step_2).reshape(shape)
        some = np.maximum(bend, 1e-12)
        vertex = slope / some
        at = np.clip(vertex, 0.0, 1.0)
        chi_square = np.maximum(constant + at * (bend * at - 2.0 * slope), 0.0)
        best = np.argmin(chi_square, axis=2)[:, :, None]
        where = np.take_along_axis(at, best, axis=2)
        variant = np.arange(len(VARIANTS))
        before, after = self.table[variant, best[:, :, 0]], self.table[variant, best[:, :, 0] + 1]
        return _Lines(
            size=self._size(best, where)[:, :, 0],
            chi_square=np.take_along_axis(chi_square, best, axis=2)[:, :, 0],
            read=before + where * (after - before),
            edge=chi_square,
            vertex=vertex,
            bend=some,
            floor=constant - slope * vertex,
        )

    def _interval(self, line: _Lines, most: Array) -> tuple[Array, Array]:
        """Lowest and highest size of each cause, over its variants, with chi-square up to most.

        Args:
            line: the variants' lines.
            most: chi-square, shape (rows, causes).
        """
        ceiling = most[:, list(VARIANT_CAUSE)]
        within = line.edge <= ceiling[:, :, None]
        some = within.any(axis=2)
        first = np.argmax(within, axis=2)[:, :, None]
        last = within.shape[2] - 1 - np.argmax(within[:, :, ::-1], axis=2)[:, :, None]

        def crossing(edge: NDArray[np.intp], side: float) -> Array:
            bend, vertex, floor = (
                np.take_along_axis(part, edge, axis=2)
                for part in (line.bend, line.vertex, line.floor)
            )
            reach = np.sqrt(np.maximum(ceiling[:, :, None] - floor, 0.0) / bend)
            return self._size(edge, np.clip(vertex + side * reach, 0.0, 1.0))[:, :, 0]

        ends = np.stack([crossing(first, -1.0), crossing(last, 1.0)])
        low = np.where(some, ends.min(axis=0), np.inf)
        high = np.where(some, ends.max(axis=0), -np.inf)
        return (
            np.minimum.reduceat(low, _FIRST_VARIANT, axis=1),
            np.maximum.reduceat(high, _FIRST_VARIANT, axis=1),
        )

    def _size(self, edge: NDArray[np.intp], share: Array) -> Array:
        variant = np.arange(len(VARIANTS))[None, :, None]
        before, after = self.grid[variant, edge], self.grid[variant, edge + 1]
        return np.asarray(before + share * (after - before))


@dataclass(frozen=True)
class _Lines:
    """Each variant's line of sizes against each row: (rows, variants), edges (.., sizes - 1).

    `size`, `chi_square` and `read` (.., points) are at the line's best spot; `edge` is the least
    chi-square on each edge, which runs floor + bend (t - vertex)^2 for t from 0 to 1.
    """

    size: Array
    chi_square: Array
    read: Array
    edge: Array
    vertex: Array
    bend: Array
    floor: Array


_FIRST_VARIANT = [VARIANT_CAUSE.index(index) for index in range(len(CAUSES))]


def _best_variant(chi_square: Array) -> NDArray[np.intp]:
    """The variant of each cause that fits best, shape (rows, causes)."""
    ends = [*_FIRST_VARIANT[1:], len(VARIANTS)]
    return np.stack(
        [
            start + np.argmin(chi_square[:, start:end], axis=1)
            for start, end in zip(_FIRST_VARIANT, ends, strict=True)
        ],
        axis=1,
    )


def most_chi_square(degrees: NDArray[np.intp]) -> Array:
    """The 99 % point of chi-square (Wilson and Hilferty 1931; within 1 % from 2 degrees up)."""
    part = 2.0 / (9.0 * degrees)
    return np.asarray(degrees * (1.0 - part + FIT_QUANTILE * np.sqrt(part)) ** 3)


@lru_cache(maxsize=32)
def atlas_of(system: System, points: tuple[GaugePoint, ...]) -> Atlas:
    """The atlas of a system, kept for the next rows of readings."""
    return Atlas(system, points)
