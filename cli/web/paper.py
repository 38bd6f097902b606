"""What the command line would show, caught as blocks that a page is made of.

So that phone and command line say the same words: both are written by `describe`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Literal

from stillflow.cli.output import plain
from stillflow.cli.screen import Screen


@dataclass(frozen=True)
class Block:
    """One thing on the paper.

    Attributes:
        kind: what it is.
        words: its words; the left side of a head.
        mark: what an item hangs on; the right side of a head.
        strong: whether it stands out.
        rows: of a table, its heading first.
    """

    kind: Literal["head", "text", "item", "caution", "table"]
    words: str = ""
    mark: str = ""
    strong: bool = False
    rows: tuple[tuple[str, ...], ...] = ()


class PageScreen(Screen):
    """A screen that keeps what is written on it."""

    def __init__(self) -> None:
        self.blocks: list[Block] = []

    @contextmanager
    def sheet(self, room: int = 4) -> Iterator[None]:
        """A page is as long as it is."""
        yield

    def columns(self, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
        """Columns of words under a heading."""
        self.table(header, rows)

    def gap(self) -> None:
        """Nothing: a page has its own distances."""

    def head(self, left: str, right: str = "") -> None:
        """A heading, with something short beside it."""
        self.blocks.append(Block("head", plain(left), plain(right)))

    def text(self, words: str, indent: int = 0, style: str = "") -> None:
        """A paragraph."""
        self.blocks.append(Block("text", plain(words), strong="bold" in style))

    def item(self, mark: str, words: str, indent: int = 2, style: str = "") -> None:
        """A paragraph that hangs on a mark."""
        self.blocks.append(Block("item", plain(words), plain(mark), "bold" in style))

    def cautions(self, lines: Iterable[str]) -> None:
        """Dangers, before the step they belong to."""
        self.blocks += [Block("caution", plain(line)) for line in lines]

    def table(self, header: Sequence[str], rows: Iterable[Sequence[str]], indent: int = 2) -> None:
        """Columns under a heading; the first is words, the rest are numbers."""
        lines = tuple(tuple(map(plain, row)) for row in (header, *rows))
        if len(lines) > 1:
            self.blocks.append(Block("table", rows=lines))
