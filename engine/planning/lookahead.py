"""Look-ahead over checks and fixes: many hypothetical beliefs evaluated as rows of one table.

Holds the estimate of what a belief still costs, the one-step value built on it, and deeper
values over the best few acts. Leaves the choice and its explanation to `choice`, and the exact
answer for small problems to `exact`.

Beliefs are weights, not normalised: the weight of an answer is the sum of its row, so expected
minutes are plain sums, without a division. All minutes include the price of every wrong part and
of the right one (see `Tables`); `choice` gives the latter back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stillflow.engine.base import Flags, Floats, Integers
from stillflow.engine.planning.problem import Tables, information
from stillflow.engine.planning.repair import fix_priority, repair_at_least, repair_minutes

# A check that takes off less than this share of a bit tells nothing.
_TELLS_NOTHING = 1e-9
# Weight, as a share of the heaviest row, below which what happens is left out.
_NEGLIGIBLE = 1e-12


@dataclass(frozen=True)
class Rows:
    """Hypothetical states, one a row.

    Attributes:
        belief: (N, F) weights, 0 for what is ruled out.
        charges: (N, G + 1) minutes still to pay to open each group, the last column 0.
        free: (N, C) whether the check can still be done.
        at: (N,) the position we are in.
    """

    belief: Floats
    charges: Floats
    free: Flags
    at: Integers

    def of(self, chosen: Flags | Integers) -> Rows:
        """Some of the rows."""
        return Rows(self.belief[chosen], self.charges[chosen], self.free[chosen], self.at[chosen])


@dataclass(frozen=True)
class Effort:
    """How far and how wide to look ahead.

    Attributes:
        steps: acts looked ahead before what is left is estimated, 1 or more.
        doubt_factor: minutes a bit of doubt still costs, in units of what the best check now
            asks for a bit. The further the search, the more often it picks what was estimated
            too low, so the dearer the doubt has to be.
        shortlist: checks worked out by one step in each state, the best by a rough ranking.
        checks: of those, the best to pursue by a further step.
        fixes: fixes to pursue, the first of the order.
    """

    steps: int
    doubt_factor: float
    shortlist: int = 6
    checks: int = 5
    fixes: int = 3

    def later(self) -> Effort:
        """Return the effort left after one more act."""
        return replace(self, steps=self.steps - 1)


@dataclass(frozen=True)
class DoubtPrice:
    """What doubt is taken to cost where it is not followed up; both inf if no check tells.

    Attributes:
        bit: minutes for each bit of it.
        least: minutes as long as there is any, for it takes a check at least.
    """

    bit: float
    least: float

    def of(self, doubt: Floats, weight: Floats) -> Floats:
        """Return minutes times weight for doubts in bits times weight, elementwise."""
        # Rounding leaves traces of doubt where there is none.
        some = doubt > _TELLS_NOTHING * weight
        if not np.isfinite(self.bit):
            return np.where(some, np.inf, 0.0)
        return np.where(some, np.maximum(self.bit * doubt, self.least * weight), 0.0)


@dataclass(frozen=True)
class ActValues:
    """Expected minutes times weight of each act, inf where it was not worked out.

    Attributes:
        check: (N, C).
        fix: (N, F).
    """

    check: Floats
    fix: Floats


@dataclass(frozen=True)
class _Answered:
    """What every answer of every check would leave, without building the beliefs.

    Attributes:
        known: (N, K) minutes times weight of the right fixes, still to be paid in any case.
        doubt: (N, K) bits times weight that stay in doubt.
        mass: (N, K) weight of the answer.
        cost: (N, C) minutes times weight of doing the check now.
        gain: (N, C) bits times weight it takes off the doubt; 0 if it tells nothing or is done.
    """

    known: Floats
    doubt: Floats
    mass: Floats
    cost: Floats
    gain: Floats

    def left(self, price: DoubtPrice) -> Floats:
        """Return (N, K) an estimate of the minutes times weight left if one checks on."""
        return self.known + price.of(self.doubt, self.mass)


@dataclass(frozen=True)
class _Outcomes:
    """The answers to checks, one a row, those of one check together.

    Attributes:
        belief, charges, at: of the states after the answer.
        pair: (M,) the asked pair of row and check; start: where each pair begins.
        source: (M,) the row asked; answer: (M,) which of the K answers it is.
    """

    belief: Floats
    charges: Floats
    at: Integers
    pair: Integers
    start: Integers
    source: Integers
    answer: Integers


def act_values(
    tables: Tables, rows: Rows, effort: Effort, price: DoubtPrice | None = None
) -> ActValues:
    """Return what each act is expected to cost, this act included.

    Args:
        tables: of the problem.
        rows: the states to choose in.
        effort: how far and how wide to look.
        price: of doubt; by default what it costs in the first row, from there on.
    """
    found = _answered(tables, rows)
    if price is None:
        price = _doubt_price(tables, found, effort.doubt_factor)
    near = _checking(tables, rows, found, effort.shortlist, price)
    weight = rows.belief.sum(axis=1)
    ways = tables.moves.to_fix[rows.at]
    priority = fix_priority(tables, rows.belief, rows.charges, ways)
    which, fix = _least(np.where(rows.belief > 0.0, -priority, np.inf), effort.fixes)
    asked, check = _least(near, effort.checks if effort.steps > 1 else 0)
    tried = _try(tables, rows, which, fix)
    answered, start = _ask(tables, rows, asked, check)
    left = _values(tables, _stack(answered, tried), effort.later(), price)
    costs = ActValues(near, np.full(rows.belief.shape, np.inf))
    if effort.steps > 1:
        costs.check.fill(np.inf)
    if len(asked):
        minutes = check_costs(tables, rows)[asked, check]
        after = np.add.reduceat(left[: len(answered.belief)], start)
        costs.check[asked, check] = minutes * weight[asked] + after
    minutes = fix_costs(tables, rows)[which, fix]
    costs.fix[which, fix] = minutes * weight[which] + left[len(answered.belief) :]
    return costs


def _doubt_price(tables: Tables, found: _Answered, factor: float) -> DoubtPrice:
    """Return what doubt is taken to cost from the first row on.

    A bit costs the factor times the least minutes per bit among the free checks: in units of the
    problem itself, so that minutes and hours give the same choices.
    """
    telling = found.gain[0] > 0.0
    rates = found.cost[0, telling] / found.gain[0, telling]
    return DoubtPrice(
        factor * float(np.min(rates, initial=np.inf)),
        float(np.min(tables.check_minutes[telling], initial=np.inf)),
    )


def _values(tables: Tables, rows: Rows, effort: Effort, price: DoubtPrice) -> Floats:
    """Return (N,) what each state is expected to cost; rows of no weight cost nothing."""
    weight = rows.belief.sum(axis=1)
    live = weight > _NEGLIGIBLE * weight.max(initial=0.0)
    rows = rows.of(live)
    values = np.zeros(len(live))
    if not len(rows.belief):
        return values
    if effort.steps == 0:
        values[live] = _left(tables, rows, price)
    elif effort.steps == 1:
        costs = _checking(tables, rows, _answered(tables, rows), effort.shortlist, price)
        values[live] = np.minimum(_left(tables, rows, price), costs.min(axis=1, initial=np.inf))
    else:
        found = act_values(tables, rows, effort, price)
        best = found.check.min(axis=1, initial=np.inf)
        values[live] = np.minimum(best, found.fix.min(axis=1))
    return values


def _checking(
    tables: Tables, rows: Rows, found: _Answered, shortlist: int, price: DoubtPrice
) -> Floats:
    """Return (N, C) what each check of a state's shortlist costs, by one step; else inf."""
    costs = np.full(rows.free.shape, np.inf)
    if not np.isfinite(price.bit):
        return costs
    left = found.left(price)
    rough = found.cost + np.add.reduceat(left, tables.first, axis=1)
    which, check = _least(np.where(found.gain > 0.0, rough, np.inf), shortlist)
    if len(which):
        out = _outcomes(tables, rows, which, check)
        at = out.source, out.answer
        ways = tables.moves.to_fix[out.at]
        after = _or_fixing(tables, out.belief, out.charges, ways, found.known[at], left[at])
        costs[which, check] = np.add.reduceat(after, out.start) + found.cost[which, check]
    return costs


def _left(tables: Tables, rows: Rows, price: DoubtPrice) -> Floats:
    """Return (N,) the estimate of what is left: fixing only, or checking at the price of doubt."""
    belief = rows.belief
    known = (belief * fix_costs(tables, rows)).sum(axis=1)
    left = known + price.of(_doubt(belief), belief.sum(axis=1))
    ways = tables.moves.to_fix[rows.at]
    return _or_fixing(tables, belief, rows.charges, ways, known, left)


def check_costs(tables: Tables, rows: Rows) -> Floats:
    """Return (N, C) minutes of doing each check now, with what must be opened, and the way."""
    opening = rows.charges[:, tables.check_group]
    return np.asarray(tables.check_minutes + opening + tables.moves.to_check[rows.at])


def fix_costs(tables: Tables, rows: Rows) -> Floats:
    """Return (N, F) minutes of each fix now, with what must be opened, the way and the price."""
    return np.asarray(
        tables.stake + rows.charges[:, tables.fix_group] + tables.moves.to_fix[rows.at]
    )


def _or_fixing(
    tables: Tables, belief: Floats, charges: Floats, ways: Floats, known: Floats, left: Floats
) -> Floats:
    """Return (N,) what is left, or the minutes of fixing only where those are less."""
    # While there is much doubt fixing only cannot win, and its order need not be found.
    close = repair_at_least(tables, belief, known) < left
    if not close.any():
        return left
    fixing = repair_minutes(tables, belief[close], charges[close], ways[close])
    left = left.copy()
    left[close] = np.minimum(fixing, left[close])
    return left


def _doubt(belief: Floats) -> Floats:
    return np.asarray(information(belief.sum(axis=1)) - information(belief).sum(axis=1))


def _answered(tables: Tables, rows: Rows) -> _Answered:
    belief, likelihood = rows.belief, tables.likelihood
    states, weight = len(belief), belief.sum(axis=1)[:, None]
    cost = check_costs(tables, rows) * weight
    if not len(likelihood):
        none = np.zeros((states, 0))
        return _Answered(none, none, none, cost, np.zeros_like(cost))
    # The entropy of b x P(a | f) splits into two matrix products, so no row has to be built.
    together = np.concatenate((belief, information(belief), belief * tables.stake)) @ likelihood.T
    mass, inner, known = together[:states], together[states : 2 * states], together[2 * states :]
    inner += belief @ tables.surprise.T
    doubt = np.maximum(information(mass) - inner, 0.0)
    anew = tables.access_minutes[tables.fix_group]
    ways = tables.moves.to_fix[rows.at]
    factors = (rows.charges[:, tables.fix_group], np.broadcast_to(anew, belief.shape), 1.0, ways)
    known += np.concatenate([belief * one for one in factors], axis=1) @ tables.onward.T
    gain = _doubt(belief)[:, None] - np.add.reduceat(doubt, tables.first, axis=1)
    gain = np.where(rows.free & (gain > _TELLS_NOTHING * weight), gain, 0.0)
    return _Answered(known, doubt, mass, cost, gain)


def _least(costs: Floats, most: int) -> tuple[Integers, Integers]:
    """Return row and column of the least `most` finite costs of each row, ties by column."""
    order = np.argsort(costs, axis=1, kind="stable")[:, :most]
    which = np.repeat(np.arange(len(costs)), order.shape[1])
    column = order.ravel()
    finite = np.isfinite(costs[which, column])
    return which[finite], column[finite]


def _outcomes(tables: Tables, rows: Rows, which: Integers, check: Integers) -> _Outcomes:
    count = tables.count[check]
    pair = np.repeat(np.arange(len(check)), count)
    start = np.cumsum(count) - count
    answer = tables.first[check][pair] + np.arange(len(pair)) - start[pair]
    source = which[pair]
    asked = check[pair]
    charges = np.where(tables.closes[asked], tables.access_minutes, rows.charges[source])
    charges[np.arange(len(pair)), tables.check_group[asked]] = 0.0
    belief = rows.belief[source] * tables.likelihood[answer]
    at = _left_at(tables.moves.from_check[asked], rows.at[source])
    return _Outcomes(belief, charges, at, pair, start, source, answer)


def _left_at(ends: Integers, before: Integers) -> Integers:
    """Return (N,) where an act leaves us, who were somewhere before it."""
    return np.where(ends < 0, before, ends)


def _ask(tables: Tables, rows: Rows, which: Integers, check: Integers) -> tuple[Rows, Integers]:
    """Return the states after `check[i]` is done in row `which[i]`, and where each i begins."""
    out = _outcomes(tables, rows, which, check)
    free = rows.free[out.source]
    free[np.arange(len(free)), check[out.pair]] = False
    return Rows(out.belief, out.charges, free, out.at), out.start


def _stack(first: Rows, second: Rows) -> Rows:
    return Rows(
        np.concatenate((first.belief, second.belief)),
        np.concatenate((first.charges, second.charges)),
        np.concatenate((first.free, second.free)),
        np.concatenate((first.at, second.at)),
    )


def _try(tables: Tables, rows: Rows, which: Integers, fix: Integers) -> Rows:
    """Return the states after `fix[i]` turned out wrong in row `which[i]`."""
    each = np.arange(len(which))
    after = rows.of(which)
    after.belief[each, fix] = 0.0
    after.charges[each, tables.fix_group[fix]] = 0.0
    return replace(after, at=_left_at(tables.moves.from_fix[fix], after.at))
