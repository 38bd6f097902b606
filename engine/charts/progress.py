"""The chart of marks over time: a point for each drill, a line for the mean of the last few."""

from __future__ import annotations

from statistics import fmean

from stillflow.engine.base import Model
from stillflow.engine.charts.chart import Chart, plot_chart
from stillflow.engine.charts.page import KeyItem, Room, Sheet, line_key
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.plot import Frame
from stillflow.engine.charts.plotmarks import after_point, expected_point, found_point
from stillflow.engine.charts.scene import DASHES, Mark, Scene, Style, polyline

RUNNING = 5
"""Drills whose mean the line shows."""

_SIZE = Room(620.0, 360.0)


class ProgressPlot(Model):
    """Marks of 100 by trainee, in the order of the drills."""

    title: TitleBlock
    marks: dict[str, tuple[int, ...]]


def progress_chart(progress: ProgressPlot) -> Chart:
    """The chart to render."""
    words = "; ".join(f"{name}: {', '.join(map(str, got))}" for name, got in progress.marks.items())
    return plot_chart(
        "progress",
        progress.title,
        f"Marks in order. {words}.",
        progress.model_dump(mode="json"),
        _key(list(progress.marks)),
        lambda sheet: _draw(progress, sheet),
    )


def running(marks: tuple[int, ...]) -> list[float]:
    """The mean of each mark and up to four before it."""
    return [fmean(marks[max(0, end - RUNNING) : end]) for end in range(1, len(marks) + 1)]


def _draw(progress: ProgressPlot, sheet: Sheet) -> list[Scene]:
    most = max((len(got) for got in progress.marks.values()), default=1)
    step = -(-most // 10)
    ticks = tuple(float(one) for one in range(step, most + 1, step))
    frame = Frame(*_SIZE, most + 0.5, 100.0, "drill", "mark of 100", ticks=ticks)
    things = [("Marks of 100, drill after drill", frame.marks())]
    for index, (name, got) in enumerate(progress.marks.items()):
        line: list[Mark] = []
        means = running(got)
        if len(got) > 1:
            points = [frame.at(n, mean) for n, mean in enumerate(means, 1)]
            line.append(polyline(points, **_look(index)))
        for number, mark in enumerate(got, 1):
            line += _point(index, *frame.at(number, mark))
        things.append((f"{name}: {', '.join(map(str, got))}", line))
    return [sheet.compose(things, _SIZE)]


def _key(names: list[str]) -> tuple[KeyItem, ...]:
    return tuple(
        line_key(name, *_point(index, 17, 8), **_look(index)) for index, name in enumerate(names)
    )


def _look(index: int) -> Style:
    return {"dash": list(DASHES)[index % 3], "width": (2.2, 1.2)[index // 3 % 2]}


def _point(index: int, x: float, y: float) -> list[Mark]:
    if index % 3 == 0:
        return found_point(x, y)
    if index % 3 == 1:
        return expected_point(x, y)
    return after_point(x, y)
