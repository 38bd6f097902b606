"""Fault trees drawn: symbols, stacks of single causes, transfers between pages."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from stillflow.engine.base.numbers import chance, percent
from stillflow.engine.charts.chart import render
from stillflow.engine.charts.faults import faulttree_chart
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.scene import Scene, Text
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


def test_figures_are_on_the_top_event_and_in_the_data() -> None:
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
        (3e-5, "1 in 33,000"),
        (0.004, "1 in 250"),
        (0.05, "5 %"),
        (0.9999, ">99 %"),
    ],
)
def test_small_chances_are_said_as_one_in_so_many(probability: float, words: str) -> None:
    assert chance(probability) == words


def test_no_belief_is_called_certain() -> None:
    said = [percent(p) for p in (0, 0.001, 0.005, 0.5, 0.995, 0.999, 1)]
    assert said == ["<1 %", "<1 %", "<1 %", "50 %", ">99 %", ">99 %", ">99 %"]
