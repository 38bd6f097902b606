"""The exact optimum of a small problem, by dynamic programming over dense tables.

A state is the answers so far and the fixes tried, so its weight is a product that needs no
search. For each set of checks done there is one table: a row for each combination of their
answers, a column for each set of fixes tried. Tables are filled from all checks done to none, and
within a table from all fixes tried to none (Bellman 1957). Leaves estimates to `lookahead`.
"""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np

from stillflow.engine.base import Flags, Floats, Integers
from stillflow.engine.planning.lookahead import ActValues, Rows
from stillflow.engine.planning.problem import Tables


def count_states(tables: Tables, rows: Rows) -> float:
    """Return how many states the exact tables of the first row would hold."""
    checks = _telling(tables, rows)
    faults = int((rows.belief[0] > 0.0).sum())
    return float(math.prod((tables.count[checks] + 1).tolist())) * 2.0**faults


def exact_values(tables: Tables, rows: Rows) -> ActValues:
    """Return the least expected minutes times weight of each act in the first row.

    Check `count_states` first: time and memory grow with it.

    Returns:
        (1, C) and (1, F), inf for acts that cannot help (a check that tells nothing, a fix
        whose fault is ruled out).
    """
    return _Search(tables, rows).run()


def _telling(tables: Tables, rows: Rows) -> Integers:
    """Return the free checks whose answers depend on which of the faults left is present."""
    likelihood = tables.likelihood[:, rows.belief[0] > 0.0]
    spread = likelihood.max(axis=1) > likelihood.min(axis=1)
    free = rows.free[0].copy()
    free &= np.bincount(tables.owner, weights=spread, minlength=len(free)) > 0
    return np.flatnonzero(free)


class _Search:
    """One exact solution: the faults and checks that still matter, and the tables by checks."""

    def __init__(self, tables: Tables, rows: Rows) -> None:
        self.tables = tables
        self.charges = rows.charges[0]
        self.faults = np.flatnonzero(rows.belief[0] > 0.0)
        self.checks = _telling(tables, rows)
        self.belief = rows.belief[0, self.faults]
        size = len(self.faults)
        sets = np.arange(1 << size)
        self.tried: Flags = (sets[:, None] >> np.arange(size)) & 1 == 1
        tried_count = self.tried.sum(axis=1)
        # All sets with equally many fixes tried depend only on those with one more.
        self.layers: list[tuple[Integers, Integers, Integers]] = []
        for count in range(size - 1, -1, -1):
            layer = np.flatnonzero(tried_count == count)
            fix = np.nonzero(~self.tried[layer])[1].reshape(len(layer), size - count)
            self.layers.append((layer, fix, layer[:, None] | (1 << fix)))
        self.opened_by_fixes = self._opened_by_fixes()

    def run(self) -> ActValues:
        tables = self.tables
        check = np.full((1, len(tables.count)), np.inf)
        fix = np.full((1, len(tables.stake)), np.inf)
        later: dict[tuple[int, ...], Floats] = {}
        for size in range(len(self.checks), 0, -1):
            later = {
                done: self._fill(done, later)
                for done in combinations(range(len(self.checks)), size)
            }
        for place, number in enumerate(self.checks):
            check[0, number] = self._ask((), place, later)[0, 0]
        none = self._fill((), later)
        costs = self._fix_costs(())
        for place, number in enumerate(self.faults):
            fix[0, number] = costs[0, place] * self.belief.sum() + none[0, 1 << place]
        return ActValues(check, fix)

    def _opened_by_fixes(self) -> Flags:
        opened = np.zeros((len(self.tried), len(self.charges)), dtype=np.bool_)
        for place, fault in enumerate(self.faults):
            opened[self.tried[:, place], self.tables.fix_group[fault]] = True
        return opened

    def _charges(self, done: tuple[int, ...]) -> Floats:
        """Return (sets, G + 1) what each group still costs to open, for each set of fixes."""
        opened = self.opened_by_fixes.copy()
        opened[:, self.tables.check_group[self.checks[list(done)]]] = True
        return np.where(opened, 0.0, self.charges)

    def _fix_costs(self, done: tuple[int, ...]) -> Floats:
        group = self.tables.fix_group[self.faults]
        return np.asarray(self.tables.stake[self.faults] + self._charges(done)[:, group])

    def _weights(self, done: tuple[int, ...]) -> Floats:
        """Return (answers, sets) the weight of each state after these checks."""
        belief = self.belief[None, :]
        for place in done:
            first = self.tables.first[self.checks[place]]
            count = self.tables.count[self.checks[place]]
            likelihood = self.tables.likelihood[first : first + count][:, self.faults]
            belief = (belief[:, None, :] * likelihood).reshape(-1, len(self.faults))
        return np.asarray(belief @ ~self.tried.T)

    def _ask(
        self, done: tuple[int, ...], place: int, later: dict[tuple[int, ...], Floats]
    ) -> Floats:
        """Return (answers, sets) the cost of one more check and the best from there."""
        number = self.checks[place]
        after = tuple(sorted((*done, place)))
        counts = self.tables.count[self.checks[list(after)]].tolist()
        ahead = math.prod(counts[: after.index(place)])
        sets = len(self.tried)
        left = later[after].reshape(ahead, counts[after.index(place)], -1, sets).sum(axis=1)
        minutes = (
            self.tables.check_minutes[number]
            + self._charges(done)[:, self.tables.check_group[number]]
        )
        return np.asarray(left.reshape(-1, sets) + minutes * self._weights(done))

    def _fill(self, done: tuple[int, ...], later: dict[tuple[int, ...], Floats]) -> Floats:
        weights = self._weights(done)
        values = np.full(weights.shape, np.inf)
        values[:, -1] = 0.0
        for place in range(len(self.checks)):
            if place not in done:
                asked = self._ask(done, place, later)
                np.minimum(values[:, :-1], asked[:, :-1], out=values[:, :-1])
        costs = self._fix_costs(done)
        for layer, fix, after in self.layers:
            now = costs[layer[:, None], fix] * weights[:, layer, None]
            best = (now + values[:, after]).min(axis=2)
            values[:, layer] = np.minimum(values[:, layer], best)
        return values
