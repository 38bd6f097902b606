"""A policy unrolled into a decision tree: what to do first, and after every answer.

Works on any policy that says, for a state, what it does and what can come of it. Branches that are
rarely reached are cut, and every cut says who takes over and why. Subtrees that are equal to the
last figure are kept once, so the tree is a graph without cycles. Leaves the meaning of states and
acts, and drawing, to others.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import replace
from typing import Generic

from stillflow.engine.base import InputError
from stillflow.engine.planning.treenodes import (
    Branch,
    PolicyStep,
    PolicyTree,
    State,
)

_SUM_TOLERANCE = 1e-6

FRINGE = 0.25
"""States at the edge of a tree that are rarer than this share of its reach are not told apart."""

Edge = Callable[[Sequence[tuple[float, State]]], PolicyStep[int]]
"""What stands at the edge of a tree, for the states behind it with their chances."""


class Unrolled(Generic[State]):
    """A policy asked once in every state reached often enough; trees are cut from it.

    Args:
        start: the state at the root.
        policy: what is done in a state; asked once a node, the likeliest first.
        reach: states less likely than this are not asked about, 0 to 1.
        most: nodes the policy is asked about at most.
        cut_to: who takes over where the tree is cut.
        edge: what stands at states that are not asked about, given with their chances; those of
            one act that are rarer than `FRINGE` of `reach` together. By default only `cut_to`.

    Raises:
        InputError: `reach` or `most` is out of range, or a policy's probabilities do not add to 1.
    """

    def __init__(
        self,
        start: State,
        policy: Callable[[State], PolicyStep[State]],
        reach: float,
        most: int = 20_000,
        cut_to: str = "live planner",
        edge: Edge[State] | None = None,
    ) -> None:
        if not 0.0 <= reach <= 1.0:
            raise InputError(f"reach is {reach:g}", right="use a probability from 0 to 1")
        if most < 1:
            raise InputError(f"most is {most}", right="at least one node is needed")
        self._reach = reach
        self._cut_to = cut_to
        self._nodes = [PolicyStep[int](None, reach=1.0)]
        self._edges: dict[int, PolicyStep[int]] = {}
        waiting = [(-1.0, 0, start)]
        asked = 0
        while waiting:
            # Numbers are unique, so states are never compared.
            _, number, state = heapq.heappop(waiting)
            share = self._nodes[number].reach
            if asked == most:
                why = f"more than {most:,} nodes"
                self._nodes[number] = PolicyStep(None, (), {}, cut_to, why, share)
                continue
            asked += 1
            step = policy(state)
            _check(step)
            branches = []
            rare: list[tuple[float, State]] = []
            for way in step.branches:
                chance = share * way.probability
                if edge is not None and 0.0 < chance < reach * FRINGE:
                    rare.append((chance, way.to))
                    branches.append(Branch(way.label, way.probability, -1))
                    continue
                child = self._child(chance)
                branches.append(Branch(way.label, way.probability, child))
                if chance > 0.0 and chance >= reach:
                    heapq.heappush(waiting, (-chance, child, way.to))
                elif edge is not None and chance > 0.0:
                    self._edges[child] = replace(edge([(chance, way.to)]), reach=chance)
            if edge is not None and rare:
                chance = sum(one for one, _ in rare)
                child = self._child(chance)
                self._edges[child] = replace(edge(rare), reach=chance)
                branches = [replace(w, to=child) if w.to < 0 else w for w in branches]
            self._nodes[number] = PolicyStep(
                step.act, tuple(branches), step.figures, step.handed_to, step.reason, share
            )

    def _child(self, chance: float) -> int:
        self._nodes.append(PolicyStep(None, reach=chance))
        return len(self._nodes) - 1

    def tree(self, reach: float | None = None) -> PolicyTree:
        """Return the tree cut below a reach probability, identical subtrees kept once.

        Args:
            reach: the probability; None for the one the policy was unrolled to.

        Raises:
            InputError: `reach` is below the one the policy was unrolled to.
        """
        cut = self._reach if reach is None else reach
        if cut < self._reach:
            right = f"it was unrolled to {self._reach:g}"
            raise InputError(f"cannot cut at a reach of {cut:g}", right=right)
        kept: dict[int, PolicyStep[int]] = {}
        waiting = [0]
        while waiting:
            number = waiting.pop()
            node = self._nodes[number]
            if number and node.reach < cut:
                why = f"reached in fewer than {cut:g} of calls"
                node = self._edges.get(
                    number, PolicyStep(None, (), {}, self._cut_to, why, node.reach)
                )
            kept[number] = node
            waiting += [way.to for way in node.branches if self._nodes[way.to].reach > 0.0]
        return PolicyTree(_shared(kept), len(kept))


def _check(step: PolicyStep[State]) -> None:
    if not step.branches:
        return
    labels = [way.label for way in step.branches]
    if len(set(labels)) != len(labels):
        raise InputError(f"{step.act} has two branches of one label", right="tell them apart")
    total = sum(way.probability for way in step.branches)
    lowest = min(way.probability for way in step.branches)
    if lowest < 0.0 or abs(total - 1.0) > _SUM_TOLERANCE:
        what = f"the branches of {step.act} have probabilities adding up to {total:.6g}"
        raise InputError(what, right="they should be 0 or more and add up to 1")


def _shared(kept: Mapping[int, PolicyStep[int]]) -> tuple[PolicyStep[int], ...]:
    """Subtrees with the same acts, figures, branches and endings once, the root first.

    Args:
        kept: nodes by number; a child is always numbered after its parent.
    """
    made: list[PolicyStep[int]] = []
    known: dict[Hashable, int] = {}
    place: dict[int, int] = {}
    for number in sorted(kept, reverse=True):
        ways = (way for way in kept[number].branches if way.to in place)
        node = replace(kept[number], branches=tuple(replace(w, to=place[w.to]) for w in ways))
        at = place[number] = known.setdefault(_looks(node), len(made))
        if at == len(made):
            made.append(node)
        else:
            made[at] = replace(made[at], reach=made[at].reach + node.reach)
    # The root was placed last, and every node before those that lead to it.
    last = len(made) - 1
    return tuple(
        replace(node, branches=tuple(replace(way, to=last - way.to) for way in node.branches))
        for node in reversed(made)
    )


def _looks(node: PolicyStep[int]) -> Hashable:
    """What two nodes have in common that can be kept as one."""
    return (
        node.act,
        tuple((way.label, _alike(way.probability), way.to) for way in node.branches),
        node.handed_to,
        node.reason,
        tuple(sorted((name, _alike(value)) for name, value in node.figures.items())),
    )


def _alike(figure: float) -> float:
    """Equal for figures that differ by no more than arithmetic in another order leaves."""
    return round(figure, 9)
