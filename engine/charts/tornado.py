"""The tornado chart: what each number alone turns, at its least and at its most, widest first."""

from __future__ import annotations

from stillflow.engine.base import Model
from stillflow.engine.charts.chart import Chart, plot_chart
from stillflow.engine.charts.page import KeyItem, Room, Sheet, page_words
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.scene import Anchor, Mark, Scene, Text, polyline, rectangle
from stillflow.engine.charts.shapes import BAR, INK, NOTE_SIZE, TEXT_SIZE
from stillflow.engine.charts.text import LEADING, wrap

_NAMES, _SIDE, _ROW, _BAR, _TOP = 250.0, 150.0, 34.0, 16.0, 26.0
_FOOT = 24.0
_MOST_FILL = "#ffffff"


class TornadoBar(Model):
    """One number: how much turns with it at its least and at its most."""

    title: str
    least: int
    most: int


class Tornado(Model):
    """Numbers, and in a few words what is counted on the axis."""

    title: TitleBlock
    counted: str
    bars: tuple[TornadoBar, ...]


def tornado_chart(tornado: Tornado) -> Chart:
    """The chart to render: one row a number, those that turn most first."""
    bars = sorted(tornado.bars, key=lambda one: (-one.least - one.most, one.title))
    ordered = tornado.model_copy(update={"bars": tuple(bars)})
    said = "; ".join(map(_said, bars))
    alt = f"{tornado.counted}. {said}."
    data = ordered.model_dump(mode="json")
    key = (
        KeyItem("the number at its least", [_box(0, 34, 8, BAR)]),
        KeyItem("the number at its most", [_box(0, 34, 8, _MOST_FILL)]),
    )
    return plot_chart("tornado", tornado.title, alt, data, key, lambda sheet: _draw(ordered, sheet))


def _draw(tornado: Tornado, sheet: Sheet) -> list[Scene]:
    room = sheet.room()
    wide = _NAMES + 2 * _SIDE + 40.0
    most = len(tornado.bars)
    if room is not None:
        rows = (room.height * max(1.0, wide / room.width) - _TOP - _FOOT) // _ROW
        most = max(int(rows), 1)
    reach = max((count for one in tornado.bars for count in (one.least, one.most)), default=1)
    starts = range(0, max(len(tornado.bars), 1), max(most, 1))
    scenes = []
    for number, start in enumerate(starts, 1):
        part = tornado.bars[start : start + most]
        bottom = _TOP + len(part) * _ROW
        middle = _NAMES + _SIDE
        axis: list[Mark] = [
            polyline([(middle, _TOP), (middle, bottom)], stroke=INK, width=1.0),
            Text(middle, _TOP - 10, tornado.counted, TEXT_SIZE, "middle", role="fixed"),
        ]
        things = [("No number moved", axis)]
        for row, bar in enumerate(part):
            things.append((_said(bar), _row(_TOP + row * _ROW, bar, max(reach, 1))))
        page = page_words(number, len(starts))
        scenes.append(sheet.compose(things, Room(wide, bottom + _FOOT), page))
    return scenes


def _said(bar: TornadoBar) -> str:
    return f"{bar.title}: {bar.least} at its least, {bar.most} at its most"


def _row(top: float, bar: TornadoBar, reach: int) -> list[Mark]:
    height, middle = top + _ROW / 2, _NAMES + _SIDE
    lines = wrap(bar.title, _NAMES - 20, NOTE_SIZE)[:2]
    first = height - (len(lines) - 1) * NOTE_SIZE * LEADING / 2 + NOTE_SIZE * 0.35
    marks: list[Mark] = [
        Text(_NAMES - 14, first + n * NOTE_SIZE * LEADING, line, NOTE_SIZE, "end", role="name")
        for n, line in enumerate(lines)
    ]
    for count, side, fill in ((bar.least, -1, BAR), (bar.most, 1, _MOST_FILL)):
        end = middle + side * (_SIDE - 24.0) * count / reach
        if count:
            marks.append(_box(min(middle, end), max(middle, end), height, fill))
        at, low = end + side * 5.0, height + 3.5
        anchor: Anchor = "end" if side < 0 else "start"
        marks.append(Text(at, low, str(count), NOTE_SIZE, anchor, bold=True))
    return marks


def _box(left: float, right: float, middle: float, fill: str) -> Mark:
    return rectangle(left, middle - _BAR / 2, right - left, _BAR, fill=fill, width=0.8)
