"""Figures of fault trees against a second way to reckon them that shares no code with the first.

What occurs under several gates is supposed there and not there in turn; what is left is a tree in
which every event stands once, so that gates can be worked out from their inputs.
"""

from __future__ import annotations

import random
from collections import Counter
from itertools import product

import pytest

from stillflow.engine import load_rules
from stillflow.engine.faulttree import FaultTree, analyse
from stillflow.engine.faulttree.tree import Gate, PrimaryEvent
from stillflow.engine.views import fault_tree

RULES = load_rules()
RANDOM_TREES = 200


def chance_of(tree: FaultTree, given: dict[str, float]) -> float:
    """The top event's probability with these probabilities of the events."""
    times = Counter(i for gate in tree.gates for i in gate.inputs)
    reached = Counter(paths(tree, tree.top))
    shared = [e.id for e in tree.events if reached[e.id] > 1 and 0 < given[e.id] < 1]
    assert len(shared) <= 14, times
    total = 0.0
    for there in product((0.0, 1.0), repeat=len(shared)):
        supposed = {**given, **dict(zip(shared, there, strict=True))}
        weight = 1.0
        for name, value in zip(shared, there, strict=True):
            weight *= given[name] if value else 1.0 - given[name]
        total += weight * gate_chance(tree, tree.top, supposed)
    return total


def paths(tree: FaultTree, name: str) -> list[str]:
    part = tree.by_id[name]
    if isinstance(part, PrimaryEvent):
        return [name]
    return [one for i in part.inputs for one in paths(tree, i)]


def gate_chance(tree: FaultTree, name: str, given: dict[str, float]) -> float:
    part = tree.by_id[name]
    if isinstance(part, PrimaryEvent):
        return given[name]
    inputs = [gate_chance(tree, i, given) for i in part.inputs]
    if part.kind == "or":
        left = 1.0
        for one in inputs:
            left *= 1.0 - one
        return 1.0 - left
    together = 1.0
    for one in inputs:
        together *= one
    return together


def agree(tree: FaultTree, names: list[str]) -> None:
    given = {event.id: event.probability or 0.0 for event in tree.events}
    exact = analyse(tree, "exact")
    top = chance_of(tree, given)
    assert exact.probability == pytest.approx(top, rel=1e-9)
    rows = {row.event: row for row in exact.importance}
    for name in names:
        there, gone = (chance_of(tree, {**given, name: value}) for value in (1.0, 0.0))
        row = rows[name]
        assert row.birnbaum == pytest.approx(there - gone, rel=1e-8, abs=1e-12)
        assert row.achievement == pytest.approx(there / top, rel=1e-8)
        if gone > 0:
            assert row.reduction == pytest.approx(top / gone, rel=1e-8)
        assert row.criticality == pytest.approx((there - gone) * given[name] / top, rel=1e-8)


@pytest.mark.parametrize("complaint", [None, *RULES.complaints])
def test_the_trees_of_all_complaints_have_the_figures_of_a_second_reckoning(
    complaint: str | None,
) -> None:
    known = RULES.complaints[complaint] if complaint else None
    tree = fault_tree(RULES, known, 0.0)
    names = [event.id for event in tree.events]
    agree(tree, names[:: max(1, len(names) // 12)])
    # The sum over what is enough by itself is an upper bound, and here not far above.
    rare = analyse(tree, "rare-event").probability
    assert rare >= analyse(tree, "exact").probability - 1e-12


def random_tree(seed: int) -> FaultTree:
    luck = random.Random(seed)
    events = tuple(
        PrimaryEvent(
            id=f"e{n}", kind="basic", title=f"e{n}", probability=round(luck.uniform(0.01, 0.6), 3)
        )
        for n in range(luck.randint(3, 9))
    )
    below = [event.id for event in events]
    gates = []
    for n in range(luck.randint(2, 6)):
        inputs = tuple(luck.sample(below, min(len(below), luck.randint(2, 4))))
        gates.append(
            Gate(id=f"g{n}", kind=luck.choice(["or", "and"]), title=f"g{n}", inputs=inputs)
        )
        below.append(f"g{n}")
    used = {i for gate in gates for i in gate.inputs}
    loose = tuple(one for one in below if one not in used)
    gates.append(Gate(id="top", kind="or", title="top", inputs=loose))
    return FaultTree(top="top", gates=tuple(gates), events=events)


@pytest.mark.parametrize("block", range(4))
def test_random_trees_have_the_figures_of_a_second_reckoning(block: int) -> None:
    each = RANDOM_TREES // 4
    for seed in range(block * each, (block + 1) * each):
        tree = random_tree(seed)
        agree(tree, [event.id for event in tree.events])
