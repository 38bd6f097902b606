"""What it costs to fix without checking: the order of fixes and its expected minutes.

Without checks the best order of fixes is by probability over minutes, largest first (Kadane and
Simon 1977; the core of Heckerman, Breese and Rommelse 1995). Fixes that share an access not yet
opened form clusters: the members of a closed group are sorted by that ratio, and the leading
ones that together, access included, have the greatest ratio become one compound (Ottosen and
Jensen, arXiv 1203.3502). Leaves checks to `lookahead`.

Beliefs are weights, not normalised: everything here scales with their sum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stillflow.engine.base import Flags, Floats, Integers
from stillflow.engine.planning.problem import Tables

# Stands in for a fix of no minutes in a ratio, where it has to come before every other.
_INSTANT = 1e-12


@dataclass(frozen=True)
class _Clusters:
    """The shared groups, the members of each sorted by ratio; see `Tables.shared` for S and m."""

    lead: Integers
    """(N, S) the fault that comes first in its group."""
    weight: Floats
    """(N, S, m) belief in that order."""
    stake: Floats
    """(N, S, m) minutes in that order."""
    spent: Floats
    """(N, S, m) minutes spent in the group up to and including each member, access included."""
    taken: Flags
    """(N, S, m) whether the member belongs to the compound."""
    length: Floats
    """(N, S) minutes of the compound."""
    ratio: Floats
    """(N, S) weight over minutes of the compound."""


def repair_minutes(tables: Tables, belief: Floats, charges: Floats, ways: Floats) -> Floats:
    """Return the expected minutes if we only fixed, in the best order.

    The way to a fix is counted from where we are, also where other fixes come before it.

    Args:
        tables: of the problem.
        belief: (N, F) weights, 0 for what is ruled out.
        charges: (N, G + 1) minutes still to pay to open each group.
        ways: (N, F) minutes to get to each fix.

    Returns:
        (N,) minutes times weight, the price of every wrong part in the stakes (see `Tables`).
        Source: sum over the order of (weight not yet ruled out) x minutes.
    """
    weight = belief[:, tables.alone]
    minutes = (
        tables.stake[tables.alone]
        + charges[:, tables.fix_group[tables.alone]]
        + ways[:, tables.alone]
    )
    inside: Floats | float = 0.0
    if tables.shared.size:
        found = _clusters(tables, belief, charges, ways)
        # A compound stands in its first place with all its weight and minutes; what is paid
        # inside it before the right member is reached is corrected for afterwards.
        head = np.where(found.taken, found.weight, 0.0)
        total = head.sum(axis=2)
        inside = (head * found.spent).sum(axis=(1, 2)) - (total * found.length).sum(axis=1)
        rest = found.weight - head
        rest[:, :, 0] = total
        cost = np.where(found.taken, 0.0, found.stake)
        cost[:, :, 0] = found.length
        weight = np.concatenate((weight, rest.reshape(-1, tables.shared.size)), axis=1)
        minutes = np.concatenate((minutes, cost.reshape(-1, tables.shared.size)), axis=1)
    order = np.argsort(-weight / np.maximum(minutes, _INSTANT), axis=1)
    # Plain indexing: take_along_axis spends longer on its preparations than on the taking.
    row = np.arange(len(belief))[:, None]
    until = np.cumsum(minutes[row, order], axis=1)
    return np.asarray((weight[row, order] * until).sum(axis=1) + inside)


def repair_at_least(tables: Tables, belief: Floats, known: Floats) -> Floats:
    """Return (N,) a bound that `repair_minutes` is never below, and that is cheap to find.

    After k fixes at least the weight outside the k likeliest faults is left, so the wrong ones
    cost at least what they would if the least minutes went with the most weight (rearrangement
    inequality).

    Args:
        tables: of the problem.
        belief: (N, F) weights, 0 for what is ruled out.
        known: (N,) minutes times weight of the right fix and its access, always paid.
    """
    # Before the least likely fault all other fixes were tried, before the likeliest none.
    before = np.cumsum(np.sort(tables.stake))[-2::-1]
    return np.asarray(known + np.sort(belief, axis=1)[:, :-1] @ before)


def repair_at_most(tables: Tables, belief: Floats, costs: Floats, most: int) -> Floats:
    """Return the expected minutes of a few fixes, after which the rest is left to others.

    They go by probability over minutes, as if no two shared an access.

    Args:
        tables: of the problem.
        belief: (N, F) weights.
        costs: (N, F) minutes of each fix now, the price of its part included.
        most: fixes that are tried.

    Returns:
        (N,) minutes times weight, the price of the right part given back (see `Tables`).
    """
    order = np.argsort(-belief / np.maximum(costs, _INSTANT), axis=1, kind="stable")[:, :most]
    row = np.arange(len(belief))[:, None]
    weight = belief[row, order]
    left = belief.sum(axis=1, keepdims=True) - np.cumsum(weight, axis=1) + weight
    return np.asarray((left * costs[row, order] - weight * tables.refund[order]).sum(axis=1))


def fix_priority(tables: Tables, belief: Floats, charges: Floats, ways: Floats) -> Floats:
    """Return how early each fix comes if we only fixed: the greatest is the first of the order.

    Args:
        tables: of the problem.
        belief: (N, F) weights.
        charges: (N, G + 1) minutes still to pay to open each group.
        ways: (N, F) minutes to get to each fix.

    Returns:
        (N, F) weight per minute; of a compound, its first member carries the compound's ratio
        and the others their own, as if nothing were shared.
    """
    alone = tables.stake + charges[:, tables.fix_group] + ways
    priority = np.asarray(belief / np.maximum(alone, _INSTANT))
    if tables.shared.size:
        found = _clusters(tables, belief, charges, ways)
        row = np.arange(len(belief))[:, None]
        priority[row, found.lead] = np.maximum(priority[row, found.lead], found.ratio)
    return priority


def _clusters(tables: Tables, belief: Floats, charges: Floats, ways: Floats) -> _Clusters:
    filled = np.concatenate((belief, np.zeros((len(belief), 1))), axis=1)
    weight = filled[:, tables.shared]
    # Stable, and what fills up comes last in its row, so a lead is always a fault.
    order = np.argsort(-weight / np.maximum(tables.shared_stake, _INSTANT), axis=2, kind="stable")
    row, group = np.arange(len(belief))[:, None, None], np.arange(len(tables.shared))[:, None]
    weight = weight[row, group, order]
    stake = tables.shared_stake[group, order]
    # What lies behind one access is in one place, so the way there is paid once.
    way = np.concatenate((ways, np.zeros((len(belief), 1))), axis=1)[:, tables.shared].max(axis=2)
    spent = np.cumsum(stake, axis=2) + (charges[:, tables.shared_group] + way)[:, :, None]
    ratio = np.cumsum(weight, axis=2) / np.maximum(spent, _INSTANT)
    last = np.argmax(ratio, axis=2)
    row, group = row[:, :, 0], group[:, 0]
    return _Clusters(
        lead=tables.shared[group, order[:, :, 0]],
        weight=weight,
        stake=stake,
        spent=spent,
        taken=np.arange(tables.shared.shape[1]) <= last[:, :, None],
        length=spent[row, group, last],
        ratio=ratio[row, group, last],
    )
