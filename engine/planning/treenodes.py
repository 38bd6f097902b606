"""The parts of an unrolled policy: what a policy answers, and the nodes made of it.

Leaves unrolling, cutting and sharing to `engine.policytree`.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar

State = TypeVar("State")


@dataclass(frozen=True)
class Outcome(Generic[State]):
    """One thing that can come of an act.

    Attributes:
        label: what is seen; no other outcome of the act has it.
        probability: of seeing it, given the state before.
        state: where it leads.
    """

    label: Hashable
    probability: float
    state: State


@dataclass(frozen=True)
class PolicyStep(Generic[State]):
    """What a policy does in a state.

    Attributes:
        act: names the act; two nodes of the same act can become one.
        outcomes: what can come of it, probabilities adding to 1. None means the policy ends here.
        figures: numbers about the state (expected minutes, probability of a fault). They tell
            nodes apart as acts do, so that what is printed is true on every way that leads there.
        handed_to: who takes over, where the policy ends without having solved the call.
        reason: why, where it is handed over.
    """

    act: Hashable
    outcomes: Sequence[Outcome[State]] = ()
    figures: Mapping[str, float] = field(default_factory=dict)
    handed_to: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Branch:
    """A way on from a node: what is seen, how likely from there, and the number of the node."""

    label: Hashable
    probability: float
    node: int


@dataclass(frozen=True)
class PolicyNode:
    """A node of the tree, standing for every state with the same acts and figures from there on.

    Attributes:
        act: what the policy does; None in a node that was cut before the policy was asked.
        reach: probability of coming here.
        branches: the ways on; none in a leaf.
        figures: numbers about each of the states it stands for.
        handed_to: who takes over; empty unless the leaf is handed over.
        reason: why it is handed over.
    """

    act: Hashable
    reach: float
    branches: tuple[Branch, ...]
    figures: Mapping[str, float]
    handed_to: str
    reason: str


@dataclass(frozen=True)
class PolicyTree:
    """Nodes numbered so that a branch always leads to a higher number; 0 is the root.

    Attributes:
        nodes: the nodes, identical subtrees kept once.
        unshared: how many nodes there were before that.
    """

    nodes: tuple[PolicyNode, ...]
    unshared: int

    @property
    def ended(self) -> float:
        """Probability that a call ends inside the tree, without being handed over."""
        return sum(n.reach for n in self.nodes if not n.branches and not n.handed_to)


@dataclass(frozen=True)
class Growth:
    """How large the tree is when cut below a reach probability."""

    reach: float
    nodes: int
    unshared: int
    ended: float
