"""Pages of words to hand out: headings, lists, and lines to write on."""

from __future__ import annotations

from collections.abc import Iterator

from stillflow.engine.base import Model
from stillflow.engine.charts.chart import Chart, Format
from stillflow.engine.charts.gates import GATE_WORDS, gate_key
from stillflow.engine.charts.page import (
    KeyItem,
    OnPaper,
    Paper,
    Room,
    Sheet,
    kind_key,
    line_key,
    paper_of,
)
from stillflow.engine.charts.picture import NodeKind, Picture, TitleBlock
from stillflow.engine.charts.scene import Mark, Scene, Text, polyline
from stillflow.engine.charts.shapes import GREY, TEXT_SIZE, TITLE_SIZE
from stillflow.engine.charts.text import LEADING, wrap

HANDOUT_FORMATS: tuple[Format, ...] = ("svg", "png", "pdf", "json")
_RULE = 26.0
"""Between lines to write on, in points: room for a hand."""


class HandoutPart(Model):
    """A heading with what stands below it: sentences, and empty lines to write on."""

    heading: str
    lines: tuple[str, ...] = ()
    write: int = 0
    numbered: bool = False


class HandoutPage(Model):
    """One page, or as many sheets as it takes: its heading and its parts."""

    heading: str
    parts: tuple[HandoutPart, ...]


class Handout(Model):
    """All pages, under one title."""

    title: TitleBlock
    pages: tuple[HandoutPage, ...]


def whole_key() -> tuple[KeyItem, ...]:
    """The key to every symbol that any chart of boxes uses."""
    kinds = [kind for kind in NodeKind if kind is not NodeKind.EVENT]
    lines = line_key([("speaks for; thicker is stronger", "for"), ("speaks against", "against")])
    return (*kind_key(kinds), *lines, *gate_key(set(GATE_WORDS)))


def handout_chart(handout: Handout, name: str = "handout", key: tuple[KeyItem, ...] = ()) -> Chart:
    """The pages to render; without a paper, on A4 upright.

    Args:
        handout: the pages.
        name: what they are.
        key: symbols to explain at the foot of each page.
    """
    alt = f"{len(handout.pages)} pages: " + "; ".join(page.heading for page in handout.pages)
    picture = Picture(handout.title, alt, (), ())
    data = handout.model_dump(mode="json")

    def pages(paper: OnPaper) -> list[Scene]:
        return _draw(handout, picture, paper, key)

    return Chart(name, picture, data, pages, HANDOUT_FORMATS)


def _draw(
    handout: Handout, picture: Picture, paper: OnPaper, key: tuple[KeyItem, ...]
) -> list[Scene]:
    on = paper or paper_of("a4", portrait=True)
    on = on if isinstance(on, Paper) else paper_of(on)
    sheet = Sheet(handout.title, picture.alt, key, on)
    room = sheet.room()
    assert room is not None
    sheets = [(page.heading, marks) for page in handout.pages for marks in _flow(page, room)]
    scenes = []
    for number, (heading, marks) in enumerate(sheets, 1):
        # The whole room is taken, so that nothing is enlarged or moved to the middle.
        scene = sheet.compose([(heading, marks)], room, f"page {number} of {len(sheets)}")
        scene.parts = (heading,)
        scenes.append(scene)
    return scenes


def _flow(page: HandoutPage, room: Room) -> Iterator[list[Mark]]:
    marks: list[Mark] = []
    y = 0.0
    for high, made in _rows(page, room.width):
        if y + high > room.height and marks:
            yield marks
            marks, y = [], 0.0
        marks += [_at(mark, y) for mark in made]
        y += high
    yield marks


def _at(mark: Text | tuple[float, float], y: float) -> Mark:
    if isinstance(mark, Text):
        return Text(mark.x, mark.y + y, mark.text, mark.size, bold=mark.bold, colour=mark.colour)
    return polyline([(mark[0], y + _RULE - 4), (mark[1], y + _RULE - 4)], stroke=GREY, width=0.6)


def _rows(
    page: HandoutPage, wide: float
) -> Iterator[tuple[float, list[Text | tuple[float, float]]]]:
    """Each row's height, and what stands on it, as if its top were at 0."""
    for line in wrap(page.heading, wide, TITLE_SIZE + 3, bold=True):
        size = TITLE_SIZE + 3
        yield size * LEADING + 4, [Text(0, size, line, size, bold=True)]
    for part in page.parts:
        yield 10.0, []
        for line in wrap(part.heading, wide, TITLE_SIZE, bold=True):
            yield TITLE_SIZE * LEADING + 2, [Text(0, TITLE_SIZE, line, TITLE_SIZE, bold=True)]
        for number, words in enumerate(part.lines, 1):
            mark = f"{number}." if part.numbered else "–"
            for index, line in enumerate(wrap(words, wide - 26, TEXT_SIZE)):
                row: list[Text | tuple[float, float]] = [Text(26, TEXT_SIZE, line, TEXT_SIZE)]
                if not index:
                    row.append(Text(4, TEXT_SIZE, mark, TEXT_SIZE))
                yield TEXT_SIZE * LEADING + (2 if not index else 0), row
        for _ in range(part.write):
            yield _RULE, [(0.0, wide)]
