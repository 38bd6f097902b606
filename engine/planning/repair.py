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

from stillflow.engine.planning.problem import Floats, Integers, Tables

# Stands in for a fix of no minutes in a ratio, where it has to come before every other.
_INSTANT = 1e-12


@dataclass(frozen=True)
class _Compound:
    """The members of one shared group, sorted by ratio, and the leading ones taken as one."""

    order: Integers
    """(N, m) positions in the group, greatest ratio first."""
    weight: Floats
    """(N, m) belief in that order."""
    stake: Floats
    """(N, m) minutes in that order."""
    last: Integers
    """(N,) position of the last member taken into the compound."""
    ratio: Floats
    """(N,) ratio of the compound, access included."""


def repair_minutes(tables: Tables, belief: Floats, charges: Floats) -> Floats:
    """Return the expected minutes if we only fixed, in the best order.

    Args:
        tables: of the problem.
        belief: (N, F) weights, 0 for what is ruled out.
        charges: (N, G + 1) minutes still to pay to open each group.

    Returns:
        (N,) minutes times weight, the price of every wrong part in the stakes (see `Tables`).
        Source: sum over the order of (weight not yet ruled out) x minutes.
    """
    weight = belief.copy()
    minutes = tables.stake + charges[:, tables.fix_group]
    inside = np.zeros(len(belief))
    for group, members in tables.sharing:
        charge = charges[:, group]
        if not charge.any():
            continue
        found = _compound(tables, belief, charge, members)
        taken = np.arange(len(members)) <= found.last[:, None]
        head = np.where(taken, found.weight, 0.0)
        spent = charge[:, None] + np.cumsum(found.stake, axis=1)
        total = head.sum(axis=1)
        length = np.take_along_axis(spent, found.last[:, None], axis=1)[:, 0]
        # The compound stands in the first place with all its weight and minutes; what is paid
        # inside it before the right member is reached is corrected for here.
        inside += (head * spent).sum(axis=1) - total * length
        rest = np.where(taken, 0.0, found.weight)
        rest[:, 0] = total
        cost = np.where(taken, 0.0, found.stake)
        cost[:, 0] = length
        weight[:, members] = rest
        minutes[:, members] = cost
    ratio = weight / np.maximum(minutes, _INSTANT)
    order = np.argsort(-ratio, axis=1)
    rows = np.arange(len(belief))[:, None]
    until = np.cumsum(minutes[rows, order], axis=1)
    return np.asarray((weight[rows, order] * until).sum(axis=1) + inside)


def fix_priority(tables: Tables, belief: Floats, charges: Floats) -> Floats:
    """Return how early each fix comes if we only fixed: the greatest is the first of the order.

    Args:
        tables: of the problem.
        belief: (N, F) weights.
        charges: (N, G + 1) minutes still to pay to open each group.

    Returns:
        (N, F) weight per minute; of a compound, its first member carries the compound's ratio
        and the others their own, as if nothing were shared.
    """
    alone = tables.stake + charges[:, tables.fix_group]
    priority = np.asarray(belief / np.maximum(alone, _INSTANT))
    rows = np.arange(len(belief))
    for group, members in tables.sharing:
        charge = charges[:, group]
        if charge.any():
            found = _compound(tables, belief, charge, members)
            lead = members[found.order[:, 0]]
            priority[rows, lead] = np.maximum(priority[rows, lead], found.ratio)
    return priority


def _compound(tables: Tables, belief: Floats, charge: Floats, members: Integers) -> _Compound:
    weight = belief[:, members]
    stake = tables.stake[members]
    order = np.argsort(-weight / np.maximum(stake, _INSTANT), axis=1, kind="stable")
    sorted_weight = np.take_along_axis(weight, order, axis=1)
    sorted_stake = stake[order]
    spent = charge[:, None] + np.cumsum(sorted_stake, axis=1)
    ratio = np.cumsum(sorted_weight, axis=1) / np.maximum(spent, _INSTANT)
    last = np.argmax(ratio, axis=1)
    best = np.take_along_axis(ratio, last[:, None], axis=1)[:, 0]
    return _Compound(order, sorted_weight, sorted_stake, last, best)
