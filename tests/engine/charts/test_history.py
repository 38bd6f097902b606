"""A house over the years as a picture: what was expected can be seen, also of a single visit."""

from __future__ import annotations

import pytest

from stillflow.engine.charts.history import History, HistoryPoint, HistorySeries, history_chart
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.scene import Outline, Scene, Text


def drawn(*read: float) -> Scene:
    points = tuple(
        HistoryPoint(year=2023.2 + number, suction=value, expected=130.0, fix="")
        for number, value in enumerate(read)
    )
    series = HistorySeries(
        name="sealed at the hall inlet", state="sealed", points=points, drift="-", warning=""
    )
    data = History(title=TitleBlock(title="Years"), series=(series,), weak=0.82)
    (scene,) = history_chart(data).pages(None)
    return scene


def across(scene: Scene, title: str) -> tuple[float, float, float]:
    """Where a level line begins and ends, and how high it lies."""
    (marks,) = (group.marks for group in scene.groups if group.title == title)
    (line,) = (one for one in marks if isinstance(one, Outline))
    (end,) = line.segments[-1]
    assert line.start[1] == end[1]
    return line.start[0], end[0], end[1]


def label(scene: Scene, text: str) -> Text:
    marks = [mark for group in scene.groups for mark in group.marks]
    (found,) = (one for one in marks if isinstance(one, Text) and one.text == text)
    return found


def test_a_single_visit_stands_between_what_was_expected_and_what_is_weak() -> None:
    scene = drawn(120.0)
    begin, end, expected = across(scene, "Expected")
    assert across(scene, "Weak")[:2] == (begin, end)
    first, last = label(scene, "2023"), label(scene, "2024")
    assert (begin, end) == pytest.approx((first.x, last.x))
    assert expected < label(scene, "120").y
    assert all(group.title != "Read" for group in scene.groups)


def test_the_lines_of_several_visits_end_with_them() -> None:
    scene = drawn(120.0, 110.0)
    begin, end, _ = across(scene, "Expected")
    assert label(scene, "2023").x < begin
    assert end == pytest.approx(label(scene, "110").x)


@pytest.mark.parametrize("read", [129.0, 130.0, 133.0])
def test_no_number_hides_what_was_expected(read: float) -> None:
    scene = drawn(read)
    expected = across(scene, "Expected")[2]
    number = label(scene, f"{read:.0f}")
    top, bottom = number.y - number.size, number.y + 0.26 * number.size
    assert not top < expected < bottom
