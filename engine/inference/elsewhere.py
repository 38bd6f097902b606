"""Hypothetical losses as they are seen from inlets beyond the other one: nothing is solved anew.

The other inlet sees a leak at itself or one elsewhere, a squeeze in the trunk before its tap or
beyond it, and each of these stands in the table of losses already. What any further inlet sees is
one of the two, so a loss becomes as many as there are ways in which the inlets can see it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from math import factorial

import numpy as np

from stillflow.engine.base import Floats, Integers
from stillflow.engine.inference.inlets import HERE, OTHER, Further
from stillflow.engine.inference.losses import ELSEWHERE, Losses

MOST_TAPS = 4
"""Places where branches of further inlets leave the trunk; any more count as the last of them."""


@dataclass(frozen=True)
class Seen:
    """Losses as several inlets see them, one a row.

    Attributes:
        row: the loss of `Losses` each stems from, (n,).
        share: how much of it that one is; those of a loss sum to 1, (n,).
        source: whose reading at the other inlet each further inlet reads, (n, further).
        near: whether it reads that of the complaint's inlet instead, (n, further).
        leaks_at: number of the inlet it leaks at, 1 for the other one; 0 where at none of them.
    """

    row: Integers
    share: Floats
    source: Integers
    near: Integers
    leaks_at: Integers


def chance_at(number: int, listed: int) -> float:
    """How often a leak at another inlet is at one of them.

    Each inlet takes its share of what is left by those before it, so that what is believed of some
    does not hang on how many more are named.

    Args:
        number: of the inlet among the others, from 1.
        listed: how many others the house is said to have, 0 where nobody has said.
    """
    left = 1.0
    for before in range(1, number + 1):
        remaining = listed - before + 1
        share = min(1.0 - ELSEWHERE, 1.0 / remaining if remaining > 0 else 1.0)
        at, left = left * share, left * (1.0 - share)
    return at


def seen_from(losses: Losses, inlets: Sequence[Further], listed: int) -> Seen:
    """Every loss in all the ways that some further inlets can see it.

    Args:
        losses: as the stations see them.
        inlets: the further ones.
        listed: as `chance_at`.
    """
    parts = list(_ways(losses, inlets, listed))
    row = np.concatenate([rows for rows, *_ in parts])
    source = [np.broadcast_to(one, (len(rows), len(inlets))) for rows, _, one, _, _ in parts]
    near = [np.broadcast_to(one, (len(rows), len(inlets))) for rows, _, _, one, _ in parts]
    return Seen(
        row=row,
        share=np.concatenate([np.full(len(rows), share) for rows, share, *_ in parts]),
        source=np.concatenate(source),
        near=np.concatenate(near),
        leaks_at=np.concatenate([np.full(len(rows), at) for rows, *_, at in parts]),
    )


_Way = tuple[Integers, float, Integers, Integers, int]


def _ways(losses: Losses, inlets: Sequence[Further], listed: int) -> Iterator[_Way]:
    names = [losses.lines[index] for index in losses.line]
    leak, squeeze, bend = (
        np.array([name == line for name in names])
        for line in ("hole other-inlet", "throat trunk", "throat branch")
    )
    none = np.zeros((1, len(inlets)), dtype=np.intp)
    here = np.array([[one.tap == HERE for one in inlets]], dtype=np.intp)
    if not here.any():
        bend[:] = False
    rows = np.flatnonzero(~(leak | squeeze | bend))
    yield rows, 1.0, rows[:, None], none, 0
    # A squeeze in the branch may lie before what shares the branch, or beyond it.
    rows = np.flatnonzero(bend)
    for near in (none, here) if len(rows) else ():
        yield rows, 0.5, rows[:, None], near, 0
    yield from _leaks(losses, np.flatnonzero(leak), inlets, listed)
    yield from _squeezes(losses, np.flatnonzero(squeeze), inlets)


def _leaks(
    losses: Losses, rows: Integers, inlets: Sequence[Further], listed: int
) -> Iterator[_Way]:
    """A leak at an inlet: at the other one, at one of the further ones, or at none of them."""
    none = np.zeros((1, len(inlets)), dtype=np.intp)
    at, away = rows[losses.own[rows]], rows[~losses.own[rows]]
    yield at, 1.0, losses.twin[at][:, None], none, 1
    beyond = 1.0 - chance_at(1, listed)
    left = 1.0
    for column, inlet in enumerate(inlets):
        source = np.repeat(away[:, None], len(inlets), axis=1)
        source[:, column] = losses.twin[away]
        share = chance_at(inlet.number, listed) / beyond
        left -= share
        yield away, share, source, none, inlet.number
    yield away, max(left, 0.0), away[:, None], none, 0


def _squeezes(losses: Losses, rows: Integers, inlets: Sequence[Further]) -> Iterator[_Way]:
    """A squeeze in the trunk: before some of the taps and beyond the others.

    Squeeze and taps lie evenly along the trunk, so of m taps any s are beyond it with a chance of
    s! (m - s)! / (m + 1)!.
    """
    none = np.zeros((1, len(inlets)), dtype=np.intp)
    own = dict.fromkeys(one.tap for one in inlets if one.tap not in (HERE, OTHER))
    taps = {tap: min(index, MOST_TAPS - 1) for index, tap in enumerate(own)}
    most = 1 + len(set(taps.values()))
    for by_other in (True, False):
        mine = rows[losses.own[rows] == by_other]
        before, beyond = (mine, losses.twin[mine]) if by_other else (losses.twin[mine], mine)
        for pattern in product((True, False), repeat=most - 1):
            some = by_other + sum(pattern)
            chance = factorial(some) * factorial(most - some) / factorial(most + 1)
            sees = {HERE: True, OTHER: by_other, **{tap: pattern[at] for tap, at in taps.items()}}
            seen = np.array([[sees[one.tap] for one in inlets]], dtype=np.bool_)
            source = np.where(seen, before[:, None], beyond[:, None])
            yield mine, 2.0 * chance, source, none, 0
