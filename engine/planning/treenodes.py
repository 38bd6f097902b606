"""The parts of an unrolled policy: what a policy answers, which is what a node of its tree says.

Leaves unrolling, cutting and sharing to `policytree`.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar

State = TypeVar("State")


@dataclass(frozen=True)
class Branch(Generic[State]):
    """One thing that can come of an act.

    Attributes:
        label: what is seen; no other branch of the act has it.
        probability: of seeing it, given the state before.
        to: the state it leads to; in a tree the number of the node.
    """

    label: Hashable
    probability: float
    to: State


@dataclass(frozen=True)
class PolicyStep(Generic[State]):
    """What a policy does in a state; in a tree, a node that stands for every state like it.

    Attributes:
        act: names the act; two nodes of the same act can become one. None in a node that was cut
            before the policy was asked.
        branches: what can come of it, probabilities adding to 1. None means the policy ends here.
        figures: numbers about the state (expected minutes, probability of a fault). They tell
            nodes apart as acts do, so that what is printed is true on every way that leads there.
        handed_to: who takes over, where the policy ends without having solved the call.
        reason: why, where it is handed over.
        reach: probability of coming here, laid in by the tree.
    """

    act: Hashable
    branches: Sequence[Branch[State]] = ()
    figures: Mapping[str, float] = field(default_factory=dict)
    handed_to: str = ""
    reason: str = ""
    reach: float = 0.0


@dataclass(frozen=True)
class PolicyTree:
    """Nodes numbered so that a branch always leads to a higher number; 0 is the root.

    Attributes:
        nodes: the nodes, identical subtrees kept once.
        unshared: how many nodes there were before that.
    """

    nodes: tuple[PolicyStep[int], ...]
    unshared: int

    @property
    def ended(self) -> float:
        """Probability that a call ends inside the tree, without being handed over."""
        ends = (n for n in self.nodes if not n.branches and not n.handed_to)
        return sum(n.reach * n.figures.get("probability", 1.0) for n in ends)

    @property
    def found(self) -> float:
        """The same with what is found beyond its edges: figures `found` of nodes handed over."""
        return self.ended + sum(n.reach * n.figures.get("found", 0.0) for n in self.nodes)
