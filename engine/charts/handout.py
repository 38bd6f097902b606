"""Pages of words to hand out: headings, lists, and lines to write on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from stillflow.engine.base import Model
from stillflow.engine.charts.chart import PLOTTED, Chart
from stillflow.engine.charts.gates import GATE_WORDS, gate_key
from stillflow.engine.charts.page import (
    KeyItem,
    OnPaper,
    Paper,
    Room,
    Sheet,
    arrow_key,
    kind_key,
    paper_of,
)
from stillflow.engine.charts.picture import ARROW_WORDS, KIND_WORDS, NodeKind, Picture, TitleBlock
from stillflow.engine.charts.scene import Mark, Scene, Text, moved, polyline
from stillflow.engine.charts.shapes import GREY, LOOKS, TEXT_SIZE, TITLE_SIZE
from stillflow.engine.charts.text import LEADING, wrap

_RULE = 26.0
"""Between lines to write on, in points: room for a hand."""
_FEW = 4
"""Lines that make it worth while to begin to write on a sheet."""


class HandoutPart(Model):
    """A heading with what stands below it: sentences, and empty lines to write on.

    `write` is how many lines there are to write on; those of a page's last part fill what is left
    of its sheet instead, so that nobody is told by their number how much there is to say.
    """

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
    # Of charts before and after an answer, one outline has two meanings, said in one entry.
    alike: dict[object, list[NodeKind]] = {}
    for kind in NodeKind:
        look = LOOKS[kind]
        if kind is not NodeKind.EVENT:
            alike.setdefault((look.outline, look.fill, look.dash, look.ink), []).append(kind)
    symbols = tuple(
        replace(kind_key(kinds)[0], words="; or ".join(KIND_WORDS[kind] for kind in kinds))
        for kinds in alike.values()
    )
    lines = (arrow_key(words, line) for line, words in ARROW_WORDS.items())
    return (*symbols, *lines, *gate_key(set(GATE_WORDS)))


def handout_chart(handout: Handout, name: str = "handout", key: tuple[KeyItem, ...] = ()) -> Chart:
    """The pages to render; without a paper, on A4 upright.

    Args:
        handout: the pages.
        name: what they are.
        key: symbols to explain at the foot of each page.
    """
    alt = f"{len(handout.pages)} pages: " + "; ".join(page.heading for page in handout.pages)
    picture = Picture(handout.title, alt)
    data = handout.model_dump(mode="json")

    def pages(paper: OnPaper) -> list[Scene]:
        return _draw(handout, picture, paper, key)

    return Chart(name, picture, data, pages, PLOTTED)


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
    """What stands on each sheet of a page."""
    marks: list[Mark] = []
    y = 0.0
    for high, made in _heading(page, room.width):
        marks += [moved(mark, 0.0, y) for mark in made]
        y += high
    for part in page.parts:
        rows = list(_rows(part, room.width))
        # What is to be written belongs below its heading, with room to write.
        together = sum(high for high, _ in rows) + _RULE * min(part.write, _FEW)
        if part.write and y + together > room.height:
            yield marks
            marks, y = [], 0.0
        for high, made in rows:
            if y + high > room.height:
                yield marks
                marks, y = [], 0.0
            marks += [moved(mark, 0.0, y) for mark in made]
            y += high
        fits = int((room.height - y) / _RULE)
        for _ in range((fits if part is page.parts[-1] else part.write) if part.write else 0):
            marks.append(_line(y, room.width))
            y += _RULE
    yield marks


def _line(y: float, wide: float) -> Mark:
    below = y + _RULE - 4
    return polyline([(0, below), (wide, below)], stroke=GREY, width=0.6)


def _heading(page: HandoutPage, wide: float) -> Iterator[tuple[float, list[Text]]]:
    """The rows of a page's heading, as `_rows`."""
    size = TITLE_SIZE + 3
    for line in wrap(page.heading, wide, size, bold=True):
        yield size * LEADING + 4, [Text(0, size, line, size, bold=True)]


def _rows(part: HandoutPart, wide: float) -> Iterator[tuple[float, list[Text]]]:
    """Each row's height, and what stands on it, as if its top were at 0: no lines to write on."""
    yield 10.0, []
    for line in wrap(part.heading, wide, TITLE_SIZE, bold=True):
        yield TITLE_SIZE * LEADING + 2, [Text(0, TITLE_SIZE, line, TITLE_SIZE, bold=True)]
    for number, words in enumerate(part.lines, 1):
        mark = f"{number}." if part.numbered else "–"
        for index, line in enumerate(wrap(words, wide - 26, TEXT_SIZE)):
            row = [Text(26, TEXT_SIZE, line, TEXT_SIZE)]
            if not index:
                row.append(Text(4, TEXT_SIZE, mark, TEXT_SIZE))
            yield TEXT_SIZE * LEADING + (2 if not index else 0), row
