"""All charts as the commands draw them, on all papers: nothing hidden, clipped or too small."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from command import stillflow

from stillflow.cli import drawing
from stillflow.engine import load_rules
from stillflow.engine.charts.blank import BLANKS, blanked, leaves_blank
from stillflow.engine.charts.chart import Chart, on_paper
from stillflow.engine.charts.decision import DecisionTree, decision_chart
from stillflow.engine.charts.page import PAPERS, POSTERS, PaperName, paper_of
from stillflow.engine.charts.scene import Scene

RATED = ("--rated-sealed", "130", "--rated-airflow", "114")
READINGS = (*RATED, "--unit-sealed", "130", "--unit-working", "78", "--sealed", "92")
CASES = ("bag-packed-to-the-collar", "apart-since-the-plumber", "backwards-tee")
MARKS = Path(__file__).parents[3] / "casebook" / "class" / "marks.jsonl"

TREES = {
    "decision tree": ("chart", "tree", "--reach", "4%"),
    "wall tree": ("chart", "tree", "--paper", "a3"),
    "tree of a complaint": ("chart", "tree", "--complaint", "weak-with-one-tool", *RATED),
    "fault tree": ("chart", "faults"),
    "fault tree by mode": ("chart", "faults", "--by", "mode", "--worth", "2%"),
    **{
        f"fault tree: {name}": ("chart", "faults", "--complaint", name)
        for name in load_rules().complaints
    },
}
GRAPHS = {
    "why": ("why", CASES[0], "--chart"),
    "why not": ("why", CASES[2], "--not", "bag-full", "--chart"),
}
OTHERS = {
    "pareto": ("chart", "pareto", "--complaint", "weak-everywhere"),
    "legend": ("chart", "legend"),
    "stations": ("chart", "stations", *READINGS),
    "stations, before and after": ("chart", "stations", CASES[0], "--after"),
    "stations side by side": ("chart", "stations", *CASES),
    "airflow": ("chart", "airflow", *READINGS),
    "airflow, before and after": ("chart", "airflow", CASES[0], "--after"),
    "airflow side by side": ("chart", "airflow", *CASES),
    "quiz": ("casebook", "quiz", CASES[0]),
    "drill": ("drill", "--level", "2", "--seed", "5", "--chart"),
    "marks": ("drill", "--marks", str(MARKS), "marks", "--chart"),
}
COMMANDS = {**TREES, **GRAPHS, **OTHERS}
TYPED = "danger-signs\nwhere-weak\nsealed-inlet\nm\nworking-inlet\nm\nbag-look\nm\nleave\n"


@cache
def chart(name: str) -> Chart:
    """The chart that a command draws."""
    drawn: list[Chart] = []

    def note(one: Chart, *args: Any, **options: Any) -> Any:
        drawn.append(one)
        return render(one, "json")

    command = COMMANDS[name]
    out = () if command[-1] == "--chart" else ("--out",)
    # A command that is imported only now would keep what stands in for `drawing` here.
    for module in ("chart_faults", "chart_tree", "demo", "sheet"):
        import_module(f"stillflow.cli.{module}")
    render = drawing.render
    with mock.patch.object(drawing, "render", note), mock.patch.object(drawing, "write_file"):
        kept = ("--marks", "/dev/null") if command[0] == "drill" and "marks" not in command else ()
        outcome = stillflow(*command, *out, "x.json", *kept, typed=TYPED)
    assert outcome.code == 0, outcome.err
    # Layouts are what takes time, and several tests look at the same.
    return replace(drawn[-1], pages=cache(drawn[-1].pages))


UNLIKE: tuple[PaperName, ...] = ("a4", POSTERS[0])
"""Papers that differ most; of the posters one stands for all, since they differ in size alone."""
ALIKE = [one for one in PAPERS if one not in (*UNLIKE, *POSTERS)]
"""The others, for the slow run."""


def sheets(name: str, papers: Sequence[PaperName]) -> Iterator[tuple[str, list[Scene]]]:
    """The chart's pages on some papers."""
    one = chart(name)
    # A complaint's fault tree is part of the whole one: the smallest sheet cuts it most.
    part = name.startswith("fault tree: ")
    for paper in papers:
        if paper == "a4" or not part:
            yield paper, on_paper(one, paper, False, None)
    if "a4" in papers:
        yield "no paper", one.pages(None)
        yield "a4 upright", one.pages(paper_of("a4", portrait=True))
    elif not part:
        yield "tabloid upright", one.pages(paper_of("tabloid", portrait=True, text_size=12))


@pytest.mark.parametrize("papers", [UNLIKE, pytest.param(ALIKE, marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", list(COMMANDS))
def test_nothing_hides_anything_leaves_its_box_falls_off_the_sheet_or_is_too_small(
    name: str,
    papers: Sequence[PaperName],
    flaws: Callable[[Scene], list[str]],
    overlaps: Callable[[Scene], list[str]],
    crossings: Callable[[Scene], list[str]],
) -> None:
    for paper, scenes in sheets(name, papers):
        for scene in scenes:
            assert flaws(scene) == [], paper
            if name not in OTHERS:
                assert overlaps(scene) == [], paper
                assert crossings(scene) == [], paper
            # Columns of a reasoning path need the long side; upright it is said to be too small.
            if name not in GRAPHS or "upright" not in paper:
                least = 14.0 if paper in POSTERS else 8.0
                assert scene.smallest_text() >= least - 0.01, paper


@pytest.mark.parametrize("name", ["decision tree", "fault tree"])
@pytest.mark.parametrize("paper", ["a4", "a3", "letter", "tabloid"])
def test_trees_are_legible_at_arms_length(name: str, paper: PaperName) -> None:
    one = chart(name)
    if name == "decision tree":
        # Its card is a page of its own, which may be as small as can be read.
        one = decision_chart(DecisionTree.model_validate({**one.data, "card": None}))
    for scene in one.pages(paper):
        assert scene.smallest_text() >= 10.0


@pytest.mark.parametrize("name", list(COMMANDS))
@pytest.mark.parametrize("what", BLANKS)
def test_nothing_on_an_exercise_leaves_its_box(
    name: str, what: Any, flaws: Callable[[Scene], list[str]]
) -> None:
    if name.startswith("fault tree: "):
        return
    for scene in chart(name).pages("a3"):
        if leaves_blank(scene, what):
            assert flaws(blanked(scene, what)) == []


@pytest.mark.parametrize("name", ["wall tree", "fault tree: weak-everywhere", "pareto", "legend"])
def test_type_on_a_poster_is_as_large_as_its_pages_have_room_for(name: str) -> None:
    small = chart(name).pages("a1")
    large = on_paper(chart(name), "a1", False, None)
    assert len(large) == len(small)
    grown = [min(one.smallest_text() for one in scenes) for scenes in (small, large)]
    assert grown[1] >= (1.2 * grown[0] if len(large) == 1 else grown[0])
    larger = paper_of("a1", text_size=1.3 * grown[1])
    more = chart(name).pages(larger)
    assert len(more) > len(large) or min(s.smallest_text() for s in more) < 1.29 * grown[1]


@pytest.mark.parametrize("name", [*OTHERS, "fault tree: weak-with-one-tool", "why"])
def test_type_is_as_large_as_asked_for_or_the_largest_that_fits(name: str) -> None:
    printed = []
    for points in (6.0, 10.0, 14.0, 18.0):
        scenes = on_paper(chart(name), "letter", False, points)
        printed.append(min(scene.smallest_text() for scene in scenes))
        assert printed[-1] <= points + 0.05
    assert printed[0] == pytest.approx(6.0, abs=0.05)
    assert printed == sorted(printed)


@pytest.mark.parametrize(
    ("paper", "most", "complaint"),
    [
        ("a3", 2, None),
        pytest.param("a3", 2, "weak-at-one-inlet", marks=pytest.mark.slow),
        pytest.param("tabloid", 3, None, marks=pytest.mark.slow),
        pytest.param("a4", 4, "weak-at-one-inlet", marks=pytest.mark.slow),
        ("letter", 4, None),
    ],
)
def test_a_tree_on_paper_takes_few_pages_unless_more_is_asked_for(
    tmp_path: Path, paper: str, most: int, complaint: str | None
) -> None:
    named = () if complaint is None else ("--complaint", complaint)
    out = tmp_path / "tree.svg"
    outcome = stillflow("chart", "tree", *named, "--paper", paper, "--out", str(out))
    assert outcome.code == 0
    pages = len(list(tmp_path.iterdir()))
    assert 2 <= pages <= most


@pytest.mark.parametrize("name", ["fault tree", "why not", "quiz"])
def test_a_paper_lies_as_takes_fewer_pages_that_can_be_read(name: str) -> None:
    lying, upright = (on_paper(chart(name), "a4", way, None) for way in (False, True))
    chosen = on_paper(chart(name), "a4", None, None)
    assert len(chosen) <= len(lying)
    least = [min(s.smallest_text() for s in scenes) for scenes in (lying, upright, chosen)]
    assert least[2] >= min(least[0], 8.0) - 0.05
    if len(upright) < len(lying) and least[1] >= 8.0:
        assert chosen[0].height > chosen[0].width
