"""In which order to look for something that is at one of several places.

Nothing is learnt by not finding it but that it is elsewhere, so the best order is by probability
over minutes (Kadane and Simon 1977), with a walk to places that lie together as an access they
share. Where places lie in a row and one look tells on which side of it the thing is, halving by
expected minutes is better: the best such tree is found exactly (Gilbert and Moore 1959; Knuth
1971).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stillflow.engine.planning.problem import Problem
from stillflow.engine.planning.repair import fix_priority


def search_order(
    chances: Sequence[float],
    minutes: Sequence[float],
    together: Sequence[int] = (),
    walks: Sequence[float] = (),
) -> tuple[int, ...]:
    """The order in which looking takes the fewest minutes on average.

    Args:
        chances: of each place, any positive scale.
        minutes: to look at each.
        together: for each place the group it lies in; each for itself by default.
        walks: minutes to come to each group, paid with the first place looked at there.
    """
    whole = float(sum(chances))
    if not chances or whole <= 0.0:
        return tuple(range(len(chances)))
    belief = np.array([chances], dtype=np.float64) / whole
    places = Problem(
        priors=belief[0],
        fix_minutes=np.array(minutes, dtype=np.float64),
        check_minutes=np.empty(0),
        answers=[],
        access=[],
        access_minutes=np.array(walks, dtype=np.float64),
        fix_access=list(together) or None,
    ).tables
    left, walk = np.ones(len(chances), dtype=np.bool_), np.append(walks, 0.0)[None, :]
    order: list[int] = []
    while left.any():
        early = np.where(
            left, fix_priority(places, belief * left, walk, np.zeros_like(belief))[0], -1.0
        )
        first = int(np.argmax(early))
        order.append(first)
        left[first] = False
        if together:
            walk[0, together[first]] = 0.0
    return tuple(order)


def first_cut(chances: Sequence[float], minutes: Sequence[float]) -> int:
    """Where to look first along a row, when a look tells on which side of it the thing is.

    Args:
        chances: of each stretch, from one end of the row to the other, any positive scale.
        minutes: to look between each stretch and the next, one fewer than stretches.

    Returns:
        Index of the look that begins the tree of least expected minutes.
    """
    count = len(chances)
    upto = np.cumsum([0.0, *chances])
    best = np.zeros((count, count))
    root = np.zeros((count, count), dtype=np.intp)
    for length in range(1, count):
        for low in range(count - length):
            high = low + length
            costs = [
                minutes[cut] * (upto[high + 1] - upto[low]) + best[low, cut] + best[cut + 1, high]
                for cut in range(low, high)
            ]
            root[low, high] = low + int(np.argmin(costs))
            best[low, high] = min(costs)
    return int(root[0, count - 1])
