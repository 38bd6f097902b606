"""The charts of drills: two routes and the clock, marks over time."""

from __future__ import annotations

import json

import pytest

from stillflow.engine.charts.chart import render
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.progress import ProgressPlot, progress_chart, running
from stillflow.engine.charts.routes import Routes, RouteStep, RouteTaken, routes_chart
from stillflow.engine.charts.scene import Text

LONG = "What does the gauge read at the unit's intake, tubing off, with air entering?"


def route(name: str, count: int, ending: str = "mended") -> RouteTaken:
    steps = tuple(
        RouteStep(
            number=n,
            sort=("reading", "look", "nothing", "fix", "left")[n % 5],
            title=LONG,
            said="52 inH2O",
            ended=3.0 * n,
            truth=None if n == count else n / (count + 1),
            note="from here it could have been known" if n == 3 else "",
            caution="walked past: Unplug the unit first." if n % 4 == 1 else "",
        )
        for n in range(1, count + 1)
    )
    return RouteTaken(name=name, steps=steps, minutes=3.0 * count, ending=ending)


def routes(first: int, second: int) -> Routes:
    title = TitleBlock(title="A drill", subtitle="Hidden: a torn seal.")
    return Routes(
        title=title, first=route("The trainee", first), second=route("The planner", second)
    )


def words(scene_texts: list[Text]) -> str:
    return " ".join(one.text for one in scene_texts)


@pytest.mark.parametrize(("first", "second"), [(3, 5), (0, 1), (40, 12)])
@pytest.mark.parametrize("paper", [None, "a4", "letter", "a3"])
def test_every_step_of_both_is_drawn_once_and_large_enough(
    first: int, second: int, paper: str | None
) -> None:
    pages = routes_chart(routes(first, second)).pages(paper)  # type: ignore[arg-type]
    texts = [m for s in pages for g in s.groups for m in g.marks if isinstance(m, Text)]
    assert min(one.size for one in texts) >= 8.0
    badges = [one.text for one in texts if one.text.isdigit() and one.bold]
    assert sorted(map(int, badges)) == sorted([*range(1, first + 1), *range(1, second + 1)])
    for page in pages:
        for group in page.groups:
            for mark in group.marks:
                if isinstance(mark, Text):
                    assert -1 <= mark.x <= page.width + 1
                    assert 0 <= mark.y <= page.height


def test_the_clock_and_the_ending_of_both_are_said() -> None:
    (page,) = routes_chart(routes(3, 5)).pages(None)
    said = words([m for g in page.groups for m in g.marks if isinstance(m, Text)])
    for part in ("The trainee: 9 min, mended", "The planner: 15 min, mended", "could have been"):
        assert part in said


def test_routes_come_as_svg_png_pdf_and_json() -> None:
    chart = routes_chart(routes(3, 5))
    for form in chart.formats:
        assert render(chart, form)[0].data
    content = json.loads(render(chart, "json")[0].data)
    assert len(content["first"]["steps"]) == 3


def test_the_line_of_marks_is_the_mean_of_the_last_five() -> None:
    assert running((10, 20, 60)) == [10, 15, 30]
    assert running((0, 0, 0, 0, 0, 100))[-1] == 20


def test_progress_has_a_point_for_each_drill_and_says_whose() -> None:
    progress = ProgressPlot(title=TitleBlock(title="Marks"), marks={"Ann": (10, 90), "Bo": (50,)})
    (page,) = progress_chart(progress).pages(None)
    said = words([m for g in page.groups for m in g.marks if isinstance(m, Text)])
    assert "Ann" in said
    assert "Bo" in said
    assert [g.title for g in page.groups if g.title.startswith("Ann")] == ["Ann: 10, 90"]
