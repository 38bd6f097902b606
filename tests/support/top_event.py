"""How likely the top event of a fault tree is, worked out apart from the importances."""

from __future__ import annotations

from math import prod

from stillflow.engine.faulttree.tree import CutSet, FaultTree, Method, cut_sets, diagram


def minimal_cut_sets(tree: FaultTree) -> tuple[CutSet, ...]:
    """The smallest sets of events that bring about the top event."""
    return cut_sets(tree)[tree.top]


def top_probability(tree: FaultTree, method: Method = "rare-event") -> float:
    """The probability of the top event, its events being independent.

    Args:
        tree: the tree.
        method: "rare-event" adds up the minimal cut sets (NUREG-0492, equation XI-14, from
            memory), which is never too low and close where events are rare; it may exceed 1.
            "exact" evaluates a decision diagram of the tree.

    Raises:
        InputError: an event has no probability, or the tree is too large for the method.
    """
    probabilities = tree.probabilities()
    if method == "exact":
        made, roots = diagram(tree)
        return made.probability(roots[tree.top], probabilities)
    return sum(prod(probabilities[e] for e in cut) for cut in minimal_cut_sets(tree))
