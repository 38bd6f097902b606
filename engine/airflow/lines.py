"""Rows of readings against lines of tabled sizes: where each line passes closest.

Pure arithmetic on arrays. Between two neighbouring sizes readings are taken to run straight, so
the weighted squared misfit (chi-square) is a parabola in the share t of the way: its lowest point,
and where it has risen by a given amount, are exact. What the lines are is in `atlas`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stillflow.engine.airflow.air import Array
from stillflow.engine.base import Integers

Index = Integers


@dataclass(frozen=True)
class Closest:
    """Each line against each row.

    Attributes:
        size: size where the line passes closest, shape (rows, lines).
        chi_square: the misfit there, (rows, lines).
        read: the readings there, (rows, lines, points).
        edge: least chi-square between neighbouring sizes, (rows, lines, sizes - 1).
        vertex: t of each parabola's lowest point, unbounded; as edge.
        bend: its curvature; as edge.
        floor: its lowest value, unbounded; as edge.
    """

    size: Array
    chi_square: Array
    read: Array
    edge: Array
    vertex: Array
    bend: Array
    floor: Array


class Lines:
    """Lines of sizes and the readings at each.

    Args:
        grid: sizes, shape (lines, sizes).
        table: readings, shape (lines, sizes, points).
    """

    def __init__(self, grid: Array, table: Array) -> None:
        self.grid = grid
        self.table = table
        start, step = table[:, :-1, :], np.diff(table, axis=1)
        points = table.shape[2]
        self._start, self._start_2, self._step, self._step_start, self._step_2 = (
            np.ascontiguousarray(part.reshape(-1, points).T)
            for part in (start, start * start, step, step * start, step * step)
        )
        self._line = np.arange(len(grid))[None, :, None]

    def closest(self, shown: Array, weight: Array) -> Closest:
        """Where each line passes closest to each row.

        Args:
            shown: readings, shape (rows, points); anything where the weight is 0.
            weight: inverse variance of each reading, the same shape; 0 where none was taken.
        """
        shape = (len(shown), len(self.grid), self.grid.shape[1] - 1)
        seen = weight * shown
        whole = (seen * shown).sum(axis=1)[:, None] + weight @ self._start_2
        constant = (whole - 2.0 * (seen @ self._start)).reshape(shape)
        slope = (seen @ self._step - weight @ self._step_start).reshape(shape)
        bend = np.maximum((weight @ self._step_2).reshape(shape), 1e-12)
        vertex = slope / bend
        floor = constant - slope * vertex
        at = np.clip(vertex, 0.0, 1.0)
        edge = np.maximum(floor + bend * (at - vertex) ** 2, 0.0)
        best = np.argmin(edge, axis=2)[:, :, None]
        where = np.take_along_axis(at, best, axis=2)
        before = self.table[self._line, best][:, :, 0]
        after = self.table[self._line, best + 1][:, :, 0]
        return Closest(
            size=self._size(best, where)[:, :, 0],
            chi_square=np.take_along_axis(edge, best, axis=2)[:, :, 0],
            read=before + where * (after - before),
            edge=edge,
            vertex=vertex,
            bend=bend,
            floor=floor,
        )

    def interval(self, closest: Closest, most: Array) -> tuple[Array, Array]:
        """Lowest and highest size of each line with chi-square up to most, (rows, lines).

        A line that never comes that close gives (inf, -inf).
        """
        within = closest.edge <= most[:, :, None]
        first = np.argmax(within, axis=2)[:, :, None]
        last = within.shape[2] - 1 - np.argmax(within[:, :, ::-1], axis=2)[:, :, None]

        def crossing(edge: Index, side: float) -> Array:
            bend, vertex, floor = (
                np.take_along_axis(part, edge, axis=2)
                for part in (closest.bend, closest.vertex, closest.floor)
            )
            reach = np.sqrt(np.maximum(most[:, :, None] - floor, 0.0) / bend)
            return self._size(edge, np.clip(vertex + side * reach, 0.0, 1.0))[:, :, 0]

        near, far = crossing(first, -1.0), crossing(last, 1.0)
        some = within.any(axis=2)
        return (
            np.where(some, np.minimum(near, far), np.inf),
            np.where(some, np.maximum(near, far), -np.inf),
        )

    def _size(self, edge: Index, share: Array) -> Array:
        before, after = self.grid[self._line, edge], self.grid[self._line, edge + 1]
        return np.asarray(before + share * (after - before))
