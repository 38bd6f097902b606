"""The airflow chart: suction against airflow, lines with their names on them, readings.

Dashed is healthy, solid is found, dotted is the orifice; nothing depends on colour. What the lines
are is worked out in `airflow.curves`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from stillflow.engine.airflow import AirflowChart, Line
from stillflow.engine.airflow import Mark as Measured
from stillflow.engine.base import counted
from stillflow.engine.charts.chart import PLOTTED, Chart, body_chart
from stillflow.engine.charts.page import Body, KeyItem, Room, line_key
from stillflow.engine.charts.picture import Picture, TitleBlock
from stillflow.engine.charts.plot import LEFT, Frame
from stillflow.engine.charts.plotmarks import (
    AFTER,
    after_point,
    expected_point,
    found_point,
    on_white,
    round_up,
)
from stillflow.engine.charts.scene import Mark, Point, Style, Text, polyline
from stillflow.engine.charts.shapes import NOTE_SIZE, TEXT_SIZE, Box
from stillflow.engine.charts.text import width

_SIZE = Room(620.0, 400.0)
_LEAST = Room(420.0, 260.0)
_TOP = 18.0
_ROW = 13.0
"""Values whose marks are nearer than half of this, in points, are read as one."""
_STEP = 2.0
"""Points by which a value is moved until it hides nothing."""
_STYLES: dict[str, Style] = {
    "healthy": {"dash": "dashed", "width": 1.2},
    "found": {"dash": "solid", "width": 2.2},
    "orifice": {"dash": "dotted", "width": 1.4},
}
_NAMES = {
    "fan": "fan",
    "orifice": "orifice",
    "unit": "unit",
    "utility": "utility inlet",
    "inlet": "inlet",
    "other": "other inlet",
    "hose": "hose end",
}
_SAME = 0.01
"""Lines that differ by less than this share of the scale are drawn once."""


def airflow_lines_chart(data: AirflowChart, title: TitleBlock, words: str) -> Chart:
    """The chart to render. It is no graph of boxes, so it cannot be made as DOT or Mermaid.

    Args:
        data: lines and readings.
        title: the title block.
        words: what the readings say, in a sentence or two, for those who cannot see it.
    """
    readings = counted(len(data.marks), "reading")
    alt = f"Suction against airflow: the healthy system, the system as found, {readings}. {words}"
    content = {"title": title.model_dump(mode="json"), **data.model_dump(mode="json")}

    def body(room: Room | None) -> Body:
        size = _SIZE
        if room is not None:
            wide = min(max(room.width, _LEAST.width), 1.4 * _SIZE.width)
            size = Room(wide, min(max(room.height, _LEAST.height), 1.4 * _SIZE.height))
        return Body(_Graph(data, size).things(), size, _key(data))

    return body_chart("airflow", Picture(title, alt), content, body, PLOTTED, "verdict")


def _key(data: AirflowChart) -> tuple[KeyItem, ...]:
    return (
        line_key("this system in good order", *expected_point(17, 8), **_STYLES["healthy"]),
        line_key("as found, with what explains it best", *found_point(17, 8), **_STYLES["found"]),
        line_key("what the orifice lets in", **_STYLES["orifice"]),
        *([KeyItem(AFTER, after_point(17, 8))] if data.after else []),
    )


class _Graph:
    def __init__(self, data: AirflowChart, size: Room) -> None:
        self._data = data
        self._size = size
        flows = [max(line.airflow_cfm) for line in data.lines]
        all_marks = (*data.marks, *data.after)
        flows += [v for m in all_marks for v in (m.airflow_cfm, m.expected_airflow_cfm)]
        suctions = [max(line.suction_inh2o) for line in data.lines]
        suctions += [v for m in all_marks for v in (m.suction_inh2o, m.expected_suction_inh2o)]
        self._most = Room(round_up(max(flows)), round_up(max(suctions)))
        self._frame = Frame(
            *size,
            *self._most,
            "airflow, cfm",
            "suction, inH2O",
            ticks=_ticks(self._most.width),
            y_ticks=_ticks(self._most.height),
            grid=True,
            top=_TOP,
        )
        self._at = self._frame.at
        self._taken: list[Box] = []

    def things(self) -> list[tuple[str, list[Mark]]]:
        """Everything on the graph, each with the words that say what it is."""
        things = [("Suction in inH2O against airflow in cfm", self._frame.marks())]
        shown = list(self._shown())
        for line in shown:
            things.append((_in_words(line), self._curve(line)))
        # Readings and values first, so that the names of lines keep clear of them.
        readings, values = self._readings(), self._values()
        names = [mark for line in shown for mark in self._name(line)]
        return [*things, ("", names), *readings, ("", values)]

    def _shown(self) -> Iterable[Line]:
        """The lines, a found one only where it is not the healthy one."""
        healthy = {(one.of, one.inlet): one for one in self._data.lines if one.state == "healthy"}
        for line in self._data.lines:
            twin = healthy.get((line.of, line.inlet))
            if line.state == "healthy" or twin is None or self._differ(line, twin):
                yield line

    def _differ(self, line: Line, twin: Line) -> bool:
        pairs = zip(_points(line), _points(twin), strict=True)
        return any(
            abs(a[0] - b[0]) > _SAME * self._most.width
            or abs(a[1] - b[1]) > _SAME * self._most.height
            for a, b in pairs
        )

    def _curve(self, line: Line) -> list[Mark]:
        style = _STYLES["orifice" if line.of == "orifice" else line.state]
        inside = [
            p for p in _points(line) if p[0] <= self._most.width and p[1] <= self._most.height
        ]
        if line.of == "fan":
            style = {**style, "width": style["width"] + 0.8}
        return [polyline([self._at(*p) for p in inside], **style)]

    def _name(self, line: Line) -> list[Mark]:
        """The name of a line on the line, where there is room for it."""
        words = _NAMES[line.of]
        if line.inlet and line.of in ("inlet", "hose"):
            words += f", {line.inlet}"
        wide = width(words, NOTE_SIZE) + 6
        points = [self._at(*p) for p in _points(line)]
        order = sorted(range(len(points)), key=lambda i: abs(i / len(points) - 0.62))
        for index in order:
            x, y = points[index]
            box = Box(x - wide / 2, y - 8, wide, 15)
            if self._free(box):
                self._taken.append(box)
                return on_white(Text(x, y + 3.5, words, NOTE_SIZE, "middle"))
        return []

    def _free(self, box: Box) -> bool:
        inside = (
            box.x > LEFT + 4
            and box.x + box.w < self._size.width
            and box.y > _TOP
            and box.y + box.h < self._at(0, 0)[1]
        )
        return inside and not any(_overlap(box, other) for other in self._taken)

    def _readings(self) -> list[tuple[str, list[Mark]]]:
        """The readings as marks, expected below found, so that what was read is never hidden."""
        expected, found = [], []
        for mark in self._data.marks:
            place = _NAMES[mark.station]
            should = self._at(mark.expected_airflow_cfm, mark.expected_suction_inh2o)
            did = self._at(mark.airflow_cfm, mark.suction_inh2o)
            expected.append((_expected_words(mark, place), expected_point(*should)))
            found.append((_found_words(mark, place), found_point(*did)))
            self._taken += [Box(x - 6, y - 6, 12, 12) for x, y in (should, did)]
        after = []
        for mark in self._data.after:
            x, y = self._at(mark.airflow_cfm, mark.suction_inh2o)
            after.append((_found_words(mark, _NAMES[mark.station], AFTER), after_point(x, y)))
            self._taken.append(Box(x - 6, y - 6, 12, 12))
        return expected + found + after

    def _values(self) -> list[Mark]:
        """The values beside the readings, none over another and none over a reading."""
        # Where the same value was found at several places, one label names them all.
        labels: dict[tuple[str, int, str], tuple[Point, list[str]]] = {}
        for mark in self._data.marks:
            should = self._at(mark.expected_airflow_cfm, mark.expected_suction_inh2o)
            did = self._at(mark.airflow_cfm, mark.suction_inh2o)
            place = _NAMES[mark.station]
            key = (mark.condition, round(mark.suction_inh2o), "")
            labels.setdefault(key, (did, []))[1].append(place)
            if abs(did[1] - should[1]) > _ROW / 2:
                key = (mark.condition, round(mark.expected_suction_inh2o), " expected")
                labels.setdefault(key, (should, []))[1].append(place)
        for mark in self._data.after:
            did = self._at(mark.airflow_cfm, mark.suction_inh2o)
            key = (mark.condition, round(mark.suction_inh2o), " after")
            labels.setdefault(key, (did, []))[1].append(_NAMES[mark.station])
        marks: list[Mark] = []
        placed: list[tuple[Point, float]] = []
        ordered = sorted(labels.items(), key=lambda pair: (pair[0][2] != "", pair[1][0][1]))
        for (_, value, sort), ((x, y), places) in ordered:
            words, is_found = f"{', '.join(places)} {value}{sort}", not sort
            size = TEXT_SIZE if is_found else NOTE_SIZE
            # In the order of their marks, so that the lines to them do not cross.
            above = [row for (left, top), row in placed if abs(left - x) < 2 * _ROW and top < y]
            box = Box(x + 14, y - 7, width(words, size, is_found) + 4, 14)
            row = self._row(box, max(above, default=0.0))
            placed.append(((x, y), row))
            if abs(row - y) > 3:
                marks.append(polyline([(x + 6, y), (x + 14, row)], width=0.6))
            marks += on_white(Text(x + 16, row + 3.6, words, size, bold=is_found))
        return marks

    def _row(self, box: Box, below: float) -> float:
        """The middle of the nearest free place to a box, which is then taken.

        Not above `below`, where there is room.
        """
        places = [box]
        for step in range(1, 80):
            places += [box._replace(y=box.y + way * step * _STEP) for way in (1, -1)]
        top, bottom = _TOP, self._at(0, 0)[1]
        inside = [one for one in places if one.y > top and one.y + one.h < bottom] or [box]
        free = [one for one in inside if not any(_overlap(one, other) for other in self._taken)]
        lower = (one for one in free if one.y + one.h / 2 > below)
        chosen = next(lower, free[0] if free else inside[0])
        self._taken.append(chosen)
        return chosen.y + chosen.h / 2


def _expected_words(mark: Measured, place: str) -> str:
    return f"Expected {mark.expected_suction_inh2o:.0f} inH2O, {mark.condition} at the {place}"


def _found_words(mark: Measured, place: str, what: str = "Found") -> str:
    return f"{what.capitalize()} {mark.suction_inh2o:.0f} inH2O, {mark.condition} at the {place}"


def _points(line: Line) -> list[Point]:
    return list(zip(line.airflow_cfm, line.suction_inh2o, strict=True))


def _overlap(a: Box, b: Box) -> bool:
    return a.x < b.x + b.w and b.x < a.x + a.w and a.y < b.y + b.h and b.y < a.y + a.h


def _ticks(most: float) -> list[float]:
    """About five round values from 0 to the end of a scale."""
    raw = most / 5
    base = 10.0 ** math.floor(math.log10(raw))
    step = next(base * factor for factor in (1, 2, 2.5, 5, 10) if base * factor >= raw - 1e-9)
    return [step * index for index in range(int(most / step + 1e-9) + 1)]


def _in_words(line: Line) -> str:
    if line.of == "orifice":
        return "What the orifice lets in"
    what = "The fan" if line.of == "fan" else f"Suction left at the {_NAMES[line.of]}"
    return f"{what}, {'in good order' if line.state == 'healthy' else 'as found'}"
