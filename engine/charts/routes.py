"""The chart of a drill: two routes through one house, step by step and minute by minute.

On top, how likely what is really wrong was held, against the clock; below, each route's steps in
a column of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

from stillflow.engine.base import Model, in_percent, minutes
from stillflow.engine.charts.chart import Chart, plot_chart
from stillflow.engine.charts.page import KeyItem, Room, Sheet, kind_key, line_key, page_words
from stillflow.engine.charts.picture import Node, NodeKind, TitleBlock
from stillflow.engine.charts.plot import Frame, most_of
from stillflow.engine.charts.plotmarks import expected_point, found_point
from stillflow.engine.charts.scene import Dash, Mark, Scene, Text, polyline
from stillflow.engine.charts.shapes import (
    NOTE_SIZE,
    TITLE_SIZE,
    MeasuredNode,
    draw,
    measure,
)

StepSort = Literal["reading", "look", "nothing", "fix", "left"]

_KINDS: dict[StepSort, NodeKind] = {
    "reading": NodeKind.READING,
    "look": NodeKind.LOOK,
    "nothing": NodeKind.UNHELPFUL,
    "fix": NodeKind.FIX,
    "left": NodeKind.HAND_OVER,
}
_COLUMN, _CLOCK, _BETWEEN, _GAP = 250.0, 62.0, 28.0, 12.0
_WIDE = 2 * (_COLUMN + _CLOCK) + _BETWEEN
_GRAPH = 190.0
_HEAD = 26.0
_LINES: tuple[tuple[Dash, float], ...] = (("solid", 2.4), ("dashed", 1.3))


class RouteStep(Model):
    """One step of a route.

    Attributes:
        number: from 1.
        sort: a reading, a look or question, one that told nothing, a fix, or a fix left to others.
        title: what was asked or mended.
        said: what was found.
        ended: minutes on the clock after it.
        truth: how likely what was really wrong was held after it; None once nothing was wrong.
        note: what to say of it, such as that it was tried on too little.
        caution: a danger that was walked past.
    """

    number: int
    sort: StepSort
    title: str
    said: str
    ended: float
    truth: float | None = None
    note: str = ""
    caution: str = ""


class RouteTaken(Model):
    """One way through the house: whose, its steps, and how it ended."""

    name: str
    steps: tuple[RouteStep, ...]
    minutes: float
    ending: str


class Routes(Model):
    """Two routes through one house, the trainee's first."""

    title: TitleBlock
    first: RouteTaken
    second: RouteTaken


def routes_chart(routes: Routes) -> Chart:
    """The chart to render. It is no graph of boxes, so it cannot be made as DOT or Mermaid."""
    alt = ". ".join(f"{one.name}: {minutes(one.minutes)}, {one.ending}" for one in _both(routes))
    return plot_chart(
        "drill",
        routes.title,
        f"{alt}.",
        routes.model_dump(mode="json"),
        _key(routes),
        lambda sheet: _draw(routes, sheet),
    )


def _both(routes: Routes) -> tuple[RouteTaken, RouteTaken]:
    return routes.first, routes.second


def _node(step: RouteStep) -> Node:
    return Node(
        f"s{step.number}",
        _KINDS[step.sort],
        step.title,
        step.said,
        step.note,
        badge=str(step.number),
        caution=step.caution,
    )


def _draw(routes: Routes, sheet: Sheet) -> list[Scene]:
    room = sheet.room()
    most = None if room is None else max(room.height * _WIDE / room.width, 2 * _GRAPH)
    lanes = [
        [measure(_node(step), _COLUMN / _width(_KINDS[step.sort])) for step in one.steps]
        for one in _both(routes)
    ]
    pages = list(_paged(lanes, most))
    scenes = []
    for number, part in enumerate(pages, 1):
        things: list[tuple[str, list[Mark]]] = []
        top = 0.0
        if number == 1:
            things += _graph(routes)
            top = _GRAPH + 10
        bottom = top
        for lane, (route, (start, items)) in enumerate(zip(_both(routes), part, strict=True)):
            marks, end = _lane(route, start, items, lane * (_COLUMN + _CLOCK + _BETWEEN), top)
            things += marks
            bottom = max(bottom, end)
        page = page_words(number, len(pages))
        scenes.append(sheet.compose(things, Room(_WIDE, bottom), page))
    return scenes


def _width(kind: NodeKind) -> float:
    return measure(Node("", kind)).width


_Part = tuple[int, list[MeasuredNode]]


def _paged(lanes: Sequence[list[MeasuredNode]], most: float | None) -> Iterable[list[_Part]]:
    """Which steps of each lane stand on each page."""
    at = [0, 0]
    first = True
    while first or any(start < len(lane) for start, lane in zip(at, lanes, strict=True)):
        room = None if most is None else most - _HEAD - (_GRAPH + 10 if first else 0.0)
        part: list[_Part] = []
        for index, lane in enumerate(lanes):
            end, high = at[index], 0.0
            while end < len(lane) and (room is None or high + lane[end].height + _GAP <= room):
                high += lane[end].height + _GAP
                end += 1
            if end == at[index] and end < len(lane) and not first:
                end += 1  # one that is higher than the page gets a page of its own
            part.append((at[index], lane[at[index] : end]))
            at[index] = end
        yield part
        first = False


def _lane(
    route: RouteTaken, start: int, items: Sequence[MeasuredNode], x: float, top: float
) -> tuple[list[tuple[str, list[Mark]]], float]:
    left = x + _CLOCK
    words = f"{route.name}: {minutes(route.minutes)}, {route.ending}"
    head: list[Mark] = [Text(x, top + 14, words, TITLE_SIZE, bold=True)]
    things: list[tuple[str, list[Mark]]] = [(words, head if items or not start else [])]
    y = top + _HEAD
    for place, item in enumerate(items):
        step = route.steps[start + place]
        marks: list[Mark] = []
        if place:
            middle = left + 24
            marks.append(polyline([(middle, y - _GAP), (middle, y)], width=1.2))
        clock = f"{round(step.ended * 2) / 2:g} min"
        marks.append(Text(left - 14, y + 14, clock, NOTE_SIZE, "end"))
        things.append((f"{step.title} {step.said}", [*marks, *draw(item, left, y)]))
        y += item.height + _GAP
    return things, y


def _graph(routes: Routes) -> list[tuple[str, list[Mark]]]:
    most = most_of(max(one.minutes, 1.0) for one in _both(routes))
    held_words = "how likely what is really wrong is held, by what was known"
    frame = Frame(_WIDE, _GRAPH, most, 1.0, "minutes on the clock", held_words, y_words=in_percent)
    things = [("How likely what is really wrong was held, against the clock", frame.marks())]
    for route, (dash, weight) in reversed(list(zip(_both(routes), _LINES, strict=True))):
        points = [frame.at(0.0, 0.0)]
        marks: list[Mark] = []
        held = 0.0
        for step in route.steps:
            if step.truth is None:
                break
            # Known only once the step is done, so the line goes along, then up.
            points += [frame.at(step.ended, share) for share in (held, step.truth)]
            held = step.truth
            if step.sort == "fix":
                place = frame.at(step.ended, held)
                marks += found_point(*place) if dash == "solid" else expected_point(*place)
        line = polyline(points, dash=dash, width=weight)
        things.append((f"{route.name}: {minutes(route.minutes)}", [line, *marks]))
    return things


def _key(routes: Routes) -> tuple[KeyItem, ...]:
    (solid, thick), (dashed, thin) = _LINES
    shown = {_KINDS[step.sort] for one in _both(routes) for step in one.steps}
    return (
        line_key("the trainee, and a fix", *found_point(17, 8), dash=solid, width=thick),
        line_key("the planner, and a fix", *expected_point(17, 8), dash=dashed, width=thin),
        *kind_key([kind for kind in NodeKind if kind in shown]),
    )
