"""A tree cut into pieces that fit a page, with connectors where it was cut.

Works on sizes only, for trees that grow to the right and for trees that grow downwards; what the
boxes look like is left to `decision` and `faults`, where they stand to `tidy`.
"""

from __future__ import annotations

import heapq
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from stillflow.engine.charts.tidy import Cell, Gaps, Laid, Size, Twig, place


@dataclass(frozen=True)
class Trunk:
    """A tree whose parts may be shared: for each node its twigs, and its weight.

    Of the nodes that could still go on a page, the one of the greatest weight is tried first.
    """

    root: str
    twigs: Mapping[str, Sequence[Twig]]
    weight: Mapping[str, float]


@dataclass(frozen=True)
class Piece:
    """A part of the tree, and where its boxes stand relative to its own top left corner."""

    top: Cell
    places: Laid


@dataclass(frozen=True)
class Cutter:
    """Cuts a trunk into pieces.

    Attributes:
        trunk: the tree.
        size: finds the size of a cell's box in points.
        across: True for trees that grow to the right.
        gaps: distances between boxes.
        stacks: what to do with more ways than fit a page: True to stack connectors to them one
            below the other, False to go on with the rest of them on a page of its own.
        room: width and height a page has; None for no limit.
    """

    trunk: Trunk
    size: Callable[[Cell], Size]
    across: bool
    gaps: Gaps
    room: Size | None
    stacks: bool = False

    def pages(self) -> list[list[Piece]]:
        """The pieces of each page, in reading order.

        A piece never stands on an earlier page than the first connector that leads to it.
        """
        pages: list[list[Piece]] = []
        free: list[float] = []
        first = (self.trunk.root, 0)
        page_of = {first: 0}
        waiting = deque([first])
        seen = {self.trunk.root}
        while waiting:
            key = waiting.popleft()
            piece = self._grow(Cell(*key), seen)
            needed = self._span(piece.places.room) + self.gaps.between
            page = page_of[key]
            while page < len(pages) and free[page] < needed:
                page += 1
            if page == len(pages):
                pages.append([])
                free.append(self._limit() + self.gaps.between)
            pages[page].append(piece)
            free[page] -= needed
            for cell in (one for box in piece.top.walk() for one in box.connectors()):
                onward = (cell.target, cell.start)
                fresh = cell.start > 0 or cell.target not in seen
                if onward not in page_of and fresh:
                    page_of[onward] = page
                    seen.add(cell.target)
                    waiting.append(onward)
        return pages

    def _span(self, size: Size) -> float:
        return size.height if self.across else size.width

    def _limit(self) -> float:
        return float("inf") if self.room is None else self._span(self.room)

    def _place(self, top: Cell) -> Laid:
        return place(top, {c: self.size(c) for c in top.walk()}, self.across, self.gaps)

    def _fits(self, top: Cell) -> bool:
        return self._excess(top) <= 1.0

    def _excess(self, top: Cell) -> float:
        """How many times a piece is larger than its page."""
        if self.room is None:
            return 0.0
        needed = self._place(top).room
        return max(needed.width / self.room.width, needed.height / self.room.height)

    def _grow(self, top: Cell, seen: set[str]) -> Piece:
        self._open(top)
        if self.stacks and not self._fits(top):
            self._stack(top)
        while not self.stacks and not self._fits(top) and len(top.below) > 2:
            # Too many ways for one page: the rest goes on a page of its own.
            drop = 2 if top.below[-1].target == top.target else 1
            kept = top.below[:-drop]
            top.below = [*kept, Cell(top.target, top.start + len(kept))]
        drawn = {top.target}
        order = 0
        heap: list[tuple[float, int, Cell]] = []

        def offer(cells: Sequence[Cell]) -> None:
            nonlocal order
            for cell in cells:
                known = cell.target in seen or cell.target in drawn
                if not cell.full and not cell.start and not known:
                    heapq.heappush(heap, (-self.trunk.weight[cell.target], order, cell))
                    order += 1

        offer(top.below)
        while heap:
            _, _, cell = heapq.heappop(heap)
            if cell.target in drawn:
                continue
            self._open(cell)
            if self._fits(top):
                drawn.add(cell.target)
                offer(cell.below)
            else:
                cell.full, cell.below = False, []
        seen.update(drawn)
        return Piece(top, self._place(top))

    def _stack(self, top: Cell) -> None:
        """Put the ways on into as many columns as fit, and into no more than that."""
        ways = [cell for cell in top.below if not cell.full]
        rest = [cell for cell in top.below if cell.full]
        tries = []
        for high in range(2, len(ways) + 1):
            columns = [ways[i : i + high] for i in range(0, len(ways), high)]
            top.below = [Cell("", full=True, held=column) for column in columns] + rest
            tries.append((max(self._excess(top), 1.0), high, top.below))
        if tries:
            top.below = min(tries, key=lambda attempt: attempt[:2])[2]

    def _open(self, cell: Cell) -> None:
        cell.full = True
        twigs = self.trunk.twigs[cell.target][cell.start :]
        # A node with nothing below it is drawn wherever it is needed: cheaper than a way there.
        cell.below = [
            Cell(twig.to, full=not self.trunk.twigs[twig.to], twig=twig) for twig in twigs
        ]
