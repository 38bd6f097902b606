"""The sheet round a drawing: paper sizes, the title on top, the key and the small print below.

What is drawn in the middle is left to the charts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple, Unpack

from stillflow.engine.charts.arrows import arrow
from stillflow.engine.charts.picture import KIND_WORDS, Line, NodeKind, TitleBlock
from stillflow.engine.charts.scene import (
    Mark,
    Role,
    Scene,
    Style,
    Text,
    magnified,
    moved,
    polyline,
)
from stillflow.engine.charts.shapes import GREY, LOOKS, NOTE_SIZE, TEXT_SIZE, Box
from stillflow.engine.charts.text import LEADING, width, wrap

PaperName = Literal["a4", "a3", "a2", "a1", "a0", "letter", "tabloid"]

PAPERS: dict[PaperName, tuple[float, float]] = {
    "a4": (841.89, 595.28),
    "a3": (1190.55, 841.89),
    "a2": (1683.78, 1190.55),
    "a1": (2383.94, 1683.78),
    "a0": (3370.39, 2383.94),
    "letter": (792.0, 612.0),
    "tabloid": (1224.0, 792.0),
}
"""Width and height in points, lying on the long side (ISO 216; ANSI/ASME Y14.1 A and B)."""

POSTERS: tuple[PaperName, ...] = ("a2", "a1", "a0")
"""Papers that are read from across a room."""

LEAST_TYPE, LEAST_POSTER_TYPE = 8.0, 14.0
"""Points of the smallest type that can be read in the hand, and from two metres."""

MARGIN = 28.35
HEADING_SIZE, _POSTER_HEADING = 17.0, 32.0
_LEAST_WIDTH = 540.0
_LARGEST = 1.25
_GAP = 14.0


class Paper(NamedTuple):
    """A sheet to draw on: `PAPERS` name, upright or lying, and how much larger than usual.

    With `scale` 1 the smallest type is `NOTE_SIZE`. `asked` says that somebody wants that size.
    """

    name: PaperName
    portrait: bool = False
    scale: float = 1.0
    asked: bool = False

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in points before it is magnified."""
        wide, high = PAPERS[self.name]
        if self.portrait:
            wide, high = high, wide
        return wide / self.scale, high / self.scale


def paper_of(name: PaperName, portrait: bool = False, text_size: float | None = None) -> Paper:
    """A sheet on which the smallest type has this size in points.

    Usually `NOTE_SIZE`, or on a poster what can be read from across a room.
    """
    least = LEAST_POSTER_TYPE if name in POSTERS else NOTE_SIZE
    return Paper(name, portrait, (text_size or least) / NOTE_SIZE, text_size is not None)


OnPaper = PaperName | Paper | None
"""What a chart is drawn on; with None one page as large as it needs."""


@dataclass(frozen=True)
class KeyItem:
    """One entry of the key: its words, and a sample with its top left corner at (0, 0)."""

    words: str
    sample: Sequence[Mark]


class Room(NamedTuple):
    """Width and height in points that a sheet leaves for the drawing."""

    width: float
    height: float


class Body(NamedTuple):
    """What stands in the middle of a sheet: its things with their words, its size, and its key."""

    things: list[tuple[str, list[Mark]]]
    size: Room
    key: tuple[KeyItem, ...]


@dataclass(frozen=True)
class Sheet:
    """All that is the same on every page of one chart."""

    title: TitleBlock
    alt: str
    key: tuple[KeyItem, ...]
    paper: OnPaper = None
    subtitle_tells: Role = "fixed"

    @property
    def _paper(self) -> Paper:
        assert self.paper is not None
        return self.paper if isinstance(self.paper, Paper) else paper_of(self.paper)

    @property
    def poster(self) -> bool:
        """Whether it is read from across a room."""
        return self.paper is not None and self._paper.name in POSTERS

    def room(self) -> Room | None:
        """What the paper leaves for the drawing; None where no paper was chosen."""
        if self.paper is None:
            return None
        w, h = self._paper.size
        inner = w - 2 * MARGIN
        (_, top), (_, bottom) = self._header(inner, ""), self._footer(inner)
        return Room(inner, h - 2 * MARGIN - top - bottom - 2 * _GAP)

    def least(self) -> float:
        """How much smaller type may be made here and still be read, up to 1."""
        if self.paper is None or self._paper.asked:
            return 1.0
        least = LEAST_POSTER_TYPE if self._paper.name in POSTERS else LEAST_TYPE
        return min(least / (NOTE_SIZE * self._paper.scale), 1.0)

    def compose(
        self, marks: Sequence[tuple[str, Sequence[Mark]]], size: Room, page: str = ""
    ) -> Scene:
        """Put a drawing on its sheet.

        Args:
            marks: the drawing's things, each with the words that say what it is.
            size: extent of the drawing in points, from (0, 0).
            page: "page 2 of 9", or nothing.

        Without a paper the sheet is as large as the drawing needs; with one, the drawing is
        enlarged a little or made smaller so that it fits.
        """
        room = self.room()
        scale = 1.0
        if room is None:
            inner = max(size.width, _LEAST_WIDTH)
        else:
            inner = room.width
            scale = min(room.width / size.width, room.height / size.height)
            if self._paper.name not in POSTERS:
                scale = min(scale, _LARGEST)
        header, over = self._header(inner, page)
        footer, below = self._footer(inner)
        high = size.height * scale if room is None else room.height
        total = high + 2 * MARGIN + over + below + 2 * _GAP
        scene = Scene(
            inner + 2 * MARGIN,
            total,
            f"{self.title.title}, {page}" if page else self.title.title,
            self.alt,
        )
        top = MARGIN + over + _GAP
        scene.add("", [moved(mark, MARGIN, MARGIN) for mark in header])
        dx = MARGIN + max((inner - size.width * scale) / 2, 0.0)
        dy = top + max((high - size.height * scale) / 2, 0.0)
        for words, things in marks:
            scene.add(words, [moved(mark, dx, dy, scale) for mark in things])
        scene.add("", [moved(mark, MARGIN, top + high + _GAP) for mark in footer])
        return scene if self.paper is None else magnified(scene, self._paper.scale)

    def _header(self, inner: float, page: str) -> tuple[list[Mark], float]:
        """What stands over the drawing, and how high that is."""
        marks: list[Mark] = []
        size = _POSTER_HEADING if self.poster else HEADING_SIZE
        room = inner - 110
        y = 0.0
        for line in wrap(self.title.title, room, size, bold=True):
            y += size * LEADING
            marks.append(Text(0, y - size * 5 / HEADING_SIZE, line, size, bold=True, role="fixed"))
        if page:
            words = Text(
                inner, size * LEADING - size * 5 / HEADING_SIZE, page, TEXT_SIZE, "end", True
            )
            marks.append(replace(words, role="fixed"))
        for line in wrap(self.title.subtitle, inner, TEXT_SIZE):
            y += TEXT_SIZE * LEADING
            marks.append(Text(0, y - 2, line, TEXT_SIZE, role=self.subtitle_tells))
        y += 4
        marks.append(polyline([(0, y), (inner, y)], width=1.6))
        return marks, y

    def _footer(self, inner: float) -> tuple[list[Mark], float]:
        """What stands below the drawing, and how high that is."""
        marks: list[Mark] = [polyline([(0, 0), (inner, 0)], width=0.8)]
        y, x = 8.0, 0.0
        for item in self.key:
            needed = 36 + 5 + width(item.words, NOTE_SIZE)
            if x and x + needed > inner:
                x, y = 0.0, y + 22
            marks += [moved(mark, x, y) for mark in item.sample]
            marks.append(Text(x + 41, y + 11.5, item.words, NOTE_SIZE, role="fixed"))
            x += needed + 16
        if self.key:
            y += 24
        for line in wrap(self.title.footer(), inner, NOTE_SIZE):
            y += NOTE_SIZE * LEADING
            marks.append(Text(0, y - 3, line, NOTE_SIZE, colour=GREY, role="fixed"))
        return marks, y


def kind_key(kinds: Sequence[NodeKind]) -> tuple[KeyItem, ...]:
    """The key to the kinds of boxes on a chart."""
    looks = ((kind, LOOKS[kind]) for kind in kinds)
    place = Box(0, 0, 34, 16)
    return tuple(KeyItem(KIND_WORDS[kind], look.outline(place, look.style)) for kind, look in looks)


def arrow_key(words: str, line: Line) -> KeyItem:
    """The key to a kind of arrow."""
    start, end = (0.0, 8.0), (34.0, 8.0)
    return KeyItem(words, arrow((start, start, end, end), end, line, 1.4))


def line_key(words: str, *on_it: Mark, **style: Unpack[Style]) -> KeyItem:
    """The key to a line of a graph, and to what marks values on it."""
    return KeyItem(words, (polyline([(0, 8), (34, 8)], **style), *on_it))


def page_words(number: int, count: int) -> str:
    """Which page of how many it is; nothing where there is only one."""
    return f"page {number} of {count}" if count > 1 else ""
