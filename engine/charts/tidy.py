"""Where the boxes of a tree come to stand: columns in line, branches as close as they can be.

Each branch is kept clear of its neighbour level by level, and a node stands in the middle of
those below it (after Reingold and Tilford, "Tidier drawings of trees", 1981). Done here rather
than by Graphviz, because a tree is cut to its paper by asking hundreds of times whether one more
box still fits. What the boxes look like is left to the artists.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from stillflow.engine.charts.scene import Point


class Size(NamedTuple):
    """Width and height in points."""

    width: float
    height: float


class Gaps(NamedTuple):
    """Least distance in points between boxes of one column, and between columns."""

    within: float = 14.0
    between: float = 46.0


@dataclass(frozen=True)
class Twig:
    """The way from a node to one below it: its words, and how likely, in words."""

    to: str
    words: str = ""
    likely: str = ""


@dataclass(eq=False)
class Cell:
    """One box on a page: a node in full, or a connector to where it is drawn.

    Attributes:
        target: id of the node.
        start: which of the node's twigs is drawn first (0 unless it is continued here).
        full: False for a connector.
        twig: the way that leads here; None at the top of a piece.
        below: the boxes below.
        held: connectors that stand one below the other in this box, which is then nothing else.
    """

    target: str
    start: int = 0
    full: bool = False
    twig: Twig | None = None
    below: list[Cell] = field(default_factory=list)
    held: list[Cell] = field(default_factory=list)

    def connectors(self) -> list[Cell]:
        """The ways elsewhere that stand here: those held, or this one."""
        return self.held or ([] if self.full else [self])

    def walk(self) -> Iterator[Cell]:
        """This cell and all below it, in reading order."""
        waiting = [self]
        while waiting:
            cell = waiting.pop()
            yield cell
            waiting.extend(reversed(cell.below))


@dataclass(frozen=True)
class Laid:
    """Top left corner of each cell of a piece, and how much room the piece takes in points."""

    corners: dict[Cell, Point]
    room: Size


def place(top: Cell, sizes: dict[Cell, Size], across: bool, gaps: Gaps) -> Laid:
    """Place a piece.

    Args:
        top: the piece.
        sizes: size of every cell in it.
        across: True to grow to the right, False to grow downwards.
        gaps: distances to keep.
    """
    cells = list(top.walk())
    level = {top: 0}
    for cell in cells:
        level.update(dict.fromkeys(cell.below, level[cell] + 1))
    along = {cell: sizes[cell][0 if across else 1] for cell in cells}
    half = {cell: sizes[cell][1 if across else 0] / 2 for cell in cells}
    starts = _starts(cells, level, along, gaps.between)
    end = {cell: starts[level[cell]] + along[cell] for cell in cells}
    # A cell with nothing below it may reach past its own column, and is kept clear of there too.
    columns = {
        cell: max(sum(start < end[cell] + gaps.between for start in starts[level[cell] :]), 1)
        for cell in cells
    }
    outline, shift = _outlines(cells, half, columns, gaps.within)
    middle = {top: -min(low for low, _ in outline)}
    corners: dict[Cell, Point] = {}
    for cell in cells:
        for child in cell.below:
            middle[child] = middle[cell] + shift[child]
        corner = (starts[level[cell]], middle[cell] - half[cell])
        corners[cell] = corner if across else corner[::-1]
    length = max(end.values())
    breadth = max(high for _, high in outline) - min(low for low, _ in outline)
    return Laid(corners, Size(length, breadth) if across else Size(breadth, length))


def _starts(
    cells: list[Cell], level: dict[Cell, int], along: dict[Cell, float], gap: float
) -> list[float]:
    """Where each column begins.

    A column is as thick as what goes on from it, or as its thickest cell if nothing does.
    """
    onward = [0.0] * (max(level.values()) + 1)
    any_cell = list(onward)
    for cell in cells:
        any_cell[level[cell]] = max(any_cell[level[cell]], along[cell])
        if cell.below:
            onward[level[cell]] = max(onward[level[cell]], along[cell])
    starts = [0.0]
    for going_on, thickest in zip(onward, any_cell, strict=True):
        starts.append(starts[-1] + (going_on or thickest) + gap)
    return starts[:-1]


def _outlines(
    cells: list[Cell], half: dict[Cell, float], columns: dict[Cell, int], gap: float
) -> tuple[list[tuple[float, float]], dict[Cell, float]]:
    """The outline of the top cell, and how far each cell's middle is from that of the one above.

    The outline is the least and most for each column, about the cell's middle.
    """
    outline: dict[Cell, list[tuple[float, float]]] = {}
    shift: dict[Cell, float] = {}
    for cell in reversed(cells):
        merged: list[tuple[float, float]] = []
        for child in cell.below:
            own = outline.pop(child)
            clear = zip(merged, own, strict=False)
            shift[child] = max((m[1] - o[0] + gap for m, o in clear), default=0.0)
            for depth, (low, high) in enumerate(own):
                moved = (low + shift[child], high + shift[child])
                if depth < len(merged):
                    merged[depth] = (min(merged[depth][0], moved[0]), moved[1])
                else:
                    merged.append(moved)
        if cell.below:
            centre = (shift[cell.below[0]] + shift[cell.below[-1]]) / 2
            for child in cell.below:
                shift[child] -= centre
            merged = [(low - centre, high - centre) for low, high in merged]
        own_columns = 1 if cell.below else columns[cell]
        outline[cell] = [(-half[cell], half[cell])] * own_columns + merged
    return outline[cells[0]], shift
