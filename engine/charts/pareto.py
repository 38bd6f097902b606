"""The Pareto chart: causes by how often each is behind it, the likeliest first, and their sum."""

from __future__ import annotations

from dataclasses import replace
from itertools import accumulate

from stillflow.engine.base import Model, in_percent, percent
from stillflow.engine.charts.chart import Chart, plot_chart
from stillflow.engine.charts.page import KeyItem, Room, Sheet, line_key, page_words
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.plotmarks import found_point
from stillflow.engine.charts.scene import Mark, Outline, Scene, Style, Text, polyline, rectangle
from stillflow.engine.charts.shapes import BAR, GREY, INK, NOTE_SIZE, TEXT_SIZE
from stillflow.engine.charts.text import LEADING, wrap

_ROW, _FILLED = 30.0, 0.53
"""Least height of a row in points, and the share of it that is bar."""
_USUAL, _LEAST = 670.0, 340.0
"""Usual and least width in points."""
_AT_THE_END = 26.0
"""Room to the right of the bars for the words of the scale."""
_TALLEST = 1.6
"""How many times its least height a row may have, where a page has room."""
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
    data = pareto.model_dump(mode="json")
    for bar, total in zip(data["bars"], _sums(pareto), strict=True):
        bar["sum"] = total
    alt = f"Causes, the likeliest first: {said}."
    key = _key(any(one.several for one in pareto.bars))
    return plot_chart("pareto", pareto.title, alt, data, key, lambda sheet: _draw(pareto, sheet))


def _sums(pareto: Pareto) -> list[float]:
    return list(accumulate(one.share for one in pareto.bars))


def _draw(pareto: Pareto, sheet: Sheet) -> list[Scene]:
    room = sheet.room()
    wide = _USUAL if room is None else max(room.width, _LEAST)
    least = _least_row(pareto, wide)
    most = len(pareto.bars)
    if room is not None:
        most = max(int((room.height - _TOP - 34) // least), 1)
    sums = _sums(pareto)
    # As many on each page, so that none is left with the last few.
    pages = -(-len(pareto.bars) // most)
    each = -(-len(pareto.bars) // pages)
    high = least if room is None else max((room.height - _TOP - 34) / each, least)
    plot = _Plot(wide, min(high, _TALLEST * least))
    scenes = []
    for number in range(pages):
        start = number * each
        part = pareto.bars[start : start + each]
        things = [("Share of calls", plot.frame(len(part)))]
        points = []
        for row, bar in enumerate(part):
            total = sums[start + row]
            things.append((f"{bar.title}: {percent(bar.share)}", plot.row(row, bar)))
            points.append((plot.x(total), plot.middle(row)))
        line: list[Mark] = [polyline(points, width=1.6)] if len(points) > 1 else []
        for place in points:
            line += found_point(*place)
        line = [replace(mark, role="figure") for mark in line if isinstance(mark, Outline)]
        things.append(("Their sum so far", line))
        size = Room(wide, plot.middle(len(part) - 0.5) + 34)
        scenes.append(sheet.compose(things, size, page_words(number + 1, pages)))
    return scenes


def _least_row(pareto: Pareto, wide: float) -> float:
    """The least height of a row that holds the longest name."""
    lines = max(len(wrap(bar.title, _names(wide) - 50, NOTE_SIZE)) for bar in pareto.bars)
    return max(lines * NOTE_SIZE * LEADING + 5, _ROW)


def _names(wide: float) -> float:
    """The room for names on a drawing of this width."""
    return min(max(0.38 * wide, 150.0), 330.0)


class _Plot:
    """Where bars stand, on a drawing of this width and with rows of this height."""

    def __init__(self, wide: float, high: float) -> None:
        self._high = high
        self._names = _names(wide)
        self._bars = wide - self._names - _AT_THE_END

    def x(self, share: float) -> float:
        return self._names + self._bars * min(share, 1.0)

    def middle(self, row: float) -> float:
        return _TOP + (row + 0.5) * self._high

    def frame(self, rows: int) -> list[Mark]:
        marks: list[Mark] = []
        bottom = self.middle(rows - 0.5)
        for share in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
            x = self.x(share)
            stroke = INK if share == 0.0 else "#cccccc"
            marks.append(polyline([(x, _TOP), (x, bottom)], stroke=stroke, width=0.6))
            words = in_percent(share)
            marks.append(Text(x, bottom + 14, words, NOTE_SIZE, "middle", False, GREY, "fixed"))
        name, foot = "share of the calls", bottom + 30
        marks.append(Text(self.x(0.5), foot, name, TEXT_SIZE, "middle", role="fixed"))
        return marks

    def row(self, row: int, bar: ParetoBar) -> list[Mark]:
        middle = self.middle(row)
        lines = wrap(bar.title, self._names - 50, NOTE_SIZE)
        marks: list[Mark] = []
        first = middle - (len(lines) - 1) * NOTE_SIZE * LEADING / 2 + NOTE_SIZE * 0.35
        for index, line in enumerate(lines):
            at = first + index * NOTE_SIZE * LEADING
            marks.append(Text(self._names - 46, at, line, NOTE_SIZE, "end", role="name"))
        share = percent(bar.share)
        marks.append(Text(self._names - 6, middle + 3.5, share, NOTE_SIZE, "end", bold=True))
        high, style = self._high * _FILLED, _SEVERAL if bar.several else _ONE
        box = rectangle(
            self.x(0.0), middle - high / 2, self.x(bar.share) - self.x(0.0), high, **style
        )
        marks.append(replace(box, role="figure"))
        return marks


def _key(several: bool) -> tuple[KeyItem, ...]:
    items = [KeyItem("how often this is behind it", [rectangle(0, 3, 34, 10, **_ONE)])]
    if several:
        sample = rectangle(0, 3, 34, 10, **_SEVERAL)
        items.append(KeyItem("several rarer ones together", [sample]))
    return (*items, line_key("this and all above it together", *found_point(17, 8), width=1.6))
