"""A policy unrolled into a decision tree: what to do first, and after every answer.

Works on any policy that says, for a state, what it does and what can come of it. Branches that are
rarely reached are cut, and every cut says who takes over and why. Subtrees that are equal to the
last figure are kept once, so the tree is a graph without cycles. Leaves the meaning of states and
acts, and drawing, to others.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Generic

from stillflow.engine.base import InputError
from stillflow.engine.planning.treenodes import (
    Branch,
    Growth,
    Outcome,
    PolicyNode,
    PolicyStep,
    PolicyTree,
    State,
)

__all__ = [
    "Branch",
    "Growth",
    "Outcome",
    "PolicyNode",
    "PolicyStep",
    "PolicyTree",
    "Unrolled",
    "unroll",
]

_SUM_TOLERANCE = 1e-6


@dataclass
class _Opened(Generic[State]):
    """A node while the tree is being unrolled; `step` is None where it was cut."""

    reach: float
    step: PolicyStep[State] | None
    reason: str
    children: list[int]


class Unrolled(Generic[State]):
    """A policy asked once in every state reached often enough; trees are cut from it.

    Args:
        start: the state at the root.
        policy: what is done in a state; asked once a node, the likeliest first.
        reach: states less likely than this are not asked about, 0 to 1.
        most: nodes the policy is asked about at most.
        cut_to: who takes over where the tree is cut.

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
    ) -> None:
        if not 0.0 <= reach <= 1.0:
            raise InputError(f"reach is {reach:g}", right="use a probability from 0 to 1")
        if most < 1:
            raise InputError(f"most is {most}", right="at least one node is needed")
        self._reach = reach
        self._cut_to = cut_to
        self._opened: list[_Opened[State]] = []
        waiting = [(-1.0, self._add(1.0), start)]
        asked = 0
        while waiting:
            # Numbers are unique, so states are never compared.
            _, number, state = heapq.heappop(waiting)
            if asked == most:
                self._opened[number].reason = f"more than {most:,} nodes"
                continue
            asked += 1
            step = policy(state)
            _check(step)
            node = self._opened[number]
            node.step = step
            for outcome in step.outcomes:
                share = node.reach * outcome.probability
                child = self._add(share)
                node.children.append(child)
                if share > 0.0 and share >= reach:
                    heapq.heappush(waiting, (-share, child, outcome.state))

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
        return _Sharing(self._opened, cut, self._cut_to).tree()

    def growth(self, reaches: Sequence[float]) -> tuple[Growth, ...]:
        """Return the size of the tree at each of some reach probabilities."""
        trees = [(reach, self.tree(reach)) for reach in reaches]
        return tuple(Growth(r, len(t.nodes), t.unshared, t.ended) for r, t in trees)

    def _add(self, reach: float) -> int:
        self._opened.append(_Opened(reach, None, "", []))
        return len(self._opened) - 1


def unroll(
    start: State,
    policy: Callable[[State], PolicyStep[State]],
    reach: float,
    most: int = 20_000,
    cut_to: str = "live planner",
) -> PolicyTree:
    """Unroll a policy into one tree; see `Unrolled` for the arguments and errors."""
    return Unrolled(start, policy, reach, most, cut_to).tree()


def _check(step: PolicyStep[State]) -> None:
    if not step.outcomes:
        return
    labels = [outcome.label for outcome in step.outcomes]
    if len(set(labels)) != len(labels):
        raise InputError(f"{step.act} has two outcomes of one label", right="tell them apart")
    total = sum(outcome.probability for outcome in step.outcomes)
    lowest = min(outcome.probability for outcome in step.outcomes)
    if lowest < 0.0 or abs(total - 1.0) > _SUM_TOLERANCE:
        what = f"the outcomes of {step.act} have probabilities adding up to {total:.6g}"
        raise InputError(what, right="they should be 0 or more and add up to 1")


@dataclass
class _Shared:
    """A node kept once; `reach` is the sum over all states it stands for."""

    act: Hashable
    branches: tuple[tuple[Hashable, float, int], ...]
    handed_to: str
    reason: str
    figures: Mapping[str, float] = field(default_factory=dict)
    reach: float = 0.0


class _Sharing(Generic[State]):
    """Keeps subtrees with the same acts, figures, branches and endings once, from the leaves up."""

    def __init__(self, opened: list[_Opened[State]], cut: float, cut_to: str) -> None:
        self._opened = opened
        self._cut = cut
        self._cut_to = cut_to
        self._shared: list[_Shared] = []
        self._known: dict[Hashable, int] = {}

    def tree(self) -> PolicyTree:
        """Return the tree, root first."""
        kept = self._within_cut()
        place: dict[int, int] = {}
        # A child is always numbered after its parent, so children come first in reverse.
        for number in reversed(kept):
            place[number] = self._place(number, place)
        # The root was placed last, and every node before those that lead to it.
        last = len(self._shared) - 1
        nodes = tuple(self._node(shared, last) for shared in reversed(self._shared))
        return PolicyTree(nodes, len(kept))

    def _within_cut(self) -> list[int]:
        kept, waiting = [], [0]
        while waiting:
            number = waiting.pop()
            kept.append(number)
            if self._asked(number):
                waiting.extend(
                    child
                    for child in self._opened[number].children
                    if self._opened[child].reach > 0.0
                )
        return sorted(kept)

    def _asked(self, number: int) -> bool:
        node = self._opened[number]
        return node.step is not None and (number == 0 or node.reach >= self._cut)

    def _place(self, number: int, place: Mapping[int, int]) -> int:
        node = self._opened[number]
        if node.step is None or not self._asked(number):
            reason = node.reason or f"reached in fewer than {self._cut:g} of calls"
            made = _Shared(None, (), self._cut_to, reason)
        else:
            step = node.step
            branches = tuple(
                (outcome.label, outcome.probability, place[child])
                for outcome, child in zip(step.outcomes, node.children, strict=True)
                if child in place
            )
            made = _Shared(step.act, branches, step.handed_to, step.reason, step.figures)
        key = (
            made.act,
            tuple((label, _alike(chance), child) for label, chance, child in made.branches),
            made.handed_to,
            made.reason,
            tuple(sorted((name, _alike(value)) for name, value in made.figures.items())),
        )
        at = self._known.setdefault(key, len(self._shared))
        if at == len(self._shared):
            self._shared.append(made)
        self._shared[at].reach += node.reach
        return at

    def _node(self, shared: _Shared, last: int) -> PolicyNode:
        return PolicyNode(
            act=shared.act,
            reach=shared.reach,
            branches=tuple(
                Branch(label, chance, last - child) for label, chance, child in shared.branches
            ),
            figures=shared.figures,
            handed_to=shared.handed_to,
            reason=shared.reason,
        )


def _alike(figure: float) -> float:
    """Equal for figures that differ by no more than arithmetic in another order leaves."""
    return round(figure, 9)
