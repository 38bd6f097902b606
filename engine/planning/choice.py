"""The next best act, a check or a fix, from a fault-by-check table with costs.

Holds the face of the planner: the choice and the numbers that explain it. Knows nothing of what
faults and checks mean; the problem, the order of fixes, look-ahead and exact search are in
`planning`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np

from stillflow.engine.base import Flags, InputError
from stillflow.engine.planning.exact import count_states, exact_values
from stillflow.engine.planning.lookahead import Effort, Rows, act_values, check_costs, fix_costs
from stillflow.engine.planning.problem import Problem, Tables, chosen
from stillflow.engine.planning.repair import repair_at_most, repair_minutes

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

Think = Literal["quick", "normal", "deep"]
Kind = Literal["check", "fix"]

# Factors and widths were chosen by simulation on one set of problems and are reported on another
# (tests/benchmarks/bench_planner.py).
_EFFORTS: dict[str, Effort] = {
    "quick": Effort(steps=1, doubt_factor=2.0),
    "normal": Effort(steps=2, doubt_factor=2.5),
    "deep": Effort(steps=3, doubt_factor=3.0),
}
# The most states an exact search can hold; it takes some seconds.
_OPTIMUM_STATES = 60_000_000
# Where no more than these are left, the rest is searched to the end; at normal it takes some 10 ms.
# Counted in states, never in seconds, so that the choice is the same on every machine.
_EXACT_STATES: dict[str, int] = {"quick": 0, "normal": 20_000, "deep": _OPTIMUM_STATES}
# With no more checks times faults than these, three steps come within the 20 ms meant for normal.
_SMALL = 64
# Acts closer than this, as a share of the minutes, are equally good.
_TIE = 1e-9


@dataclass(frozen=True)
class Alternative:
    """One act that was worked out.

    Attributes:
        kind: "check" or "fix".
        index: its number among the checks or the fixes.
        cost: minutes of doing it now, access included.
        minutes: expected minutes to the right fix if it is done now, this act included.
    """

    kind: Kind
    index: int
    cost: float
    minutes: float


@dataclass(frozen=True)
class Action:
    """The act chosen, and the numbers behind it.

    Attributes:
        kind: "check" or "fix".
        index: its number among the checks or the fixes.
        cost: minutes of doing it now, access included.
        minutes: expected minutes to the right fix from here, this act included.
        candidates: every act that was worked out, the chosen one first, then the least minutes.
        exact: whether the minutes are the exact optimum and not an estimate.
    """

    kind: Kind
    index: int
    cost: float
    minutes: float
    candidates: tuple[Alternative, ...]
    exact: bool
    _tables: Tables = field(repr=False, compare=False)
    _rows: Rows = field(repr=False, compare=False)
    _closing: float = field(repr=False, compare=False)

    @property
    def runner_up(self) -> Alternative | None:
        """The next best act, if there was any other."""
        return self.candidates[1] if len(self.candidates) > 1 else None

    @cached_property
    def fixes_only(self) -> float:
        """Expected minutes if nothing were checked any more."""
        rows = self._rows
        ways = self._tables.moves.to_fix[rows.at]
        fixing = float(repair_minutes(self._tables, rows.belief, rows.charges, ways)[0])
        return fixing - _refund(self._tables, rows) + self._closing

    def fixes_at_most(self, most: int) -> float:
        """Expected minutes if nothing were checked, and others took over after so many fixes."""
        paid = repair_at_most(
            self._tables, self._rows.belief, fix_costs(self._tables, self._rows), most
        )
        return float(paid[0]) + self._closing

    @property
    def saved(self) -> float:
        """Expected minutes saved against fixing only."""
        return self.fixes_only - self.minutes


def next_action(
    problem: Problem,
    belief: ArrayLike,
    opened: Iterable[int] | Flags = (),
    think: Think = "normal",
    done: Iterable[int] | Flags = (),
    at: int = 0,
) -> Action:
    """Choose the check or fix with the least expected minutes to the right fix.

    Of fixes alone, the greatest probability over minutes comes first: 0.4 / 5 before 0.6 / 30. If
    it was wrong the other follows, so 5 + 0.6 * 30 minutes are to be expected.

    >>> fixes = dict(priors=[0.6, 0.4], fix_minutes=[30.0, 5.0], access_minutes=[])
    >>> first = next_action(Problem(check_minutes=[], answers=[], access=[], **fixes), [0.6, 0.4])
    >>> first.kind, first.index, round(first.minutes, 1)
    ('fix', 1, 23.0)

    A look of 1 minute that tells the two apart makes that 1 + 0.6 * 30 + 0.4 * 5 minutes, so it is
    worth 2:

    >>> look = Problem(check_minutes=[1.0], answers=[[[1, 0], [0, 1]]], access=[None], **fixes)
    >>> first = next_action(look, [0.6, 0.4])
    >>> first.kind, round(first.minutes, 1), round(first.saved, 1)
    ('check', 21.0, 2.0)

    Args:
        problem: the table and its costs.
        belief: (F,) weights of the faults, any sum; 0 for what is ruled out or was tried.
        opened: groups already opened: numbers, or booleans (G,).
        think: how far to look ahead. Small problems are looked at more deeply, and searched
            exactly where that is possible within the effort.
        done: checks answered or not available: numbers, or booleans (C,).
        at: the position we are in, of the problem's moves.

    Returns:
        The act. Ties go to a fix before a check, then to the lowest number.

    Raises:
        InputError: the belief is empty or malformed, a number is out of range, or `think` is
            not one of its three words.
    """
    if think not in _EFFORTS:
        raise InputError(f"think is {think!r}", right="use quick, normal or deep")
    rows = _start(problem, belief, opened, done, at)
    tables = problem.tables
    faults, most = int((rows.belief > 0.0).sum()), _EXACT_STATES[think]
    # Each set of fixes tried is a state at least, which settles it for most without counting.
    # Where one stands, and what was closed again, hang on the order of acts, which no state has.
    ordered = tables.moves.any or bool(tables.closes.any())
    exact = not ordered and 2.0**faults <= most and count_states(tables, rows) <= most
    if exact:
        found = exact_values(tables, rows)
    else:
        small = think == "normal" and faults * int(rows.free.sum()) <= _SMALL
        effort = _EFFORTS["deep" if small else think]
        found = act_values(tables, rows, effort)
    closing = _closing(problem, rows)
    refund = _refund(tables, rows) - closing
    fix_cost = fix_costs(tables, rows)[0] - tables.refund
    check_cost = check_costs(tables, rows)[0]
    listed = [
        Alternative("fix", int(i), float(fix_cost[i]), float(found.fix[0, i]) - refund)
        for i in np.flatnonzero(np.isfinite(found.fix[0]))
    ] + [
        Alternative("check", int(i), float(check_cost[i]), float(found.check[0, i]) - refund)
        for i in np.flatnonzero(np.isfinite(found.check[0]))
    ]
    least = min(c.minutes for c in listed)
    best = next(c for c in listed if c.minutes <= least + _TIE * abs(least))
    others = sorted((c for c in listed if c is not best), key=lambda c: c.minutes)
    ranked = (best, *others)
    numbers = best.cost, best.minutes, ranked, exact
    return Action(best.kind, best.index, *numbers, tables, rows, closing)


def _start(
    problem: Problem,
    belief: ArrayLike,
    opened: Iterable[int] | Flags,
    done: Iterable[int] | Flags,
    at: int,
) -> Rows:
    weights = np.array(belief, dtype=np.float64)
    if weights.shape != problem.priors.shape:
        right = f"it should be {problem.priors.shape}"
        raise InputError(f"belief has shape {weights.shape}", right=right)
    total = float(weights.sum())
    if not np.isfinite(total) or np.any(weights < 0.0) or total <= 0.0:
        raise InputError(
            "belief rules out every fault", right="use weights of 0 or more, not all 0"
        )
    groups = chosen(opened, len(problem.access_minutes), "opened")
    free = ~chosen(done, len(problem.check_minutes), "done")
    charges = problem.tables.access_minutes.copy()
    charges[:-1][groups] = 0.0
    positions = len(problem.tables.moves.to_check)
    if not 0 <= at < positions:
        raise InputError(f"at is {at}", right=f"there are positions 0 to {positions - 1}")
    return Rows((weights / total)[None, :], charges[None, :], free[None, :], np.array([at]))


def _closing(problem: Problem, rows: Rows) -> float:
    """Minutes of closing what stands open: they were paid with the opening, but are to come."""
    assert problem.closing_minutes is not None
    return float(problem.closing_minutes[rows.charges[0, :-1] == 0.0].sum())


def _refund(tables: Tables, rows: Rows) -> float:
    """The price of the right part: it was charged with every fix, and is given back at the end."""
    return float(rows.belief[0] @ tables.refund)
