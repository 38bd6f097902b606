"""Unrolling a policy into a decision tree, on made-up policies small enough to draw by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stillflow.engine.base.errors import InputError
from stillflow.engine.planning.policytree import Unrolled
from stillflow.engine.planning.treenodes import Branch, PolicyStep, PolicyTree


def coins(sides: tuple[float, ...], throws: int) -> Callable[[str], PolicyStep[str]]:
    """Throw a coin a number of times; the state is what was seen, the end names the last throw."""

    def policy(seen: str) -> PolicyStep[str]:
        if len(seen) == throws:
            return PolicyStep(act=f"end {seen[-1:]}", figures={"throws": float(throws)})
        return PolicyStep(
            act="throw",
            branches=[Branch(str(i), p, seen + str(i)) for i, p in enumerate(sides)],
        )

    return policy


def leaves(tree: PolicyTree) -> list[PolicyStep[int]]:
    return [node for node in tree.nodes if not node.branches]


def paths(tree: PolicyTree, number: int = 0) -> list[tuple[tuple[object, ...], object]]:
    node = tree.nodes[number]
    if not node.branches:
        return [((), node.act)]
    return [
        ((branch.label, *rest), end)
        for branch in node.branches
        for rest, end in paths(tree, branch.to)
    ]


def test_every_path_of_the_policy_is_in_the_tree_and_ends_as_the_policy_does() -> None:
    tree = Unrolled("", coins((0.5, 0.5), 3), reach=0.0).tree()
    assert sorted(paths(tree)) == sorted(
        ((a, b, c), f"end {c}") for a in "01" for b in "01" for c in "01"
    )


def test_identical_subtrees_are_kept_once() -> None:
    tree = Unrolled("", coins((0.5, 0.5), 3), reach=0.0).tree()
    # One node for each number of throws left, and one for each ending.
    assert len(tree.nodes) == 3 + 2
    assert tree.unshared == 1 + 2 + 4 + 8


def test_subtrees_that_differ_in_one_leaf_are_kept_apart() -> None:
    def policy(state: str) -> PolicyStep[str]:
        if len(state) < 2:
            return PolicyStep("ask", [Branch(c, 0.5, state + c) for c in "ab"])
        return PolicyStep(f"fix {'special' if state == 'bb' else state[1]}")

    tree = Unrolled("", policy, reach=0.0).tree()
    assert len([node for node in tree.nodes if node.act == "ask"]) == 3
    assert ("b", "b") in [path for path, end in paths(tree) if end == "fix special"]


@pytest.mark.parametrize(("minutes", "likely"), [(30.0, 0.9), (10.0, 0.5)])
def test_states_that_differ_in_a_figure_or_a_chance_are_kept_apart(
    minutes: float, likely: float
) -> None:
    def policy(state: str) -> PolicyStep[str]:
        if not state:
            return PolicyStep("first", [Branch(w, p, w) for w, p in (("x", 0.75), ("y", 0.25))])
        if len(state) == 1:
            yes, took = (0.9, 10.0) if state == "x" else (likely, minutes)
            ways = [Branch("yes", yes, state + "+"), Branch("no", 1 - yes, state + "-")]
            return PolicyStep("second", ways, figures={"minutes": took})
        return PolicyStep("done")

    tree = Unrolled("", policy, reach=0.0).tree()
    seconds = [node for node in tree.nodes if node.act == "second"]
    assert sorted(
        (n.figures["minutes"], n.branches[0].probability, n.reach) for n in seconds
    ) == sorted([(10.0, 0.9, 0.75), (minutes, likely, 0.25)])


def test_a_node_kept_once_for_equal_states_adds_up_their_reach() -> None:
    tree = Unrolled("", coins((0.75, 0.25), 2), reach=0.0).tree()
    assert [node.reach for node in tree.nodes if node.act == "throw"] == pytest.approx([1.0, 1.0])


def test_a_pruned_leaf_names_who_takes_over_and_why() -> None:
    tree = Unrolled("", coins((0.9, 0.1), 2), reach=0.2, cut_to="the senior").tree()
    (cut,) = [node for node in leaves(tree) if node.act is None]
    assert cut.handed_to == "the senior"
    assert "0.2" in cut.reason
    # 1 after 0 (.09) and 1 at once (.1); what is left ends inside.
    assert cut.reach == pytest.approx(0.19)
    assert tree.ended == pytest.approx(0.81)


def test_an_ending_the_policy_hands_over_itself_keeps_its_name_and_is_not_an_end_inside() -> None:
    def policy(state: str) -> PolicyStep[str]:
        if state:
            handed = ("the senior", "wiring") if state == "b" else ("", "")
            return PolicyStep("stop", handed_to=handed[0], reason=handed[1])
        return PolicyStep("ask", [Branch("a", 0.7, "a"), Branch("b", 0.3, "b")])

    tree = Unrolled("", policy, reach=0.0).tree()
    assert tree.ended == pytest.approx(0.7)
    assert [(n.handed_to, n.reason) for n in leaves(tree) if n.handed_to] == [
        ("the senior", "wiring")
    ]


def test_a_limit_on_nodes_keeps_the_likeliest_and_says_so() -> None:
    asked: list[str] = []
    inner = coins((0.6, 0.4), 6)

    def policy(state: str) -> PolicyStep[str]:
        asked.append(state)
        return inner(state)

    tree = Unrolled("", policy, reach=0.0, most=4).tree()
    assert asked == ["", "0", "1", "00"]
    assert any("more than 4 nodes" in node.reason for node in leaves(tree))


def test_what_cannot_happen_is_never_asked_about() -> None:
    asked: list[str] = []
    inner = coins((1.0, 0.0), 2)

    def policy(state: str) -> PolicyStep[str]:
        asked.append(state)
        return inner(state)

    tree = Unrolled("", policy, reach=0.0).tree()
    assert asked == ["", "0", "00"]
    assert len(tree.nodes) == 3


@given(
    st.lists(st.floats(0.05, 1.0), min_size=2, max_size=4),
    st.integers(1, 4),
    st.floats(0.0, 0.3),
)
def test_calls_are_never_lost_and_the_same_policy_gives_the_same_tree(
    weights: list[float], throws: int, reach: float
) -> None:
    total = sum(weights)
    policy = coins(tuple(w / total for w in weights), throws)
    tree = Unrolled("", policy, reach).tree()
    assert sum(node.reach for node in leaves(tree)) == pytest.approx(1.0)
    assert tree.nodes[0].reach == pytest.approx(1.0)
    for number, node in enumerate(tree.nodes):
        assert all(branch.to > number for branch in node.branches)
        if node.branches:
            assert sum(b.probability for b in node.branches) == pytest.approx(1.0)
    assert tree == Unrolled("", policy, reach).tree()
    assert len(tree.nodes) <= tree.unshared


def test_a_tree_cut_from_one_unrolling_agrees_with_unrolling_anew() -> None:
    policy = coins((0.7, 0.3), 5)
    whole = Unrolled("", policy, reach=0.001)
    for reach in (0.3, 0.1, 0.03, 0.001):
        assert whole.tree(reach) == Unrolled("", policy, reach).tree()


def test_a_tree_cannot_be_cut_finer_than_it_was_unrolled() -> None:
    with pytest.raises(InputError, match=r"unrolled to 0\.1"):
        Unrolled("", coins((0.5, 0.5), 2), reach=0.1).tree(0.01)


@pytest.mark.parametrize(
    ("outcomes", "words"),
    [
        ([Branch("a", 0.5, "x"), Branch("b", 0.4, "y")], "adding up to 0.9"),
        ([Branch("a", 1.5, "x"), Branch("b", -0.5, "y")], "0 or more"),
        ([Branch("a", 0.5, "x"), Branch("a", 0.5, "y")], "one label"),
    ],
)
def test_a_policy_that_does_not_add_up_is_refused(outcomes: list[Branch[str]], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Unrolled("", lambda _: PolicyStep("ask", outcomes), reach=0.0).tree()


@pytest.mark.parametrize(("reach", "most"), [(-0.1, 10), (1.1, 10), (0.1, 0)])
def test_limits_out_of_range_are_refused(reach: float, most: int) -> None:
    with pytest.raises(InputError):
        Unrolled("", coins((0.5, 0.5), 1), reach=reach, most=most).tree()


def test_an_edge_is_asked_for_the_states_behind_it_and_never_for_none() -> None:
    """Rare is what fewer calls come to than a quarter of the tree's .05."""
    behind: list[list[tuple[float, str]]] = []

    def policy(state: str) -> PolicyStep[str]:
        ways = {"root": (("a", 0.7), ("b", 0.26), ("c", 0.03), ("d", 0.006), ("e", 0.004))}
        branches = [Branch(name, chance, name) for name, chance in ways.get(state, ())]
        return PolicyStep(state, branches)

    def edge(ways: Sequence[tuple[float, str]]) -> PolicyStep[int]:
        assert ways
        behind.append(sorted(ways))
        return PolicyStep("edge", handed_to="card")

    tree = Unrolled("root", policy, 0.05, edge=edge).tree()
    # One that few calls come to stands alone; those that hardly any come to stand together.
    assert sorted(behind, key=len) == [
        [(pytest.approx(0.03), "c")],
        [(pytest.approx(0.004), "e"), (pytest.approx(0.006), "d")],
    ]
    assert sum(node.reach for node in tree.nodes if node.act == "edge") == pytest.approx(0.04)
