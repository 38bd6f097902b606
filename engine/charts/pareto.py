"""The Pareto chart: causes by how often each is behind it, the likeliest first, and their sum."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import accumulate

from stillflow.engine.base import Model, in_percent, percent
from stillflow.engine.charts.chart import Chart, Format
from stillflow.engine.charts.page import KeyItem, OnPaper, Room, Sheet
from stillflow.engine.charts.picture import Picture, TitleBlock
from stillflow.engine.charts.plotmarks import found_point
from stillflow.engine.charts.scene import Mark, Outline, Scene, Style, Text, polygon, polyline
from stillflow.engine.charts.shapes import BAR, GREY, INK, NOTE_SIZE, TEXT_SIZE
from stillflow.engine.charts.text import LEADING, wrap

PARETO_FORMATS: tuple[Format, ...] = ("svg", "png", "pdf", "json")

_NAMES, _BARS, _ROW, _BAR = 250.0, 360.0, 30.0, 16.0
_TOP = 6.0
_ONE: Style = {"fill": BAR, "width": 0.8}
_SEVERAL: Style = {"fill": "#ffffff", "width": 0.8, "dash": "dashed"}


class ParetoBar(Model):
    """One cause, or `several` rare ones together, and its share of the calls, 0 to 1."""

    id: str = ""
    title: str
    share: float
    several: int = 0


class Pareto(Model):
    """Causes, the likeliest first; after them what is left, several together, which may be more."""

    title: TitleBlock
    bars: tuple[ParetoBar, ...]


def pareto_chart(pareto: Pareto) -> Chart:
    """The chart to render: bars to the right, one below the other, so that names can be read."""
    said = "; ".join(f"{one.title} {percent(one.share)}" for one in pareto.bars)
    picture = Picture(pareto.title, f"Causes, the likeliest first: {said}.", (), ())
    data = pareto.model_dump(mode="json")
    for bar, total in zip(data["bars"], _sums(pareto), strict=True):
        bar["sum"] = total
    return Chart(
        "pareto", picture, data, lambda paper: _draw(pareto, picture, paper), PARETO_FORMATS
    )


def _sums(pareto: Pareto) -> list[float]:
    return list(accumulate(one.share for one in pareto.bars))


def _draw(pareto: Pareto, picture: Picture, paper: OnPaper) -> list[Scene]:
    sheet = Sheet(pareto.title, picture.alt, _key(any(one.several for one in pareto.bars)), paper)
    room = sheet.room()
    wide = _NAMES + _BARS + 60.0
    # As many rows on a page as keep the type as large as it is.
    most = len(pareto.bars)
    if room is not None:
        most = max(int((room.height * max(1.0, wide / room.width) - _TOP - 34) // _ROW), 1)
    sums = _sums(pareto)
    starts = range(0, len(pareto.bars), most)
    scenes = []
    for number, start in enumerate(starts, 1):
        part = pareto.bars[start : start + most]
        things = [("Share of calls", _frame(len(part)))]
        points = []
        for row, bar in enumerate(part):
            total = sums[start + row]
            things.append((f"{bar.title}: {percent(bar.share)}", _row(row, bar)))
            points.append((_x(total), _TOP + row * _ROW + _ROW / 2))
        line: list[Mark] = [polyline(points, width=1.6)] if len(points) > 1 else []
        for place in points:
            line += found_point(*place)
        line = [replace(mark, role="figure") for mark in line if isinstance(mark, Outline)]
        things.append(("Their sum so far", line))
        page = f"page {number} of {len(starts)}" if len(starts) > 1 else ""
        scenes.append(sheet.compose(things, Room(wide, _TOP + len(part) * _ROW + 34), page))
    return scenes


def _x(share: float) -> float:
    return _NAMES + _BARS * min(share, 1.0)


def _frame(rows: int) -> list[Mark]:
    marks: list[Mark] = []
    bottom = _TOP + rows * _ROW
    for share in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
        x = _x(share)
        stroke = INK if share == 0.0 else "#cccccc"
        marks.append(polyline([(x, _TOP), (x, bottom)], stroke=stroke, width=0.6))
        words = Text(x, bottom + 14, in_percent(share), NOTE_SIZE, "middle", False, GREY, "fixed")
        marks.append(words)
    words = Text(_x(0.5), bottom + 30, "share of the calls", TEXT_SIZE, "middle", role="fixed")
    return [*marks, words]


def _row(row: int, bar: ParetoBar) -> list[Mark]:
    top = _TOP + row * _ROW
    middle = top + _ROW / 2
    lines = wrap(bar.title, _NAMES - 50, NOTE_SIZE)[:2]
    marks: list[Mark] = []
    first = middle - (len(lines) - 1) * NOTE_SIZE * LEADING / 2 + NOTE_SIZE * 0.35
    for index, line in enumerate(lines):
        at = first + index * NOTE_SIZE * LEADING
        marks.append(Text(_NAMES - 46, at, line, NOTE_SIZE, "end", role="name"))
    share = percent(bar.share)
    marks.append(Text(_NAMES - 6, middle + 3.5, share, NOTE_SIZE, "end", bold=True))
    left, right = _x(0.0), _x(bar.share)
    corners = [
        (left, middle - _BAR / 2),
        (right, middle - _BAR / 2),
        (right, middle + _BAR / 2),
        (left, middle + _BAR / 2),
    ]
    style = _SEVERAL if bar.several else _ONE
    marks.append(replace(polygon(corners, **style), role="figure"))
    return marks


def _key(several: bool) -> tuple[KeyItem, ...]:
    def sample(x: float, y: float, style: Style) -> list[Mark]:
        return [polygon([(x, y + 3), (x + 34, y + 3), (x + 34, y + 13), (x, y + 13)], **style)]

    def total(x: float, y: float) -> list[Mark]:
        return [polyline([(x, y + 8), (x + 34, y + 8)], width=1.6), *found_point(x + 17, y + 8)]

    items = [KeyItem("how often this is behind it", partial(sample, style=_ONE))]
    if several:
        items.append(KeyItem("several rarer ones together", partial(sample, style=_SEVERAL)))
    return (*items, KeyItem("this and all above it together", total))
