"""Binary decision diagrams: a true-or-false function of events, each decided once on every path.

Just what the exact probability of a fault tree needs (Bryant, "Graph-based algorithms for Boolean
function manipulation", 1986): building by "or" and "and", and evaluating.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

from stillflow.engine.base import InputError

MOST_NODES = 200_000
"""A diagram that needs more nodes than this is refused rather than waited for."""
MOST_EVENTS = 600
"""Diagrams are built by recursion over the events, so they cannot have any number of them."""

_FALSE, _TRUE = 0, 1


class DecisionDiagram:
    """Nodes shared by every function built in it. A function is the number of its root node.

    Raises InputError for more than `MOST_EVENTS` events.
    """

    def __init__(self, order: Sequence[str]) -> None:
        if len(order) > MOST_EVENTS:
            raise _too_large()
        self._rank = {name: rank for rank, name in enumerate(order)}
        self._names = list(order)
        last = len(order)
        # Each node: rank of its event, node if it does not happen, node if it does.
        self._nodes: list[tuple[int, int, int]] = [(last, 0, 0), (last, 1, 1)]
        self._known: dict[tuple[int, int, int], int] = {}
        self._joined: dict[tuple[str, int, int], int] = {}

    def variable(self, name: str) -> int:
        """The function that is true when the event `name` happens."""
        return self._node(self._rank[name], _FALSE, _TRUE)

    def join(self, kind: Literal["or", "and"], roots: Sequence[int]) -> int:
        """The function that is true when any one ("or") or all ("and") of the given ones are.

        Raises:
            InputError: the diagram grows beyond `MOST_NODES` nodes.
        """
        joined = _TRUE if kind == "and" else _FALSE
        for root in roots:
            joined = self._join(kind, joined, root)
        return joined

    def probability(self, root: int, probabilities: Mapping[str, float]) -> float:
        """The probability that a function is true, its events being independent."""
        chances = [probabilities[name] for name in self._names]
        value = [0.0, 1.0]
        # Nodes are numbered after the nodes they lead to.
        for rank, low, high in self._nodes[2 : root + 1]:
            chance = chances[rank]
            value.append((1 - chance) * value[low] + chance * value[high])
        return value[root]

    def _node(self, rank: int, low: int, high: int) -> int:
        if low == high:
            return low
        key = (rank, low, high)
        if key not in self._known:
            if len(self._nodes) >= MOST_NODES:
                raise _too_large()
            self._known[key] = len(self._nodes)
            self._nodes.append(key)
        return self._known[key]

    def _join(self, kind: str, a: int, b: int) -> int:
        absorbing, neutral = (_FALSE, _TRUE) if kind == "and" else (_TRUE, _FALSE)
        if absorbing in (a, b):
            return absorbing
        if a in (neutral, b):
            return b
        if b == neutral:
            return a
        key = (kind, min(a, b), max(a, b))
        if key not in self._joined:
            rank_a, low_a, high_a = self._nodes[a]
            rank_b, low_b, high_b = self._nodes[b]
            rank = min(rank_a, rank_b)
            if rank_a > rank:
                low_a = high_a = a
            if rank_b > rank:
                low_b = high_b = b
            low = self._join(kind, low_a, low_b)
            high = self._join(kind, high_a, high_b)
            self._joined[key] = self._node(rank, low, high)
        return self._joined[key]


def _too_large() -> InputError:
    return InputError(
        "the fault tree is too large for its exact probability",
        right="use the rare-event sum, or look at a part of the tree",
    )
