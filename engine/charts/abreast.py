"""Several charts of one sort side by side, such as cases to be compared."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

from stillflow.engine.charts.chart import PLOTTED, Chart
from stillflow.engine.charts.page import Body, OnPaper, Room, Sheet, page_words
from stillflow.engine.charts.picture import Picture, TitleBlock
from stillflow.engine.charts.scene import Mark, Role, Scene, Text, moved
from stillflow.engine.charts.shapes import NOTE_SIZE, TITLE_SIZE
from stillflow.engine.charts.text import LEADING, wrap

_GAP = 26.0
_ROOMY = Room(560.0, 400.0)
"""What each has where there is no paper."""


def side_by_side(title: TitleBlock, charts: Sequence[Chart], tells: Role = "fixed") -> Chart:
    """Charts that have a `body`, as many on a page as can be read, each under its own heading.

    Args:
        title: of all of them.
        charts: two or more.
        tells: what their subtitles tell, for exercises.
    """
    alt = " ".join(
        f"{number}. {chart.picture.title.title}: {chart.picture.alt}"
        for number, chart in enumerate(charts, 1)
    )
    picture = Picture(title, alt)
    data = {"title": title.model_dump(mode="json"), "cases": [chart.data for chart in charts]}
    return Chart(
        charts[0].name,
        picture,
        data,
        lambda paper: _draw(picture, charts, paper, tells),
        PLOTTED,
    )


def _draw(picture: Picture, charts: Sequence[Chart], paper: OnPaper, tells: Role) -> list[Scene]:
    least = [_body(chart, Room(0.0, 0.0)) for chart in charts]
    key = max((body.key for body in least), key=len)
    sheet = Sheet(picture.title, picture.alt, key, paper)
    room = sheet.room()
    columns, rows = min(len(charts), 2), -(-len(charts) // 2)
    cell = _ROOMY
    if room is not None:
        need = Room(
            max(body.size.width for body in least),
            max(
                body.size.height + _heading(0, chart, body.size.width, tells)[1]
                for chart, body in zip(charts, least, strict=True)
            ),
        )
        columns, rows = _grid(room, need, len(charts), sheet.least())
        cell = Room(
            max((room.width - _GAP * (columns - 1)) / columns, need.width),
            max((room.height - _GAP * (rows - 1)) / rows, need.height),
        )
    on_page = columns * rows
    starts = range(0, len(charts), on_page)
    scenes = []
    for number, start in enumerate(starts, 1):
        things: list[tuple[str, list[Mark]]] = []
        wide = high = top = 0.0
        part = list(enumerate(charts[start : start + on_page], start + 1))
        for first in range(0, len(part), columns):
            left = tallest = 0.0
            for place, chart in part[first : first + columns]:
                head, over = _heading(place, chart, cell.width, tells)
                body = _body(chart, Room(cell.width, cell.height - over))
                things += [(words, [moved(m, left, top) for m in marks]) for words, marks in head]
                things += [
                    (words, [moved(m, left, top + over) for m in marks])
                    for words, marks in body.things
                ]
                wide = max(wide, left + body.size.width)
                tallest = max(tallest, over + body.size.height)
                left += max(cell.width, body.size.width) + _GAP
            top += tallest + _GAP
        high = top - _GAP
        scenes.append(sheet.compose(things, Room(wide, high), page_words(number, len(starts))))
    return scenes


def _grid(room: Room, need: Room, count: int, least: float) -> tuple[int, int]:
    """Columns and rows of a page: as many as can be read, and of those the largest."""

    def scale(columns: int, rows: int) -> float:
        wide = columns * need.width + (columns - 1) * _GAP
        return min(room.width / wide, room.height / (rows * need.height + (rows - 1) * _GAP), 1.0)

    ways = [
        (columns, rows)
        for columns, rows in product(range(1, count + 1), repeat=2)
        if columns * rows < count + columns and scale(columns, rows) >= least
    ]
    return max(
        ways, key=lambda way: (min(way[0] * way[1], count), scale(*way), way[0]), default=(1, 1)
    )


def _body(chart: Chart, room: Room) -> Body:
    assert chart.body is not None
    return chart.body(room)


def _heading(
    number: int, chart: Chart, wide: float, tells: Role
) -> tuple[list[tuple[str, list[Mark]]], float]:
    """The name of one of them and what is said of it, and how much room both take."""
    title = chart.picture.title
    name = f"{number}. {title.title}".rstrip(". ")
    marks: list[Mark] = []
    y = 0.0
    for line in wrap(name, wide, TITLE_SIZE + 2, bold=True):
        y += (TITLE_SIZE + 2) * LEADING
        marks.append(Text(0, y - 3, line, TITLE_SIZE + 2, bold=True, role="fixed"))
    for line in wrap(title.subtitle, wide, NOTE_SIZE):
        y += NOTE_SIZE * LEADING
        marks.append(Text(0, y - 2, line, NOTE_SIZE, role=tells))
    return [(name, marks)], y + 10.0
