"""Decision trees: drawn whole, or cut into pages on which every way leads on."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stillflow.engine.base.errors import InputError
from stillflow.engine.charts.chart import render
from stillflow.engine.charts.decision import (
    DecisionTree,
    TreeBranch,
    TreeNode,
    decision_chart,
)
from stillflow.engine.charts.overview import OVERVIEW
from stillflow.engine.charts.page import PAPERS
from stillflow.engine.charts.paging import Cutter, Trunk
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.scene import Scene, Text
from stillflow.engine.charts.tidy import Cell, Gaps, Size, Twig

Grow = Callable[[int], DecisionTree]
TITLE = TitleBlock(title="Poor suction")
GAPS = Gaps(8, 16)


def words_on(scene: Scene) -> list[str]:
    return [m.text for group in scene.groups for m in group.marks if isinstance(m, Text)]


def check(name: str, *ways: str) -> TreeNode:
    branches = tuple(TreeBranch(answer=f"to {w}", probability=1 / len(ways), to=w) for w in ways)
    return TreeNode(id=name, kind="check", title=name, branches=branches)


def end(name: str) -> TreeNode:
    return TreeNode(id=name, kind="fix", title=name)


def test_the_way_to_a_shared_node_adds_up_over_all_that_lead_there() -> None:
    tree = DecisionTree(
        title=TITLE,
        root="a",
        nodes=(check("a", "b", "c"), check("b", "c", "d"), end("c"), end("d")),
    )
    assert tree.reach() == {"a": 1.0, "b": 0.5, "c": 0.75, "d": 0.25}


def test_a_tree_that_goes_round_in_a_circle_is_refused() -> None:
    with pytest.raises(InputError, match="circle at 'a'"):
        DecisionTree(title=TITLE, root="a", nodes=(check("a", "b"), check("b", "a")))


def test_an_answer_that_leads_nowhere_is_refused_by_name() -> None:
    with pytest.raises(InputError, match="no node 'b'"):
        DecisionTree(title=TITLE, root="a", nodes=(check("a", "b"),))


def test_each_box_says_what_to_do_and_what_it_costs() -> None:
    tree = DecisionTree(
        title=TITLE,
        root="hiss",
        nodes=(
            TreeNode(
                id="hiss",
                kind="check",
                title="Does a closed inlet hiss?",
                minutes=3,
                caution="do not cover the inlet with your hand",
                branches=(
                    TreeBranch(answer="yes", probability=0.625, to="gasket"),
                    TreeBranch(answer="no", probability=0.375, to="senior"),
                ),
            ),
            TreeNode(
                id="gasket",
                kind="fix",
                title="Replace the gasket",
                detail="It is hard.",
                minutes=12,
                probability=0.9,
                expected_minutes=15.2,
            ),
            TreeNode(id="senior", kind="hand-over", title="Call the senior"),
        ),
    )
    (scene,) = decision_chart(tree).pages(None)
    assert scene.description.endswith("It begins with: Does a closed inlet hiss?")
    words = " ".join(words_on(scene))
    for expected in (
        "Does a closed inlet hiss?",
        "3 min",
        "do not cover the inlet",
        "62 %",
        "It is hard. 90 % likely to be it",
        "an answer, how often",
        "every step from the start, the fix, measuring after it",
        "beware",
        "12 min; 15 min in all",
        "Call the senior",
    ):
        assert expected in words


def test_two_steps_that_lead_to_one_check_share_it_by_its_number() -> None:
    tree = DecisionTree(
        title=TITLE,
        root="a",
        nodes=(
            check("a", "b", "c"),
            check("b", "c", "e"),
            check("c", "e", "f"),
            end("e"),
            end("f"),
        ),
    )
    (scene,) = decision_chart(tree).pages(None)
    words = words_on(scene)
    assert words.count("c") == 1, "a shared check is drawn once"
    assert words.count("e") == 2, "an end is drawn wherever it is needed"
    assert "step 3, this page" in words


@pytest.mark.parametrize("paper", PAPERS)
def test_pages_keep_their_type_size_and_every_connector_leads_to_its_step(
    grow_tree: Grow, flaws: Callable[[Scene], list[str]], paper: str
) -> None:
    tree = grow_tree(120)
    scenes = decision_chart(tree).pages(paper)
    assert len(scenes) > 1
    drawn: dict[str, list[int]] = {}
    asked: list[tuple[str, int]] = []
    for number, scene in enumerate(scenes, 1):
        assert scene.smallest_text() >= 10 - 1e-6
        assert flaws(scene) == []
        words = words_on(scene)
        assert f"page {number} of {len(scenes)}" in words
        if scene.parts == (OVERVIEW,):
            continue
        for step in (w for w in words if w.isdigit()):
            drawn.setdefault(step, []).append(number)
        for group in scene.groups:
            line = " ".join(m.text for m in group.marks if isinstance(m, Text))
            for step, where in re.findall(r"step (\d+), (this page|page \d+)", line):
                asked.append((step, number if where == "this page" else int(where[5:])))
    assert asked
    for step, page in asked:
        assert page in drawn[step]
    checks = sum(1 for i in tree.downwards() if tree.by_id[i].kind == "check")
    assert sorted(map(int, drawn)) == list(range(1, checks + 1))
    assert all(len(pages) == 1 for pages in drawn.values()), "each check is drawn in full once"


def test_a_check_with_more_answers_than_a_page_holds_goes_on_overleaf() -> None:
    ends = [f"end {i}" for i in range(60)]
    tree = DecisionTree(title=TITLE, root="a", nodes=(check("a", *ends), *map(end, ends)))
    scenes = decision_chart(tree).pages("a4")
    assert len(scenes) > 1
    words = [w for scene in scenes for w in words_on(scene)]
    assert all(words.count(name) == 1 for name in ends)
    assert all(scene.smallest_text() >= 10 - 1e-6 for scene in scenes)


def test_a_step_has_one_number_on_every_paper(grow_tree: Grow) -> None:
    nodes = tuple(n.model_copy(update={"title": n.id}) for n in grow_tree(60).nodes)
    tree = DecisionTree(title=TITLE, root="n0", nodes=nodes)
    seen: dict[str, set[str]] = {}
    for paper in (None, *PAPERS):
        for scene in decision_chart(tree).pages(paper):
            for group in scene.groups:
                words = [m.text for m in group.marks if isinstance(m, Text)]
                name = next((w for w in words if re.fullmatch(r"n\d+", w)), None)
                if name and words[-1].isdigit():
                    seen.setdefault(name, set()).add(words[-1])
    assert len(seen) > 20
    assert all(len(numbers) == 1 for numbers in seen.values())


def test_two_thousand_nodes_are_paged(grow_tree: Grow) -> None:
    tree = grow_tree(2000)
    assert len(tree.nodes) >= 2000
    files = render(decision_chart(tree), "svg", "a4")
    assert min(file.smallest_text for file in files) >= 10 - 1e-6
    assert {(file.page, file.pages) for file in files} == {
        (number, len(files)) for number in range(1, len(files) + 1)
    }


def test_a_chain_as_deep_as_the_tree_is_large_is_drawn() -> None:
    names = [f"n{i}" for i in range(1500)]
    nodes = [check(name, names[i + 1]) for i, name in enumerate(names[:-1])]
    tree = DecisionTree(title=TITLE, root="n0", nodes=(*nodes, end(names[-1])))
    (scene,) = decision_chart(tree).pages(None)
    assert names[-1] in words_on(scene)


@st.composite
def trunks(draw: st.DrawFn) -> tuple[Trunk, dict[str, Size]]:
    count = draw(st.integers(1, 40))
    names = [str(i) for i in range(count)]
    twigs: dict[str, list[Twig]] = {name: [] for name in names}
    for index in range(1, count):
        parents = draw(st.sets(st.integers(0, index - 1), min_size=1, max_size=2))
        for parent in sorted(parents):
            twigs[names[parent]].append(Twig(names[index]))
    side = st.floats(20, 110)
    sizes = {name: Size(draw(side), draw(side)) for name in names}
    weight = {name: draw(st.floats(0, 1)) for name in names}
    return Trunk("0", twigs, weight), sizes


@settings(deadline=None, max_examples=60)
@given(trunks(), st.booleans(), st.sampled_from([None, Size(500, 400)]), st.booleans())
def test_boxes_never_overlap_and_pieces_keep_to_their_page(
    made: tuple[Trunk, dict[str, Size]], across: bool, room: Size | None, stacks: bool
) -> None:
    trunk, sizes = made

    def size(cell: Cell) -> Size:
        if cell.held:
            return Size(40, 20 * len(cell.held))
        return sizes[cell.target] if cell.full else Size(40, 20)

    pages = Cutter(trunk, size, across, GAPS, room, stacks).pages()
    full: list[tuple[str, int]] = []
    onward: list[tuple[str, int]] = []
    for pieces in pages:
        used = 0.0
        for piece in pieces:
            cells = list(piece.top.walk())
            boxes = [(*piece.places.corners[c], *size(c)) for c in cells]
            for i, (x, y, w, h) in enumerate(boxes):
                assert x >= -1e-6
                assert y >= -1e-6
                assert x + w <= piece.places.room.width + 1e-6
                assert y + h <= piece.places.room.height + 1e-6
                for ox, oy, ow, oh in boxes[:i]:
                    apart = x + w <= ox + 1e-6 or ox + ow <= x + 1e-6
                    assert apart or y + h <= oy + 1e-6 or oy + oh <= y + 1e-6
            used += piece.places.room.height if across else piece.places.room.width
            plain = [c for c in cells if c.full and not c.held]
            full += [(c.target, c.start) for c in plain if trunk.twigs[c.target]]
            onward += [(c.target, c.start) for cell in cells for c in cell.connectors()]
        if room is not None and len(pieces) > 1:
            assert used <= (room.height if across else room.width) + 1e-6
    if stacks:
        assert all(start == 0 for _, start in full), "nothing leads back to what it comes from"
    assert len(full) == len(set(full)), "nothing that goes on is drawn in full twice"
    assert set(onward) <= set(full), "every connector leads somewhere"
    assert {name for name, _ in full} == {n for n in trunk.twigs if trunk.twigs[n]}
