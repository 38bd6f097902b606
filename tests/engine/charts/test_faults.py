"""Fault trees drawn: symbols, stacks of single causes, transfers between pages."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable

import pytest

from stillflow.engine.base.numbers import chance, percent
from stillflow.engine.charts.chart import render
from stillflow.engine.charts.faults import faulttree_chart
from stillflow.engine.charts.overview import OVERVIEW
from stillflow.engine.charts.page import PAPERS, PaperName, paper_of
from stillflow.engine.charts.picture import NodeKind, TitleBlock
from stillflow.engine.charts.scene import Link, Scene, Text
from stillflow.engine.faulttree.importance import analyse
from stillflow.engine.faulttree.tree import FaultTree, Gate, PrimaryEvent

TITLE = TitleBlock(title="Weak suction at every inlet")


def wide(causes: int, places: int) -> FaultTree:
    events = [
        PrimaryEvent(id=f"p{p}c{c}", title=f"Cause {c} at place {p}.", probability=0.01)
        for p in range(places)
        for c in range(causes)
    ]
    gates = [
        Gate(
            id=f"p{p}",
            title=f"Place {p}",
            kind="or",
            inputs=tuple(f"p{p}c{c}" for c in range(causes)),
        )
        for p in range(places)
    ]
    top = Gate(id="top", title="Weak", kind="or", inputs=tuple(g.id for g in gates))
    return FaultTree(top="top", gates=(top, *gates), events=tuple(events))


def words_on(scene: Scene) -> list[str]:
    return [m.text for group in scene.groups for m in group.marks if isinstance(m, Text)]


@pytest.mark.parametrize("paper", [None, "a4", "a3", "letter", "tabloid"])
@pytest.mark.parametrize(("causes", "places"), [(1, 1), (2, 3), (13, 9), (3, 25)])
def test_every_cause_is_drawn_once_and_nothing_overlaps(
    flaws: Callable[[Scene], list[str]], paper: str | None, causes: int, places: int
) -> None:
    tree = wide(causes, places)
    scenes = faulttree_chart(tree, TITLE).pages(paper)
    titles = [g.title for scene in scenes for g in scene.groups]
    named = "; ".join(titles)
    for event in tree.events:
        assert named.count(event.title) == 1
    for scene in scenes:
        assert flaws(scene) == []
        assert scene.smallest_text() >= 10 - 1e-6


def test_the_gates_have_their_signs_and_the_key_their_meaning(make_charts) -> None:
    (scene,) = make_charts("Valve")[3].pages(None)
    words = words_on(scene)
    assert words.count("≥1") == 1
    assert words.count("&") == 1
    assert "any one of these is enough" in words
    assert "only all of these together" in words
    assert "not taken further here" in words


def test_a_gate_used_twice_is_drawn_once_and_reached_by_a_transfer() -> None:
    tree = FaultTree(
        top="t",
        gates=(
            Gate(id="t", title="Top", kind="or", inputs=("x", "y")),
            Gate(id="x", title="X", kind="and", inputs=("a", "shared")),
            Gate(id="y", title="Y", kind="and", inputs=("b", "shared")),
            Gate(id="shared", title="Shared", kind="or", inputs=("c", "d")),
        ),
        events=tuple(PrimaryEvent(id=i, title=i) for i in "abcd"),
    )
    (scene,) = faulttree_chart(tree, TITLE).pages(None)
    words = words_on(scene)
    assert words.count("c") == 1
    assert words.count("Shared") == 2
    (transfer,) = [w for w in words if w.startswith("to ")]
    assert words[words.index(transfer) + 1] == "this page"
    assert transfer.removeprefix("to ") in words


def pages_and_numbers(scenes: list[Scene]) -> dict[str, int]:
    """The page on which the gate of each number stands with its symbol."""
    found: dict[str, int] = {}
    for page, scene in enumerate(scenes, 1):
        for group in scene.groups if scene.parts != (OVERVIEW,) else ():
            words = [m.text for m in group.marks if isinstance(m, Text)]
            ways = [m for m in group.marks if isinstance(m, Link)]
            number = next((w for w in words if w.isdigit()), None)
            if number and not any("to " in w for w in words) and len(ways) < 2:
                assert number not in found, "a gate is drawn in full once"
                found[number] = page
    return found


@pytest.mark.parametrize("paper", ["a4", "a3", "letter", "tabloid"])
@pytest.mark.parametrize(("causes", "places"), [(3, 9), (13, 9), (3, 25)])
def test_transfers_lead_to_the_page_of_another_gate_never_to_the_top(
    paper: PaperName, causes: int, places: int
) -> None:
    scenes = faulttree_chart(wide(causes, places), TITLE).pages(paper)
    there = pages_and_numbers(scenes)
    assert set(there) == {str(number + 1) for number in range(places + 1)}
    asked = set()
    for page, scene in enumerate(scenes, 1):
        said = " ".join(words_on(scene))
        for number, where in re.findall(r"\bto (\d+),? (this page|page \d+)", said):
            asked.add(number)
            assert number != "1", "the top event is no input of its own"
            assert there[number] == (page if where == "this page" else int(where[5:]))
    first = min(there.values())
    drawn_on_first = {number for number, page in there.items() if page == first}
    assert asked >= set(there) - drawn_on_first


def test_ways_to_other_pages_are_links_to_them() -> None:
    scenes = faulttree_chart(wide(3, 25), TITLE).pages("a4")
    links = [m for scene in scenes for g in scene.groups for m in g.marks if isinstance(m, Link)]
    # Nothing leads back to the page that says what stands where.
    assert scenes[0].parts == (OVERVIEW,)
    assert {link.page for link in links} == set(range(2, len(scenes) + 1))
    assert len(links) >= 2 * 25
    for link in links:
        assert 0 <= link.x <= link.x + link.width <= scenes[0].width
        assert 0 <= link.y <= link.y + link.height <= scenes[0].height
    parts = [part for scene in scenes[1:] for part in scene.parts]
    assert parts[0] == "1. Weak"
    assert "7. Place 5" in parts


def test_a_number_is_the_same_on_every_paper() -> None:
    tree = wide(5, 9)
    seen: dict[str, set[str]] = {}
    for paper in (None, *PAPERS):
        for scene in faulttree_chart(tree, TITLE).pages(paper):
            for group in scene.groups:
                words = [m.text for m in group.marks if isinstance(m, Text)]
                for number, name in itertools.pairwise(words[::-1]):
                    if number.isdigit() and name.startswith("Place"):
                        seen.setdefault(name, set()).add(number)
    assert seen == {f"Place {i}": {str(i + 2)} for i in range(9)}


def conditional() -> FaultTree:
    """One fault that stands twice, each time under a condition of its own."""
    return FaultTree(
        top="top",
        gates=(
            Gate(id="top", title="Top", kind="or", inputs=("x", "y")),
            Gate(id="x", title="X", kind="inhibit", inputs=("a", "wet")),
            Gate(id="y", title="Y", kind="inhibit", inputs=("a", "hot", "long")),
        ),
        events=(
            PrimaryEvent(id="a", title="A thing", probability=0.1, code="E7"),
            PrimaryEvent(id="wet", title="It is wet", probability=0.5, kind="condition", code="C1"),
            PrimaryEvent(id="hot", title="It is hot", probability=0.2, kind="condition", code="C2"),
            PrimaryEvent(id="long", title="Long", probability=0.3, kind="condition", code="C3"),
        ),
    )


@pytest.mark.parametrize("paper", [None, "a4"])
def test_conditions_stand_beside_their_gate_and_are_no_causes(
    flaws: Callable[[Scene], list[str]], paper: PaperName | None
) -> None:
    tree = conditional()
    chart = faulttree_chart(tree, TITLE, analyse(tree))
    (scene,) = chart.pages(paper)
    assert flaws(scene) == []
    words = words_on(scene)
    assert words.count("It is wet") == 1
    assert "C1, 50 %" in words
    assert "only while the condition beside it holds" in words
    assert "a condition, not a fault" in words
    assert "1 cause and 3 conditions" in chart.picture.alt
    kinds = {node.id: node.kind for node in chart.picture.nodes}
    assert (kinds["wet"], kinds["a"]) == (NodeKind.CONDITION, NodeKind.EVENT)
    dumped = {event["id"]: event["kind"] for event in chart.data["tree"]["events"]}
    assert dumped == {"a": "basic", "wet": "condition", "hot": "condition", "long": "condition"}
    for output in ("dot", "mermaid"):
        assert "only while the condition holds" in render(chart, output)[0].data.decode()


def test_an_event_that_stands_twice_says_that_it_is_one() -> None:
    tree = conditional()
    (scene,) = faulttree_chart(tree, TITLE, analyse(tree)).pages(None)
    assert " ".join(words_on(scene)).count("E7, 10 %, one event under 2 gates") == 2
    once = wide(2, 1)
    (scene,) = faulttree_chart(once, TITLE, analyse(once)).pages(None)
    assert "one event" not in " ".join(words_on(scene))


def test_figures_are_on_every_gate_and_in_the_data() -> None:
    tree = wide(2, 3)
    chart = faulttree_chart(tree, TITLE, analyse(tree))
    (scene,) = chart.pages(None)
    words = words_on(scene)
    assert "6 % in all" in words
    assert words.count("2 %") == 3
    assert chart.data["analysis"]["gates"]["p1"] == pytest.approx(0.02)


def test_exact_figures_are_on_the_top_event_and_in_the_data() -> None:
    tree = wide(2, 1)
    chart = faulttree_chart(tree, TITLE, analyse(tree, "exact"))
    (scene,) = chart.pages(None)
    assert "2 % in all" in words_on(scene)
    assert chart.data["analysis"]["probability"] == pytest.approx(1 - 0.99**2)
    assert len(chart.data["analysis"]["importance"]) == 2
    assert render(chart, "json")[0].data.startswith(b'{\n  "chart": "fault-tree"')


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0, "0 %"),
        (1, "100 %"),
        (3e-5, "0.003 %"),
        (1e-9, "<0.001 %"),
        (0.0027, "0.27 %"),
        (1 / 37, "2.7 %"),
        (0.05, "5 %"),
        (0.535, "54 %"),
        (0.9, "90 %"),
        (1 - 1e-12, "100 %"),
        (0.9999, ">99 %"),
    ],
)
def test_chances_small_and_large_are_said_in_one_notation(probability: float, words: str) -> None:
    assert chance(probability) == words


def test_no_belief_is_called_certain() -> None:
    said = [percent(p) for p in (0, 0.001, 0.005, 0.5, 0.995, 0.999, 1)]
    assert said == ["<1 %", "<1 %", "<1 %", "50 %", ">99 %", ">99 %", ">99 %"]


@pytest.mark.parametrize("paper", ["a4", "a3", "letter"])
def test_the_first_page_of_a_set_names_every_part_and_its_page(
    flaws: Callable[[Scene], list[str]], paper: PaperName
) -> None:
    scenes = faulttree_chart(wide(13, 9), TITLE).pages(paper)
    first = scenes[0]
    assert first.parts == (OVERVIEW,)
    assert flaws(first) == []
    named: dict[str, int] = {}
    for group in first.groups:
        words = [m.text for m in group.marks if isinstance(m, Text)]
        page = next((w for w in words if re.fullmatch(r"page \d+", w)), "")
        if page:
            named[f"{words[0]}. {words[1]}"] = int(page[5:])
    stand = {part: page for page, one in enumerate(scenes[1:], 2) for part in one.parts}
    assert named == stand


def test_a_tree_that_fits_few_pages_has_no_page_before_it() -> None:
    for scene in faulttree_chart(wide(2, 3), TITLE).pages("a3"):
        assert OVERVIEW not in scene.parts


def test_a_wide_tree_lies_on_its_side_and_a_narrow_one_stands() -> None:
    (many,) = faulttree_chart(wide(6, 7), TITLE).pages(None)
    assert many.width < 2 * many.height, "not a strip"
    assert many.height < 3.5 * many.width
    (few,) = faulttree_chart(wide(1, 2), TITLE).pages(None)
    assert few.height < few.width


def test_nothing_stands_over_what_an_inhibit_gate_needs_at_the_top_of_a_page(
    flaws: Callable[[Scene], list[str]], overlaps: Callable[[Scene], list[str]]
) -> None:
    gates = [
        Gate(id=f"g{n}", title=f"Gate {n}", kind="inhibit", inputs=(f"e{n}", f"c{n}"))
        for n in range(30)
    ]
    top = Gate(id="top", title="Top", kind="or", inputs=tuple(g.id for g in gates))
    events = [PrimaryEvent(id=f"e{n}", title=f"Event {n}") for n in range(30)]
    held = [
        PrimaryEvent(id=f"c{n}", title="It is wet and has been", kind="condition")
        for n in range(30)
    ]
    tree = FaultTree(top="top", gates=(top, *gates), events=(*events, *held))
    for paper in ("a4", paper_of("a4", portrait=True), None):
        for scene in faulttree_chart(tree, TITLE).pages(paper):  # type: ignore[arg-type]
            assert flaws(scene) == []
            assert overlaps(scene) == []
