"""The reasoning path: what was found, what was concluded from it, and how strongly."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from stillflow.engine.base.errors import InputError
from stillflow.engine.charts.picture import NodeKind, TitleBlock
from stillflow.engine.charts.reasoning import (
    PathDerived,
    PathFact,
    PathFault,
    PathLink,
    PathRule,
    ReasoningPath,
    focused,
)
from stillflow.engine.charts.reasoningpicture import reasoning_chart, reasoning_picture
from stillflow.engine.charts.scene import Outline, Point, Scene, Text

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
    seen = {NodeKind.READING, NodeKind.LOOK, NodeKind.UNHELPFUL}
    assert {kinds[i] for i in picture.columns[0]} == seen
    assert {kinds[i] for i in picture.columns[-1]} == {NodeKind.FAULT, NodeKind.RULED_OUT}
    place = {i: n for n, column in enumerate(picture.columns) for i in column}
    assert all(place[edge.tail] < place[edge.head] for edge in picture.edges)


def test_a_reading_says_its_share_of_expected_and_when_it_was_asked(path: ReasoningPath) -> None:
    reading = next(n for n in reasoning_picture(path).nodes if n.id == "f1")
    assert reading.badge == "1"
    assert reading.bar == 0.69
    assert reading.note.startswith("69 % of expected (")


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
    assert useless.kind is NodeKind.UNHELPFUL
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
    assert (node.kind, node.text) == (NodeKind.RULED_OUT, "ruled out: check 1")


def test_what_others_outweigh_says_its_share_and_is_not_called_ruled_out() -> None:
    faults = (
        PathFault(id="x", title="Clog", probability=0.005, against="others explain more"),
        PathFault(id="y", title="Leak", probability=0.995),
    )
    picture = reasoning_picture(small(faults=faults))
    node = next(n for n in picture.nodes if n.id == "x")
    assert (node.kind, node.text, node.note) == (NodeKind.FAULT, "<1 %", "others explain more")


def test_faults_ruled_out_by_the_same_arrows_share_a_box() -> None:
    faults = tuple(
        PathFault(id=name, title=name.upper(), probability=0, ruled_out_by="check 1")
        for name in ("a", "b")
    )
    links = [PathLink(tail="r", head=name, direction="against", strength="strong") for name in "ab"]
    picture = reasoning_picture(small(faults=faults, links=tuple(links)))
    out = [n for n in picture.nodes if n.kind is NodeKind.RULED_OUT]
    assert [n.title for n in out] == ["A; B"]
    assert len(picture.edges) == 1


def test_the_less_likely_are_gathered_without_losing_their_probability() -> None:
    faults = tuple(
        PathFault(id=f"x{i}", title=f"Fault {i}", probability=p)
        for i, p in enumerate([0.3, 0.2, 0.14, 0.1, 0.08, 0.07, 0.06, 0.05])
    )
    picture = reasoning_picture(small(faults=faults, links=()))
    boxes = [(n.title, n.text) for n in picture.nodes if n.kind is NodeKind.FAULT]
    assert boxes[:2] == [("Fault 0", "30 %"), ("Fault 1", "20 %")]
    assert boxes[6:] == [("2 other faults", "11 % together")]


def test_the_likelier_fault_stands_higher(path: ReasoningPath) -> None:
    (scene,) = reasoning_chart(path).pages(None)
    height = {}
    for group in scene.groups:
        texts = [m for m in group.marks if hasattr(m, "text")]
        for percent in ("70 %", "25 %"):
            if any(m.text == percent for m in texts):
                height[percent] = min(m.y for m in texts)
    assert height["70 %"] < height["25 %"]


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


def long_path(checks: int, loose: int, aside: int = 1) -> ReasoningPath:
    """Many checks, each with a rule that speaks for one fault and against another."""
    names = [f"check {number}" for number in range(1, checks + 1)]
    return small(
        facts=tuple(
            PathFact(id=name, title=f"What about {name}?", found="no", asked=number)
            for number, name in enumerate([*names, *(f"loose {n}" for n in range(loose))], 1)
        ),
        rules=tuple(PathRule(id=f"rule {name}", because=f"So says {name}.") for name in names),
        derived=(PathDerived(id="found", title="Beside the point"),),
        faults=(
            PathFault(id="leak", title="A leak", probability=0.9),
            PathFault(id="clog", title="A clog", probability=0.0, ruled_out_by="It is not."),
        ),
        links=(
            *(PathLink(tail=name, head=f"rule {name}") for name in names),
            *(
                PathLink.model_validate(
                    {"tail": f"rule {name}", "head": to, "direction": way, "strength": "strong"}
                )
                for name in names
                for to, way in (("leak", "for"), ("clog", "against"))
            ),
            PathLink(tail=f"rule check {aside}", head="found"),
        ),
    )


@pytest.mark.parametrize("paper", ["a4", "letter", "a3"])
def test_a_long_visit_takes_pages_that_can_be_read_and_lose_nothing(
    paper: str, flaws: Callable[[Scene], list[str]]
) -> None:
    path = long_path(14, 9)
    scenes = reasoning_chart(path).pages(paper)  # type: ignore[arg-type]
    assert len(scenes) > 1
    titles = [group.title for scene in scenes for group in scene.groups]
    for fact in path.facts:
        assert any(fact.title in title for title in titles)
    for rule in path.rules:
        assert titles.count(rule.because) == 1
    arrows = [title for title in titles if " strongly " in title]
    assert len(arrows) == len(set(arrows)) == 28
    for number, scene in enumerate(scenes, 1):
        assert f"page {number} of {len(scenes)}" in words_on(scene)
        assert scene.smallest_text() >= 7.5
        assert flaws(scene) == []


@pytest.mark.parametrize("aside", range(1, 9))
def test_no_arrow_runs_behind_what_follows_from_a_rule(aside: int) -> None:
    [scene] = reasoning_chart(long_path(8, 0, aside)).pages(None)
    [box] = [group for group in scene.groups if group.title == "Beside the point"]
    corners = [point for mark in box.marks if isinstance(mark, Outline) for point in outline(mark)]
    left, right = min(x for x, _ in corners), max(x for x, _ in corners)
    top, bottom = min(y for _, y in corners), max(y for _, y in corners)
    for group in scene.groups:
        if " strongly " not in group.title:
            continue
        for mark in group.marks:
            if isinstance(mark, Outline):
                inside = [(x, y) for x, y in outline(mark) if left < x < right and top < y < bottom]
                assert inside == [], group.title


def outline(path: Outline) -> list[Point]:
    """Points along an outline, close to one another on its curves."""
    points = [path.start]
    for segment in path.segments:
        if len(segment) == 1:
            points.append(segment[0])
            continue
        a, (b, c, d) = points[-1], segment
        for step in range(1, 41):
            t = step / 40
            u = 1 - t
            weights = (u**3, 3 * u * u * t, 3 * u * t * t, t**3)
            points.append(
                (
                    sum(w * p[0] for w, p in zip(weights, (a, b, c, d), strict=True)),
                    sum(w * p[1] for w, p in zip(weights, (a, b, c, d), strict=True)),
                )
            )
    return points


def test_checks_without_bearing_stand_in_rows_below() -> None:
    [short] = reasoning_chart(long_path(3, 0)).pages(None)
    [long] = reasoning_chart(long_path(3, 8)).pages(None)
    assert "Also found, with no bearing on these faults" in words_on(long)
    assert long.height < short.height + 8 * 30


def words_on(scene: Scene) -> list[str]:
    return [m.text for group in scene.groups for m in group.marks if isinstance(m, Text)]
