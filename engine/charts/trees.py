"""Trees on pages: pieces joined by straight lines, and numbered throughout.

Where to cut is decided in `paging`, where boxes stand in `tidy`; what they look like is left to
an artist (`decision`, `faults`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from stillflow.engine.charts.page import Room, Sheet
from stillflow.engine.charts.paging import Cutter, Piece, Trunk
from stillflow.engine.charts.scene import Mark, Point, Scene, moved, polyline
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

    def entry(self, cell: Cell, corner: Point) -> Point:
        """Where the line from above arrives."""

    def exit(self, cell: Cell, corner: Point) -> Point:
        """Where the lines to below leave."""


def draw_tree(trunk: Trunk, artists: Sequence[Artist], sheet: Sheet) -> list[Scene]:
    """All pages of a tree. Nothing is made smaller: what does not fit goes on another page.

    Args:
        trunk: the tree.
        artists: of those whose pieces fit, the one that needs the fewest pages draws; the first
            of those that tie.
        sheet: what goes round each page.
    """
    room = sheet.room()
    limit = None if room is None else Size(room.width, room.height)
    tries = []
    for artist in artists:
        pages = Cutter(trunk, artist.size, artist.across, artist.gaps, limit, artist.stacks).pages()
        tries.append((_excess(pages, limit), len(pages), pages, artist))
        if tries[-1][:2] == (1.0, 1):
            break
    _, _, pages, artist = min(tries, key=lambda attempt: attempt[:2])
    signs = _signs(trunk, pages)
    scenes = []
    for number, pieces in enumerate(pages, 1):
        things, size = _page(pieces, artist, signs, number)
        label = f"page {number} of {len(pages)}" if len(pages) > 1 else ""
        scene = sheet.compose(things, size, label)
        for piece in pieces:
            name = artist.title(piece.top.target)
            step = signs.number.get(piece.top.target)
            scene.parts += (name if step is None else f"{step}. {name}",)
        scenes.append(scene)
    return scenes


def _excess(pages: list[list[Piece]], limit: Size | None) -> float:
    """How many times the largest piece is larger than a page; 1 where all fit."""
    if limit is None:
        return 1.0
    rooms = [piece.places.room for pieces in pages for piece in pieces]
    wide = max(room.width for room in rooms) / limit.width
    return max(wide, max(room.height for room in rooms) / limit.height, 1.0)


def _signs(trunk: Trunk, pages: list[list[Piece]]) -> Signs:
    page_of: dict[tuple[str, int], int] = {}
    origins: dict[tuple[str, int], list[str]] = {}
    for index, pieces in enumerate(pages, 1):
        for cell in (cell for piece in pieces for cell in piece.top.walk()):
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
    pieces: list[Piece], artist: Artist, signs: Signs, number: int
) -> tuple[list[tuple[str, list[Mark]]], Room]:
    """What one page shows, the pieces beside one another, and how much room it takes."""
    lines: list[Mark] = []
    things: list[tuple[str, list[Mark]]] = [("", lines)]
    wide = high = 0.0
    for piece in pieces:
        dx, dy = (0.0, high) if artist.across else (wide, 0.0)
        corners = piece.places.corners
        for cell in piece.top.walk():
            for child in cell.below:
                start = artist.exit(cell, corners[cell])
                end = artist.entry(child, corners[child])
                lines.append(moved(_elbow(start, end, artist), dx, dy))
            marks = artist.marks(cell, corners[cell], signs, number)
            things.append((artist.words(cell), [moved(mark, dx, dy) for mark in marks]))
        size, gap = piece.places.room, artist.gaps.between
        wide = max(wide, size.width) if artist.across else wide + size.width + gap
        high = high + size.height + gap if artist.across else max(high, size.height)
    gap = artist.gaps.between
    return things, Room(wide, high - gap) if artist.across else Room(wide - gap, high)


def _elbow(start: Point, end: Point, artist: Artist) -> Mark:
    half = artist.gaps.between / 2
    if artist.across:
        turn = end[0] - half
        return polyline([start, (turn, start[1]), (turn, end[1]), end], width=1.1)
    turn = end[1] - half
    return polyline([start, (start[0], turn), (end[0], turn), end], width=1.1)
