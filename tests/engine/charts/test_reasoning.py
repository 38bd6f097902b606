"""The reasoning path: what was found, what was concluded from it, and how strongly."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from stillflow.engine.charts.picture import Kind, TitleBlock
from stillflow.engine.charts.reasoning import (
    PathFact,
    PathFault,
    PathLink,
    PathRule,
    ReasoningPath,
    focused,
    reasoning_chart,
)
from stillflow.engine.charts.reasoningpicture import reasoning_picture
from stillflow.engine.charts.scene import Scene
from stillflow.engine.errors import InputError

TITLE = TitleBlock(title="Why")


def small(**changes: object) -> ReasoningPath:
    parts: dict[str, object] = {
        "title": TITLE,
        "facts": (PathFact(id="f", title="Filter", found="clean", asked=1),),
        "rules": (PathRule(id="r", because="A clean filter lets air through."),),
        "faults": (PathFault(id="x", title="Clog", probability=0.5),),
        "links": (
            PathLink(tail="f", head="r"),
            PathLink(tail="r", head="x", direction="against", strength="very-strong"),
        ),
    }
    return ReasoningPath.model_validate({**parts, **changes})


def test_facts_stand_first_and_faults_last(path: ReasoningPath) -> None:
    picture = reasoning_picture(path)
    kinds = {node.id: node.kind for node in picture.nodes}
    assert {kinds[i] for i in picture.columns[0]} == {Kind.READING, Kind.LOOK, Kind.UNHELPFUL}
    assert {kinds[i] for i in picture.columns[-1]} == {Kind.FAULT, Kind.RULED_OUT}
    place = {i: n for n, column in enumerate(picture.columns) for i in column}
    assert all(place[edge.tail] < place[edge.head] for edge in picture.edges)


def test_a_reading_says_its_share_of_expected_and_when_it_was_asked(path: ReasoningPath) -> None:
    reading = next(n for n in reasoning_picture(path).nodes if n.id == "f1")
    assert reading.badge == "1"
    assert reading.bar == 0.69
    assert reading.note.startswith("69% of expected (")


def test_strength_is_said_in_words_and_shown_by_the_line() -> None:
    (plain, against) = reasoning_picture(small()).edges
    assert (plain.label, plain.line) == ("", "plain")
    assert (against.label, against.line) == ("very strongly against", "against")
    stronger = small(
        links=(PathLink(tail="r", head="x", direction="against", strength="decisive"),)
    )
    assert reasoning_picture(stronger).edges[0].weight > against.weight


def test_a_check_that_told_nothing_apart_is_dotted_and_stands_apart(path: ReasoningPath) -> None:
    picture = reasoning_picture(path)
    useless = next(n for n in picture.nodes if n.id == "f3")
    assert useless.kind is Kind.UNHELPFUL
    assert useless.note == "told nothing apart"
    (scene,) = reasoning_chart(path).pages(None)
    dashes = {m.dash for g in scene.groups for m in g.marks if hasattr(m, "dash")}
    assert "dotted" in dashes


def test_what_is_ruled_out_says_by_what() -> None:
    path = small(
        faults=(
            PathFault(id="x", title="Clog", probability=0, ruled_out_by="check 1"),
            PathFault(id="y", title="Leak", probability=1),
        )
    )
    node = next(n for n in reasoning_picture(path).nodes if n.id == "x")
    assert (node.kind, node.text) == (Kind.RULED_OUT, "ruled out: check 1")


def test_faults_ruled_out_by_the_same_arrows_share_a_box() -> None:
    faults = tuple(
        PathFault(id=name, title=name.upper(), probability=0, ruled_out_by="check 1")
        for name in ("a", "b")
    )
    links = [PathLink(tail="r", head=name, direction="against", strength="strong") for name in "ab"]
    picture = reasoning_picture(small(faults=faults, links=tuple(links)))
    out = [n for n in picture.nodes if n.kind is Kind.RULED_OUT]
    assert [n.title for n in out] == ["A; B"]
    assert len(picture.edges) == 1


def test_the_less_likely_are_gathered_without_losing_their_probability() -> None:
    faults = tuple(
        PathFault(id=f"x{i}", title=f"Fault {i}", probability=p)
        for i, p in enumerate([0.6, 0.2, 0.1, 0.06, 0.04])
    )
    picture = reasoning_picture(small(faults=faults, links=()), most=2)
    boxes = [(n.title, n.text) for n in picture.nodes if n.kind is Kind.FAULT]
    assert boxes == [("Fault 0", "60%"), ("Fault 1", "20%"), ("3 other faults", "20% together")]


def test_the_likelier_fault_stands_higher(path: ReasoningPath) -> None:
    (scene,) = reasoning_chart(path).pages(None)
    height = {}
    for group in scene.groups:
        texts = [m for m in group.marks if hasattr(m, "text")]
        for percent in ("70%", "25%"):
            if any(m.text == percent for m in texts):
                height[percent] = min(m.y for m in texts)
    assert height["70%"] < height["25%"]


def test_focus_keeps_only_what_bears_on_the_fault(path: ReasoningPath) -> None:
    kept = focused(path, "out")
    assert [f.id for f in kept.facts] == ["f1"]
    assert [r.id for r in kept.rules] == ["r1"]
    assert kept.derived == ()
    assert [f.id for f in kept.faults] == ["out"]
    assert "only what bears on" in kept.title.filters[-1]


def test_focus_on_something_unknown_names_what_is_there(path: ReasoningPath) -> None:
    with pytest.raises(InputError, match=r"'nothing'.*likely, less, rare, out, d1"):
        reasoning_chart(path, ["nothing"])


@pytest.mark.parametrize(
    ("changes", "problem"),
    [
        ({"links": (PathLink(tail="f", head="gone"),)}, "not there"),
        ({"links": (PathLink(tail="f", head="x"),)}, "into or out of a rule"),
        ({"rules": (PathRule(id="f", because="Twice."),)}, "same id"),
    ],
)
def test_a_path_that_does_not_hang_together_is_refused(
    changes: dict[str, object], problem: str
) -> None:
    with pytest.raises(InputError, match=problem):
        small(**changes)


@pytest.mark.parametrize("kept", ["facts", "faults", "nothing"])
def test_a_visit_that_has_hardly_begun_can_be_drawn(
    path: ReasoningPath, flaws: Callable[[Scene], list[str]], kept: str
) -> None:
    bare = ReasoningPath(
        title=TITLE,
        facts=path.facts if kept == "facts" else (),
        faults=path.faults if kept == "faults" else (),
    )
    (scene,) = reasoning_chart(bare).pages("letter")
    assert flaws(scene) == []


def test_narrower_boxes_are_used_where_that_keeps_the_words_larger(path: ReasoningPath) -> None:
    (scene,) = reasoning_chart(path).pages(None)
    shrunk = min(785 / (scene.width - 57), 1.25) * 10
    (fitted,) = reasoning_chart(path).pages("a4")
    assert fitted.smallest_text() >= min(shrunk, 10) - 0.01
