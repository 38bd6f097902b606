"""The history of a house: what was read over the years, beside what was expected, fixes marked."""

from __future__ import annotations

from math import ceil, floor

from stillflow.engine.base import Model
from stillflow.engine.charts.chart import Chart, plot_chart
from stillflow.engine.charts.page import KeyItem, Room, Sheet, line_key
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.plotmarks import expected_point, found_point, on_white, round_up
from stillflow.engine.charts.scene import Mark, Point, Scene, Text, moved, polygon, polyline
from stillflow.engine.charts.shapes import GREY, INK, NOTE_SIZE, TEXT_SIZE

_SIZE = Room(560.0, 190.0)
_LEFT, _BOTTOM, _TOP, _RIGHT = 44.0, 26.0, 30.0, 20.0


class HistoryPoint(Model):
    """One reading: year with its fraction, inH2O, and the fix that came before it, if any."""

    year: float
    suction: float
    expected: float
    fix: str


class HistorySeries(Model):
    """The readings of one spot, oldest first; the trend and the warning in words."""

    name: str
    state: str
    points: tuple[HistoryPoint, ...]
    drift: str
    warning: str


class History(Model):
    """A house over the years.

    Attributes:
        weak: share of expected below which suction is weak.
    """

    title: TitleBlock
    series: tuple[HistorySeries, ...]
    weak: float


def history_chart(data: History) -> Chart:
    """The chart to render: one panel for each spot. It is no graph of boxes."""
    said = [f"{one.name}: {_in_words(one)}" for one in data.series]
    alt = f"Readings over the years. {' '.join(said)}"

    def draw(sheet: Sheet) -> list[Scene]:
        each = _SIZE.height + 12.0
        room = sheet.room()
        fit = max(1, len(data.series) if room is None else int(room.height // each))
        cuts = range(0, max(len(data.series), 1), fit)
        return [_page(sheet, data, data.series[cut : cut + fit]) for cut in cuts]

    return plot_chart("history", data.title, alt, data.model_dump(mode="json"), _key(), draw)


def _page(sheet: Sheet, data: History, series: tuple[HistorySeries, ...]) -> Scene:
    things: list[tuple[str, list[Mark]]] = []
    for index, one in enumerate(series):
        down = index * (_SIZE.height + 12.0)
        for words, marks in _panel(one, data.weak):
            things.append((words, [moved(mark, 0.0, down) for mark in marks]))
    return sheet.compose(things, Room(_SIZE.width, max(len(series), 1) * (_SIZE.height + 12.0)))


def _key() -> tuple[KeyItem, ...]:
    return (
        line_key("expected", *expected_point(17, 8), dash="dashed", width=1.2),
        line_key("read", *found_point(17, 8), width=2.0),
        line_key("weak below this", dash="dotted", width=1.4),
        KeyItem("after a fix", _fix_mark(17.0, 8.0)),
    )


def _fix_mark(x: float, y: float) -> list[Mark]:
    return [polygon([(x - 5, y + 4), (x + 5, y + 4), (x, y - 5)], fill="#ffffff", width=1.4)]


def _panel(one: HistorySeries, weak: float) -> list[tuple[str, list[Mark]]]:
    years = [point.year for point in one.points]
    first, last = floor(min(years)), ceil(max(years) + 0.01)
    most = round_up(max(max(point.suction, point.expected) for point in one.points) * 1.05)
    wide, high = _SIZE.width - _LEFT - _RIGHT, _SIZE.height - _TOP - _BOTTOM

    def at(year: float, suction: float) -> Point:
        share = (year - first) / (last - first)
        return _LEFT + wide * share, _TOP + high * (1 - suction / most)

    axes: list[Mark] = [Text(0, 12, one.name.capitalize(), TEXT_SIZE, bold=True)]
    axes.append(Text(_SIZE.width - _RIGHT, 12, one.drift, NOTE_SIZE, "end", colour=GREY))
    step = most / 4
    for index in range(5):
        x, y = at(first, step * index)
        axes.append(polyline([(x, y), at(last, step * index)], stroke="#cccccc", width=0.5))
        axes.append(Text(x - 6, y + 3.5, f"{step * index:g}", NOTE_SIZE, "end", colour=GREY))
    every = max(1, (last - first) // 10)
    for year in range(first, last + 1, every):
        x, y = at(year, 0)
        axes.append(Text(x, y + 14, str(year), NOTE_SIZE, "middle", colour=GREY))
    axes.append(polyline([at(first, most), at(first, 0), at(last, 0)], stroke=INK))
    things: list[tuple[str, list[Mark]]] = [("Suction in inH2O over the years", axes)]
    # What was expected of a single reading holds for all of the year that is drawn.
    along = [(p.year, p) for p in one.points]
    along = along if len(along) > 1 else [(year, one.points[0]) for year in (first, last)]
    things += [
        ("Expected", [polyline([at(year, p.expected) for year, p in along], dash="dashed")]),
        ("Weak", [polyline([at(year, weak * p.expected) for year, p in along], dash="dotted")]),
    ]
    if len(one.points) > 1:
        read = [at(p.year, p.suction) for p in one.points]
        things.append(("Read", [polyline(read, width=2.0)]))
    for point in one.points:
        x, y = at(point.year, point.suction)
        marks = [*expected_point(*at(point.year, point.expected)), *found_point(x, y)]
        if point.fix:
            marks += _fix_mark(x, _SIZE.height - _BOTTOM - 8)
        # On the side away from what was expected, which it would hide.
        beside = y - 9 if point.suction >= point.expected else y + 9 + 0.8 * NOTE_SIZE
        marks += on_white(Text(x, beside, f"{point.suction:.0f}", NOTE_SIZE, "middle"))
        after = f", after: {point.fix}" if point.fix else ""
        words = f"{point.year:.1f}: {point.suction:.0f} of {point.expected:.0f} inH2O{after}"
        things.append((words, marks))
    if one.warning:
        low = _SIZE.height + 4
        things.append(("", [Text(_LEFT, low, one.warning, NOTE_SIZE, bold=True)]))
    return things


def _in_words(one: HistorySeries) -> str:
    read = ", ".join(
        f"{point.suction:.0f} of {point.expected:.0f} in {floor(point.year)}"
        for point in one.points
    )
    return f"{read}. {one.drift}. {one.warning}".strip()
