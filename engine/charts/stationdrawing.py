"""The drawing of the station chart: the path as a strip, and a graph of each condition below it.

The strip and both graphs share the places of the stations, so that the step where the two lines
part is seen at a glance. What is lost where is worked out in `stations`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from stillflow.engine.base import in_percent
from stillflow.engine.charts.chart import Chart, body_chart
from stillflow.engine.charts.page import Body, KeyItem, Room, line_key
from stillflow.engine.charts.picture import Edge, Node, NodeKind, Picture
from stillflow.engine.charts.plotmarks import (
    AFTER,
    after_point,
    expected_point,
    found_point,
    on_white,
    round_up,
)
from stillflow.engine.charts.scene import (
    Mark,
    Outline,
    Text,
    circle,
    polygon,
    polyline,
    rectangle,
    rounded,
)
from stillflow.engine.charts.shapes import (
    GREY,
    INK,
    NOTE_SIZE,
    TEXT_SIZE,
    TITLE_SIZE,
    WARNING,
    Box,
)
from stillflow.engine.charts.stations import (
    CONDITIONS,
    AirPath,
    ChartStation,
    Condition,
    StationReading,
    greatest_loss,
    losses,
    verdict,
)
from stillflow.engine.charts.text import LEADING, width, wrap

_COLUMN = (92.0, 138.0)
"""Least and usual distance between stations in points."""
_GRAPH = (88.0, 128.0)
"""Least and usual height of a graph in points."""
_LEFT = 150.0
"""Room at the left for the fan and the names of the graphs."""
_PIPE = 9.0
_FAN = 20.0
"""Radius of the fan."""
_BETWEEN = 34.0
_NAMES: dict[Condition, tuple[str, str]] = {
    "sealed": ("Sealed", "no air flowing"),
    "working": ("Working", "air flowing through the orifice"),
}


def _key(path: AirPath) -> tuple[KeyItem, ...]:
    expected = "expected of this system in good order"
    key = [
        line_key(expected, *expected_point(17, 8), dash="dashed", width=1.2),
        line_key("found", *found_point(17, 8), width=2.6),
    ]
    if any(one.reading(state).after is not None for one in path.stations for state in CONDITIONS):
        key.append(line_key(AFTER, *after_point(17, 8), dash="dotted", width=1.8))
    if greatest_loss(path) is not None:
        key.append(KeyItem("the step where most suction is lost", _band(0, 0, 34, 16)))
    return tuple(key)


class _Drawing:
    def __init__(self, path: AirPath, room: Room | None) -> None:
        self.path = path
        self.worst = greatest_loss(path)
        count = len(path.stations)
        self.column = _COLUMN[1]
        if room is not None:
            self.column = min(max((room.width - _LEFT) / count, _COLUMN[0]), _COLUMN[1])
        self.wide = _LEFT + self.column * count
        self.banner = self._banner()
        self.names = [wrap(s.title, self.column - 14, TITLE_SIZE, bold=True) for s in path.stations]
        self.behind = [
            wrap(s.behind, self.column - 26 - (0 if index else _FAN), NOTE_SIZE)
            for index, s in enumerate(path.stations)
        ]
        above = max(len(lines) for lines in self.behind) * NOTE_SIZE * LEADING
        below = max(len(lines) for lines in self.names) * TITLE_SIZE * LEADING
        self.pipe = len(self.banner) * TITLE_SIZE * LEADING + 14 + above + 12 + _PIPE
        top = self.pipe + 36 + below
        self.graph = _GRAPH[1]
        if room is not None:
            left = (room.height - top - _BETWEEN - 12) / 2
            self.graph = min(max(left, _GRAPH[0]), _GRAPH[1])
        second = top + self.graph + _BETWEEN
        self.tops: dict[Condition, float] = {"sealed": top, "working": second}
        self.high = second + self.graph + 12

    def _banner(self) -> Sequence[str]:
        if self.worst is None:
            return wrap(verdict(self.path), self.wide, TITLE_SIZE, bold=True)
        lost = f"{self.worst.amount:.0f} {self.path.unit} {self.worst.condition}"
        room = max(self.column * (self.worst.station - self.worst.since), 2 * self.column)
        return wrap(f"Most suction is lost here: {lost}", room - 12, TITLE_SIZE, bold=True)

    def x(self, station: int) -> float:
        """The middle of a station; -1 is the fan."""
        return _LEFT - 58 if station < 0 else _LEFT + self.column * (station + 0.5) - 10

    def things(self) -> list[tuple[str, list[Mark]]]:
        things: list[tuple[str, list[Mark]]] = []
        things.append((" ".join(self.banner), self._verdict()))
        things.append(("The air path, from the fan to the hose end", self._strip()))
        for condition in CONDITIONS:
            things += self._graph(condition)
        return things

    def _verdict(self) -> list[Mark]:
        high = TITLE_SIZE * LEADING
        if self.worst is None:
            return [
                Text(0, (index + 1) * high - 3, line, TITLE_SIZE, bold=True, role="place")
                for index, line in enumerate(self.banner)
            ]
        left, right = self.x(self.worst.since), self.x(self.worst.station)
        marks: list[Mark] = [
            replace(mark, role="place") for mark in _band(left, 0, right - left, self.high)
        ]
        half = max(width(line, TITLE_SIZE, bold=True) for line in self.banner) / 2 + 5
        middle = min(max((left + right) / 2, half), self.wide - half)
        box = Box(middle - half, 0, 2 * half, len(self.banner) * high + 5)
        marks.append(replace(rounded(*box, 3, fill="#ffffff", stroke=WARNING), role="place"))
        for index, line in enumerate(self.banner):
            baseline = (index + 1) * high - 1
            marks.append(Text(middle, baseline, line, TITLE_SIZE, "middle", True, WARNING, "place"))
        return marks

    def _strip(self) -> list[Mark]:
        y, fan, end = self.pipe, self.x(-1), self.x(len(self.path.stations) - 1)
        marks: list[Mark] = [
            rounded(fan, y - _PIPE / 2, end - fan + 26, _PIPE, 2, fill="#ffffff", width=1.2),
            *fan_marks(fan, y),
            *on_white(Text(fan, y + 36, "fan", NOTE_SIZE, "middle")),
        ]
        for index, lines in enumerate(self.behind):
            middle = (self.x(index - 1) + self.x(index)) / 2 + (0 if index else _FAN / 2)
            for place, line in enumerate(reversed(lines)):
                baseline = y - 13 - place * NOTE_SIZE * LEADING
                marks += on_white(Text(middle, baseline, line, NOTE_SIZE, "middle"))
        for index, lines in enumerate(self.names):
            marks += gauge_marks(self.x(index), y)
            for place, line in enumerate(lines):
                baseline = y + 34 + place * TITLE_SIZE * LEADING
                label = Text(self.x(index), baseline, line, TITLE_SIZE, "middle", bold=True)
                marks += on_white(label)
        return marks

    def _graph(self, condition: Condition) -> list[tuple[str, list[Mark]]]:
        top, bottom = self.tops[condition], self.tops[condition] + self.graph
        readings = [s.reading(condition) for s in self.path.stations]
        known = [v for r in readings for v in (r.expected, r.found, r.after) if v is not None]
        most = round_up(max(known, default=1.0))

        def y(value: float) -> float:
            return bottom - (self.graph - 26) * value / most

        title, words = _NAMES[condition]
        left = _LEFT - 6
        scale: list[Mark] = [Text(0, top + 24, title, 13.0, bold=True)]
        for index, line in enumerate(wrap(words, 66, NOTE_SIZE)):
            scale.append(Text(0, top + 40 + index * 12.5, line, NOTE_SIZE, colour=GREY))
        for value in (0.0, most / 2, most):
            stroke, weight = (INK, 1.0) if value == 0 else ("#cccccc", 0.5)
            ends = [(left, y(value)), (self.wide, y(value))]
            scale.append(polyline(ends, stroke=stroke, width=weight))
            label = f"{value:g} {self.path.unit}" if value == most else f"{value:g}"
            place = y(value) + 3.5
            scale += on_white(Text(left - 4, place, label, NOTE_SIZE, "end", False, GREY, "fixed"))
        things = [(f"{title}: {words}", scale)]
        expected = [(i, r.expected) for i, r in enumerate(readings) if r.expected is not None]
        found = [(i, r.found) for i, r in enumerate(readings) if r.found is not None]
        lines: list[Mark] = []
        if expected:
            points = [(self.x(i), y(v)) for i, v in expected]
            lines.append(polyline(points, dash="dashed", width=1.2))
        if found:
            lines.append(polyline([(self.x(i), y(v)) for i, v in found], width=2.6))
        after = [(self.x(i), y(r.after)) for i, r in enumerate(readings) if r.after is not None]
        if len(after) > 1:
            lines.append(polyline(after, dash="dotted", width=1.8))
        things.append((f"{title}: expected (dashed) and found", lines))
        for index, reading in enumerate(readings):
            name = self.path.stations[index].title
            marks = _values(self.x(index), reading, y, bottom)
            things.append((f"{name}, {condition}: {_in_words(reading, self.path.unit)}", marks))
        return things


def _values(
    x: float, reading: StationReading, y: Callable[[float], float], bottom: float
) -> list[Mark]:
    marks: list[Mark] = []
    above = reading.found is None or reading.expected is None or reading.expected >= reading.found
    if reading.expected is not None:
        place = y(reading.expected)
        marks += expected_point(x, place)
        label = Text(
            x, place - 8 if above else place + 17, f"{reading.expected:g}", NOTE_SIZE, "middle"
        )
        marks += on_white(label)
    if reading.found is None and reading.after is None:
        return marks + on_white(Text(x, bottom - 5, "not read", NOTE_SIZE, "middle", colour=GREY))
    if reading.after is not None:
        marks += after_point(x, y(reading.after))
        again = Text(x + 9, y(reading.after) + 3.5, f"{reading.after:g}", NOTE_SIZE)
        marks += on_white(again)
    if reading.found is None:
        return marks
    place = y(reading.found)
    marks += found_point(x, place)
    words = f"{reading.found:g}"
    if reading.expected and reading.found < 10 * reading.expected:
        words += f" ({in_percent(reading.found / reading.expected)})"
    below = above and reading.expected is not None and place + 19 < bottom
    label = Text(x, place + 17 if below else place - 9, words, TEXT_SIZE, "middle", bold=True)
    return marks + on_white(label)


def _in_words(reading: StationReading, unit: str) -> str:
    found = "not read" if reading.found is None else f"found {reading.found:g} {unit}"
    if reading.after is not None:
        found += f", after the fix {reading.after:g} {unit}"
    return found if reading.expected is None else f"{found}, expected {reading.expected:g} {unit}"


def _band(x: float, y: float, w: float, h: float) -> list[Outline]:
    """A tinted band with slanted lines, that shows in black and white too."""
    marks = [rectangle(x, y, w, h, fill="#fdeee2", stroke=WARNING, width=0.8)]
    step, offset = 14.0, 7.0
    while offset < w + h:
        start = (x + min(offset, w), y + max(offset - w, 0.0))
        end = (x + max(offset - h, 0.0), y + min(offset, h))
        marks.append(polyline([start, end], stroke="#f0c9a8", width=0.7))
        offset += step
    return marks


def fan_marks(x: float, y: float) -> list[Mark]:
    """The fan, about (x, y)."""
    marks: list[Mark] = [circle(x, y, _FAN, fill="#ffffff", width=1.6)]
    for turn in range(4):
        angle = math.pi / 2 * turn + math.pi / 8
        side = angle + 0.75
        tip = (x + 15 * math.cos(angle), y + 15 * math.sin(angle))
        edge = (x + 13 * math.cos(side), y + 13 * math.sin(side))
        marks.append(polygon([(x, y), tip, edge], fill="#dddddd", width=0.9))
    return [*marks, circle(x, y, 3, fill=INK)]


def gauge_marks(x: float, y: float) -> list[Mark]:
    """A gauge, about (x, y)."""
    marks: list[Mark] = [circle(x, y, 11, fill="#ffffff", width=1.4)]
    for turn in (-1, 0, 1):
        angle = -math.pi / 2 + turn * 1.0
        inner = (x + 7.5 * math.cos(angle), y + 7.5 * math.sin(angle))
        outer = (x + 10 * math.cos(angle), y + 10 * math.sin(angle))
        marks.append(polyline([inner, outer], width=0.9))
    marks.append(polyline([(x - 1.5, y + 2), (x + 4.5, y - 6)], width=1.5))
    return marks


def station_chart(path: AirPath) -> Chart:
    """The air path as a chart to render."""
    worst = greatest_loss(path)
    nodes = [Node("fan", NodeKind.DERIVED, "Fan")]
    edges = []
    for index, station in enumerate(path.stations):
        lines = [_line(path, station, condition) for condition in CONDITIONS]
        nodes.append(Node(f"s{index}", NodeKind.STATION, station.title, "; ".join(lines)))
        lost = worst is not None and worst.since < index <= worst.station
        label = " – ".join(w for w in (station.behind, "suction lost here" if lost else "") if w)
        before = f"s{index - 1}" if index else "fan"
        edges.append(Edge(before, f"s{index}", label, "against" if lost else "plain", 2))
    picture = Picture(path.title, verdict(path), tuple(nodes), tuple(edges))
    data = path.model_dump(mode="json")
    data["losses"] = [
        {"to": path.stations[loss.station].title, "condition": loss.condition, "lost": loss.amount}
        for loss in losses(path)
    ]
    data["verdict"] = verdict(path)

    def body(room: Room | None) -> Body:
        drawing = _Drawing(path, room)
        return Body(drawing.things(), Room(drawing.wide, drawing.high), _key(path))

    return body_chart("stations", picture, data, body)


def _line(path: AirPath, station: ChartStation, condition: Condition) -> str:
    reading = station.reading(condition)
    found = "not read" if reading.found is None else f"{reading.found:.0f}"
    if reading.expected is None:
        return f"{condition} {found}"
    return f"{condition} {found} of {reading.expected:.0f} {path.unit} expected"
