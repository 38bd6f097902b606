"""The page for the customer and the file: what was measured, found and done, on one sheet."""

from __future__ import annotations

from collections.abc import Iterator

from stillflow.engine.base import Model
from stillflow.engine.charts.chart import PLOTTED, Chart
from stillflow.engine.charts.page import PAPERS, OnPaper, Paper
from stillflow.engine.charts.picture import Picture, TitleBlock
from stillflow.engine.charts.scene import Mark, Scene, Text, moved, polyline, rectangle
from stillflow.engine.charts.shapes import BAR, GREY
from stillflow.engine.charts.text import wrap

_MARGIN = 42.0
_SIZE = 10.0
_LEADING = 1.35
_BAR_LEFT, _BAR_HIGH = 190.0, 7.0


class SheetReading(Model):
    """One place, inH2O; None where nothing was read then."""

    label: str
    before: float | None
    after: float | None
    expected: float

    @property
    def most(self) -> float:
        """The largest of its numbers."""
        return max(self.before or 0.0, self.after or 0.0, self.expected, 1.0)


class SheetPart(Model):
    """Lines under a heading."""

    heading: str
    lines: tuple[str, ...]


class CustomerSheet(Model):
    """What stands on the page; what was not measured, done or given is not on it.

    Attributes:
        heading: the shop's lines.
        facts: label and words, such as house, date and technician.
        readings: before and after at the same places, against expected.
        measured_with: orifice and gauge, in words; empty where nothing was measured.
        parts: sections in order.
        short: all of it as one line for an invoice.
    """

    heading: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    readings: tuple[SheetReading, ...]
    measured_with: str
    parts: tuple[SheetPart, ...]
    short: str


def sheet_chart(sheet: CustomerSheet) -> Chart:
    """The page to render, upright: A4, or letter where that is asked for."""
    title = TitleBlock(title=" ".join(sheet.heading[:1]) or "Service sheet")
    picture = Picture(title, sheet.short)

    def pages(paper: OnPaper) -> list[Scene]:
        name = paper.name if isinstance(paper, Paper) else paper or "a4"
        high, wide = PAPERS[name]
        return [_page(sheet, title.title, wide, high)]

    return Chart("sheet", picture, sheet.model_dump(mode="json"), pages, PLOTTED)


def _page(sheet: CustomerSheet, title: str, wide: float, high: float) -> Scene:
    """One page; the type is made smaller until all of it stands on it."""
    scale = 1.0
    while True:
        marks, depth = _flow(sheet, (wide - 2 * _MARGIN) / scale)
        if depth * scale <= high - 2 * _MARGIN:
            break
        scale *= 0.95
    scene = Scene(wide, high, title, sheet.short)
    scene.add("", [moved(mark, _MARGIN, _MARGIN, scale) for mark in marks])
    return scene


def _flow(sheet: CustomerSheet, room: float) -> tuple[list[Mark], float]:
    marks: list[Mark] = []
    y = 0.0

    def write(words: str, size: float = _SIZE, bold: bool = False, indent: float = 0.0) -> None:
        nonlocal y
        for line in wrap(words, room - indent, size, bold):
            y += size * _LEADING
            marks.append(Text(indent, y, line, size, bold=bold))

    for index, line in enumerate(sheet.heading):
        write(line, 15.0 if index == 0 else _SIZE, bold=index == 0)
    if sheet.heading:
        y += 8
        marks.append(polyline([(0, y), (room, y)], width=0.8))
    y += 4
    for label, words in sheet.facts:
        marks.append(Text(0, y + _SIZE * _LEADING, label, _SIZE, colour=GREY))
        write(words, indent=80.0)
    if sheet.readings:
        y += 8
        write("Measured, inH2O", 11.5, bold=True)
        for one in sheet.readings:
            bars = list(_bars(one, y + 4, room))
            marks += bars
            y += 34
        write(sheet.measured_with)
    for part in sheet.parts:
        y += 8
        write(part.heading, 11.5, bold=True)
        for line in part.lines:
            write(line, indent=10.0)
    return marks, y + 4


def _bars(one: SheetReading, y: float, room: float) -> Iterator[Mark]:
    """Before over after, with a line where it should be."""
    yield Text(0, y + 13, one.label, _SIZE)
    wide = room - _BAR_LEFT - 90

    def at(value: float) -> float:
        return _BAR_LEFT + wide * value / (1.1 * one.most)

    rows = (("before", one.before, "#ffffff"), ("after", one.after, BAR))
    for index, (name, value, fill) in enumerate(rows):
        top = y + 3 + 13 * index
        yield Text(_BAR_LEFT - 6, top + 7, name, 8.5, "end", colour=GREY)
        if value is None:
            yield Text(_BAR_LEFT + 2, top + 7, "not read", 8.5, colour=GREY)
            continue
        yield rectangle(_BAR_LEFT, top, at(value) - _BAR_LEFT, _BAR_HIGH, fill=fill, width=0.8)
        yield Text(room - 84, top + 7, f"{value:.0f}", _SIZE, "end", bold=name == "after")
    x = at(one.expected)
    yield polyline([(x, y), (x, y + 27)], width=1.4, dash="dashed")
    yield Text(room, y + 15, f"expected {one.expected:.0f}", 8.5, "end", colour=GREY)
