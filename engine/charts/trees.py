"""Trees on pages: pieces joined by straight lines, and numbered throughout.

Where to cut is decided in `paging`, where boxes stand in `tidy`; what they look like is left to
an artist (`decision`, `faults`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, product
from typing import Protocol

from stillflow.engine.charts.overview import OVERVIEW, Part, overview
from stillflow.engine.charts.page import HEADING_SIZE, Room, Sheet, page_words
from stillflow.engine.charts.paging import Cutter, Piece, Trunk
from stillflow.engine.charts.scene import Mark, Point, Role, Scene, Text, moved, polyline
from stillflow.engine.charts.shapes import NOTE_SIZE
from stillflow.engine.charts.text import width
from stillflow.engine.charts.tidy import Cell, Gaps, Size


@dataclass(frozen=True)
class Signs:
    """Where everything is: what connectors and the tops of pieces say.

    Attributes:
        number: the number of each node that goes on, by id, the same on every paper.
        page: the page (from 1) on which each node, or a later part of it, is drawn.
        origins: from which nodes connectors lead to each node, or to a later part of it.
    """

    number: Mapping[str, int]
    page: Mapping[tuple[str, int], int]
    origins: Mapping[tuple[str, int], tuple[str, ...]]

    def where(self, target: str, start: int, page: int) -> str:
        """Where a node, or a later part of it, is drawn, as said on page `page`."""
        there = self.page.get((target, start))
        return "this page" if there == page else f"page {there}"


class Artist(Protocol):
    """Draws the cells of one sort of tree."""

    @property
    def across(self) -> bool:
        """True for trees that grow to the right."""

    @property
    def gaps(self) -> Gaps:
        """Distances between boxes."""

    @property
    def stacks(self) -> bool:
        """True where ways on that are too many for a page are stacked."""

    def size(self, cell: Cell) -> Size:
        """Size of the cell's box in points; may not depend on page numbers."""

    def marks(self, cell: Cell, corner: Point, signs: Signs, page: int) -> list[Mark]:
        """The cell with its top left corner at `corner`, on page `page` (from 1)."""

    def words(self, cell: Cell) -> str:
        """The cell in words."""

    def title(self, target: str) -> str:
        """What a node is called."""

    def tells(self, target: str) -> Role:
        """What that title tells, for exercises."""

    def entry(self, cell: Cell, corner: Point) -> Point:
        """Where the line from above arrives."""

    def exit(self, cell: Cell, corner: Point) -> Point:
        """Where the lines to below leave."""


Page = list[list[Piece]]
"""The pieces of each of its lanes."""

_BETWEEN_LANES = 30.0
_SET = 4
"""Pages of a tree from which one before them says what stands where."""

Things = list[tuple[str, list[Mark]]]
"""What stands on a page, each thing with the words that say what it is."""


def draw_tree(
    trunk: Trunk,
    artists: Sequence[Artist],
    sheet: Sheet,
    beside: Callable[[float], Things] | None = None,
) -> list[Scene]:
    """All pages of a tree. Nothing is made smaller: what does not fit goes on another page.

    A poster, and a tree with something `beside` it, goes in up to three lanes where that takes
    fewer pages; the latter is made as small as can still be read, but no smaller, for that.

    Args:
        trunk: the tree.
        artists: of those whose pieces fit, the one that needs the fewest pages draws; the first
            of those that tie.
        sheet: what goes round each page.
        beside: what else there is, by heading, a page of its own each; where there is no paper it
            goes below the tree, of which it is told the width.
    """
    room = sheet.room()
    limit = None if room is None else Size(room.width, room.height)
    tries = []
    scales = dict.fromkeys((1.0, sheet.least() if beside else 1.0))
    several = (1, 2, 3) if beside or sheet.poster else (1,)
    for scale, lanes, artist in product(scales, several, artists):
        lane = None if limit is None else _lane(limit, scale, lanes, artist)
        cutter = Cutter(trunk, artist.size, artist.across, artist.gaps, lane, artist.stacks)
        slots = cutter.pages()
        pages = [slots[first : first + lanes] for first in range(0, len(slots), lanes)]
        tries.append((_excess(slots, lane), len(pages), pages, artist))
        if limit is None or tries[-1][:2] == (1.0, 1):
            break
    _, _, pages, artist = min(tries, key=lambda attempt: attempt[:2])
    first = 2 if room is not None and len(pages) >= _SET else 1
    signs = _signs(trunk, pages, first)
    drawn: list[tuple[Things, Room, tuple[str, ...]]] = []
    for number, page in enumerate(pages, first):
        things, size = _page(page, artist, signs, number)
        drawn.append((things, size, tuple(_names(page, artist, signs))))
    aside = beside(drawn[0][1].width) if beside else []
    entries = _entries(pages, artist, signs)
    for number, (heading, marks) in enumerate(aside, first + len(pages)):
        if room is not None:
            # The whole room is taken, so that nothing is enlarged or moved to the middle.
            drawn.append(([(heading, marks)], room, (heading,)))
            entries.append(Part(0, "", heading, number))
            continue
        things, size, names = drawn[0]
        below = [moved(mark, 0.0, size.height + 2 * HEADING_SIZE) for mark in marks]
        wide, high = _extent(below)
        drawn[0] = ([*things, (heading, below)], Room(max(size.width, wide), high), names)
    if room is not None and first > 1:
        drawn.insert(0, (overview(entries, room), room, (OVERVIEW,)))
    scenes = []
    for number, (things, size, parts) in enumerate(drawn, 1):
        scene = sheet.compose(things, size, page_words(number, len(drawn)))
        scene.parts = parts
        scenes.append(scene)
    return scenes


def _lane(limit: Size, scale: float, lanes: int, artist: Artist) -> Size:
    """What pieces have room for where a page is as many lanes side by side."""
    wide, high = limit.width / scale, limit.height / scale
    gaps = (lanes - 1) * _BETWEEN_LANES
    return Size((wide - gaps) / lanes, high) if artist.across else Size(wide, (high - gaps) / lanes)


def _names(page: Page, artist: Artist, signs: Signs) -> Iterator[str]:
    for piece in chain.from_iterable(page):
        name = artist.title(piece.top.target)
        step = signs.number.get(piece.top.target)
        yield name if step is None else f"{step}. {name}"


def _extent(marks: Sequence[Mark]) -> tuple[float, float]:
    """How far lines of words reach to the right and down."""
    words = [mark for mark in marks if isinstance(mark, Text)]
    right = max(one.x + width(one.text, one.size, one.bold) for one in words)
    return right, max(one.y for one in words) + NOTE_SIZE


def _excess(slots: list[list[Piece]], limit: Size | None) -> float:
    """How many times the largest piece is larger than a page; 1 where all fit."""
    if limit is None:
        return 1.0
    rooms = [piece.places.room for pieces in slots for piece in pieces]
    wide = max(room.width for room in rooms) / limit.width
    return max(wide, max(room.height for room in rooms) / limit.height, 1.0)


def _entries(pages: list[Page], artist: Artist, signs: Signs) -> list[Part]:
    """The pieces of all pages as a tree in reading order, each below where it is first led to."""
    pieces = chain.from_iterable(chain.from_iterable(pages))
    tops = {(piece.top.target, piece.top.start): piece for piece in pieces}
    entries: list[Part] = []
    waiting = [(next(iter(tops)), 0, "")]
    seen: set[tuple[str, int]] = set()
    while waiting:
        key, depth, answer = waiting.pop()
        if key in seen or key not in tops:
            continue
        seen.add(key)
        name, start = key
        words, tells = artist.title(name) + (" (the rest)" if start else ""), artist.tells(name)
        if answer and not tells:
            words, tells = f"{answer}: {words}", "answer"
        number = str(signs.number.get(name, ""))
        entries.append(Part(depth, number, words, signs.page[key], tells))
        cells = [one for box in tops[key].top.walk() for one in box.connectors()]
        waiting += [
            ((one.target, one.start), depth + 1, one.twig.words if one.twig else "")
            for one in reversed(cells)
        ]
    return entries


def _signs(trunk: Trunk, pages: list[Page], first: int) -> Signs:
    page_of: dict[tuple[str, int], int] = {}
    origins: dict[tuple[str, int], list[str]] = {}
    for index, page in enumerate(pages, first):
        for cell in (one for piece in chain.from_iterable(page) for one in piece.top.walk()):
            if cell.full and not cell.held:
                page_of.setdefault((cell.target, cell.start), index)
            for child in (one for box in cell.below for one in box.connectors()):
                origins.setdefault((child.target, child.start), []).append(cell.target)
    found = {key: tuple(origin) for key, origin in origins.items()}
    return Signs(_numbers(trunk), page_of, found)


def _numbers(trunk: Trunk) -> dict[str, int]:
    """The number of each node that goes on, from the top down and the first way first."""
    number: dict[str, int] = {}
    waiting = [trunk.root]
    while waiting:
        name = waiting.pop()
        if trunk.twigs[name] and name not in number:
            number[name] = len(number) + 1
            waiting.extend(twig.to for twig in reversed(trunk.twigs[name]))
    return number


def _page(
    page: Page, artist: Artist, signs: Signs, number: int
) -> tuple[list[tuple[str, list[Mark]]], Room]:
    """What one page shows, its lanes beside one another, and how much room it takes."""
    lines: list[Mark] = []
    things: list[tuple[str, list[Mark]]] = [("", lines)]
    gap = artist.gaps.between
    wide = high = 0.0
    for pieces in page:
        # Where the lane begins, and how far it goes along and across its pieces.
        x, y = (wide, 0.0) if artist.across else (0.0, high)
        if x or y:
            x, y = (x + _BETWEEN_LANES, y) if artist.across else (x, y + _BETWEEN_LANES)
        for piece in pieces:
            corners = piece.places.corners
            for cell in piece.top.walk():
                for child in cell.below:
                    start = artist.exit(cell, corners[cell])
                    end = artist.entry(child, corners[child])
                    lines.append(moved(_elbow(start, end, artist), x, y))
                marks = artist.marks(cell, corners[cell], signs, number)
                things.append((artist.words(cell), [moved(mark, x, y) for mark in marks]))
            room = piece.places.room
            wide, high = max(wide, x + room.width), max(high, y + room.height)
            x, y = (x, y + room.height + gap) if artist.across else (x + room.width + gap, y)
    return things, Room(wide, high)


def _elbow(start: Point, end: Point, artist: Artist) -> Mark:
    half = artist.gaps.between / 2
    if artist.across:
        turn = end[0] - half
        return polyline([start, (turn, start[1]), (turn, end[1]), end], width=1.1)
    turn = end[1] - half
    return polyline([start, (start[0], turn), (end[0], turn), end], width=1.1)
