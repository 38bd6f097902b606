"""Whether levels, shares and what is kept between stations can all be true of one set of readings.

Interval arithmetic on shares of expected: a level is an interval of share, `kept` is a ratio of
two shares. Facts in inH2O depend on the house and are left alone, so what this refuses is
impossible in every house.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from stillflow.engine.ruleset import Level

Edge = tuple[float, int]
"""A bound and on which side of it: a lower edge (v, 1) or an upper edge (v, -1) leaves v out."""

Interval = tuple[Edge, Edge]

ANY: Interval = ((0.0, 0), (math.inf, -1))

_ROUNDS = 20


def level_intervals(levels: Sequence[Level], wide: bool) -> dict[str, Interval]:
    """The shares each level stands for, lower edge in, upper edge out.

    Args:
        levels: in rising order, the last without an upper edge.
        wide: the edges for a baseline that is only a class of unit.
    """
    found: dict[str, Interval] = {}
    low: Edge = (0.0, 0)
    for level in levels:
        edge = level.below_class if wide else level.below
        found[level.id] = (low, (edge if edge is not None else math.inf, -1))
        if edge is not None:
            low = (edge, 0)
    return found


def empty(interval: Interval) -> bool:
    """Whether no number lies in it."""
    return interval[0] > interval[1]


def meet(one: Interval, other: Interval) -> Interval:
    """What two intervals share."""
    return max(one[0], other[0]), min(one[1], other[1])


def hull(intervals: Sequence[Interval]) -> Interval:
    """The smallest interval that holds them all."""
    return min(one[0] for one in intervals), max(one[1] for one in intervals)


def agree(shares: Mapping[str, Interval], ratios: Mapping[tuple[str, str], Interval]) -> bool:
    """Whether shares of these spots can have these ratios.

    Args:
        shares: interval of share by spot; a spot not named can be anything.
        ratios: (near spot, far spot) -> interval of far share / near share.
    """
    known = dict(shares)
    if any(empty(interval) for interval in (*known.values(), *ratios.values())):
        return False
    for _ in range(_ROUNDS):
        before = dict(known)
        for near, far, ratio in _both_ways(ratios):
            known[far] = meet(known.get(far, ANY), _product(known.get(near, ANY), ratio))
            if empty(known[far]):
                return False
        if known == before:
            break
    return True


def _both_ways(
    ratios: Mapping[tuple[str, str], Interval],
) -> Iterator[tuple[str, str, Interval]]:
    for (near, far), (low, high) in ratios.items():
        yield near, far, (low, high)
        inverse_low = (1 / high[0] if high[0] else math.inf, -high[1])
        inverse_high = (1 / low[0] if low[0] else math.inf, -low[1])
        yield far, near, (inverse_low, inverse_high)


def _product(one: Interval, other: Interval) -> Interval:
    # Nothing times anything is nothing, whether or not the anything is reached; and nothing times
    # an end at infinity may be anything.
    low = one[0][0] * other[0][0] if one[0][0] and other[0][0] else 0.0
    ends = one[1][0], other[1][0]
    high = math.inf if math.inf in ends else ends[0] * ends[1]
    open_low = 1 if low and (one[0][1] or other[0][1]) else 0
    open_high = -1 if high and (one[1][1] or other[1][1]) else 0
    return (low, open_low), (high, open_high)
