"""The table of single causes by size, and how rows of readings lie in it.

An `Atlas` is worked out once for a system: what every cause at every size would read at every
gauge point. Any number of rows of readings, each with its own points missing, are then fitted by
weighted least squares, without solving the air path again. What is made of the fits is in
`estimate_facts` and `estimate`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property, lru_cache

import numpy as np

from stillflow.engine.airflow.air import AIR_WATTS, Array
from stillflow.engine.airflow.causes import (
    CAUSES,
    FIRST_VARIANT,
    VARIANT_CAUSE,
    VARIANTS,
    put,
    sizes,
)
from stillflow.engine.airflow.gauge import readings_table
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.lines import Lines
from stillflow.engine.airflow.network import LossPath
from stillflow.engine.airflow.path import find_path
from stillflow.engine.airflow.points import EVERY_POINT, GaugePoint, columns
from stillflow.engine.airflow.system import System
from stillflow.engine.base import Flags, InputError, Integers

RESOLUTION_INH2O = 0.25
"""A dial is read to about this much either way, on top of the tolerance (assumed)."""

INTERVAL_RISE = 2.7055
"""Rise of chi-square at the ends of a 90 % interval for one size (chi-square, 1 degree)."""

MOST_TOLERANCES = 1.5
"""A reading farther than this many tolerances from what a cause gives is not explained by it."""

FIT_QUANTILE = 2.3263
"""Standard normal quantile at 99 %: a cause fits unless chi-square is beyond its 99 % point."""

AMBIGUOUS_RISE = 3.841
"""Two causes are told apart when chi-square differs by more (chi-square, 1 degree, 95 %)."""

SAME_CHI_SQUARE = 0.01
"""Causes this close give the same readings; the first of `CAUSES` is named."""

BLOCK_ROWS = 16
"""Rows fitted together, so that the arrays stay in the processor's cache."""

HOSE_END = GaugePoint("hose", "working")


@dataclass(frozen=True)
class Fits:
    """How well each cause explains each row of readings.

    Arrays of shape (rows, causes) unless said otherwise.

    Attributes:
        size: best size, in the cause's own unit.
        low: lower end of the 90 % interval.
        high: upper end.
        chi_square: weighted squared misfit at the best size.
        misfit: farthest reading from what the cause gives, in tolerances.
        fits: whether the cause alone explains the row within tolerance.
        seen: whether the readings taken say anything about the cause's size.
        variant: index into `VARIANTS` of the spot that fits best.
        read: readings it gives at the atlas's `all_points`, inH2O, the hose end last; shape
            (rows, causes, points + 1).
        best: index into `CAUSES` of the cause that fits best, shape (rows,).
        ambiguous: causes that fit nearly as well as the best, the best included.
        healthy_misfit: the same as misfit with nothing wrong, shape (rows,).
        healthy_fits: whether nothing needs to be wrong, shape (rows,).
    """

    size: Array
    low: Array
    high: Array
    chi_square: Array
    misfit: Array
    fits: Flags
    seen: Flags
    variant: Integers
    read: Array
    best: Integers
    ambiguous: Flags
    healthy_misfit: Array
    healthy_fits: Flags

    @staticmethod
    def joined(parts: Sequence[Fits]) -> Fits:
        """Rows after rows."""
        return Fits(
            **{
                field.name: np.concatenate([getattr(part, field.name) for part in parts])
                for field in fields(Fits)
            }
        )


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
        self.all_points = (*self.points, HOSE_END)
        self.all_healthy: Array = readings_table(self.house, self.all_points)[0]

    @property
    def healthy(self) -> Array:
        """What the system should read at the points, inH2O, shape (points,)."""
        return self.all_healthy[:-1]

    @cached_property
    def _path(self) -> LossPath:
        return find_path(self.house, columns([HOSE_END], self.house))

    def orifice_airflow(self, suction: Array) -> Array:
        """Airflow through the house's orifice, cfm of room air, at suctions of shape (rows,)."""
        coefficient = self._path.orifice.coefficient(suction[:, None])[:, 0]
        return np.asarray(coefficient * np.sqrt(suction))

    @cached_property
    def possible_watts(self) -> float:
        """The greatest air power the healthy unit can make at any airflow, air watts."""
        fan = self._path.fan
        end = float((fan.stretch * self.house["fan.airflow_cfm"]).max())
        w = np.linspace(0.0, end, 201)[None, :]
        return float((AIR_WATTS * w * fan.suction(w)).max())

    @cached_property
    def lines(self) -> Lines:
        """Each variant's sizes and readings at the points, and at the hose end after them."""
        grid = np.stack([sizes(CAUSES[index], self.house) for index in VARIANT_CAUSE])
        houses = self.house.repeat(grid.shape[1])
        put_in = [put(houses, variant, line) for variant, line in zip(VARIANTS, grid, strict=True)]
        table = readings_table(Houses.joined(put_in), self.all_points)
        return Lines(grid, table.reshape(*grid.shape, -1))

    def spread(self, rows: Array, tolerance: float) -> tuple[Array, Flags, Array]:
        """Readings ready to be compared, shapes (rows, points).

        A gauge good to +-tolerance is taken as an even spread of that half-width, so of standard
        uncertainty half-width / sqrt(3) (JCGM 100:2008, 4.3.7).

        Args:
            rows: readings, inH2O, shape (rows, points); NaN where none was taken.
            tolerance: share of the reading, such as 0.02.

        Returns:
            The readings with 0 where none was taken, whether one was, and half-widths in inH2O.

        Raises:
            InputError: a row with no reading, or a tolerance that is not between 0 and 1.
        """
        rows = np.asarray(rows, dtype=float)
        taken = np.isfinite(rows)
        if not taken.any(axis=1).all():
            raise InputError("a row of readings has none", right="give at least one reading")
        if not 0.0 < tolerance < 1.0:
            raise InputError(f"tolerance {tolerance:g}", right="a share such as 0.02")
        shown = np.where(taken, rows, 0.0)
        return shown, taken, np.hypot(tolerance * shown, RESOLUTION_INH2O)

    def fit(self, rows: Array, tolerance: float) -> Fits:
        """Fit every cause to every row of readings.

        Args:
            rows: readings, inH2O, shape (rows, points); NaN where none was taken.
            tolerance: the gauge's, and the house's, as a share of the reading.

        Raises:
            InputError: a row with no reading, or a tolerance that is not between 0 and 1.
        """
        shown, taken, half_width = self.spread(rows, tolerance)
        blocks = [slice(i, i + BLOCK_ROWS) for i in range(0, len(shown), BLOCK_ROWS)]
        return Fits.joined([self._fit_block(shown[b], taken[b], half_width[b]) for b in blocks])

    def _fit_block(self, shown: Array, taken: Flags, half_width: Array) -> Fits:
        none = np.zeros((len(shown), 1))
        weight = taken * 3.0 / half_width**2
        closest = self.lines.closest(np.hstack([shown, none]), np.hstack([weight, none]))
        variant = _best_variants(closest.chi_square)
        row = np.arange(len(shown))[:, None]
        chi_square, read = closest.chi_square[row, variant], closest.read[row, variant]
        most = (chi_square + INTERVAL_RISE)[:, list(VARIANT_CAUSE)]
        low, high = self.lines.interval(closest, most)
        low = np.minimum.reduceat(low, FIRST_VARIANT, axis=1)
        high = np.maximum.reduceat(high, FIRST_VARIANT, axis=1)
        grid = self.lines.grid[list(FIRST_VARIANT)]
        off = np.abs(shown[:, None, :] - read[:, :, :-1]) / half_width[:, None, :]
        misfit = (off * taken[:, None, :]).max(axis=2)
        count = taken.sum(axis=1)
        off_healthy = np.abs(shown - self.healthy) / half_width * taken
        healthy_chi = 3.0 * (off_healthy**2).sum(axis=1)
        least = chi_square.min(axis=1, keepdims=True)
        return Fits(
            size=closest.size[row, variant],
            low=low,
            high=high,
            chi_square=chi_square,
            misfit=misfit,
            fits=within_tolerance(misfit, chi_square, np.maximum(count - 1, 1)[:, None]),
            seen=(low > grid.min(axis=1)) | (high < grid.max(axis=1)),
            variant=variant,
            read=read,
            best=_first_least(chi_square),
            ambiguous=chi_square <= least + AMBIGUOUS_RISE,
            healthy_misfit=off_healthy.max(axis=1),
            healthy_fits=within_tolerance(off_healthy.max(axis=1), healthy_chi, count),
        )


def _best_variants(chi_square: Array) -> Integers:
    """The variant of each cause that fits best, the first of equals; shape (rows, causes)."""
    ends = (*FIRST_VARIANT[1:], len(VARIANTS))
    return np.stack(
        [
            start + _first_least(chi_square[:, start:end])
            for start, end in zip(FIRST_VARIANT, ends, strict=True)
        ],
        axis=1,
    )


def _first_least(chi_square: Array) -> Integers:
    """Index of the least in each row; the first of those that give the same readings."""
    least = chi_square.min(axis=1, keepdims=True)
    return np.asarray(np.argmax(chi_square <= least + SAME_CHI_SQUARE, axis=1))


def within_tolerance(misfit: Array, chi_square: Array, degrees: Integers) -> Flags:
    """Whether misfits are ones a gauge within its tolerance would give.

    The farthest reading is within 1.5 tolerances, and chi-square within its 99 % point (Wilson
    and Hilferty 1931; within 1 % from 2 degrees up, 2 % high at 1).
    """
    part = 2.0 / (9.0 * degrees)
    most = degrees * (1.0 - part + FIT_QUANTILE * np.sqrt(part)) ** 3
    return np.asarray((misfit <= MOST_TOLERANCES) & (chi_square <= most))


@lru_cache(maxsize=32)
def atlas_of(system: System, points: tuple[GaugePoint, ...] = EVERY_POINT) -> Atlas:
    """The atlas of a system, kept for the next rows of readings."""
    return Atlas(system, points)
