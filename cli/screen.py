"""How stillflow looks on a terminal: wrapped text, lists, tables; never wider than 80 columns.

Plain characters carry all meaning; bold and colour only help, and NO_COLOR or a pipe drops them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import IO

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from stillflow.cli.lines import turns_page
from stillflow.cli.output import plain, show

WIDTH = 80
# rich breaks lines at every kind of space, so a number is tied to its % by what is none.
_TIE = "\ue000"


class Screen:
    """Writes to standard output, or to another text stream."""

    def __init__(self, file: IO[str] | None = None) -> None:
        self._file = file
        self._sheet: list[str] | None = None
        self._console = Console(file=file, markup=False, highlight=False, emoji=False)
        if not self._console.is_terminal or self._console.width > WIDTH:
            self._console.width = WIDTH

    def _print(self, what: RenderableType, style: str = "") -> None:
        # rich pads lines to the full width; blanks at line ends only get in the way of a pipe.
        with self._console.capture() as caught:
            self._console.print(what, style=style)
        said = caught.get().rstrip("\n").replace(_TIE, " ")
        lines = [line.rstrip() for line in said.split("\n")]
        self._put(lines)

    def _put(self, lines: list[str]) -> None:
        if self._sheet is None:
            show("\n".join(lines), self._file)
        else:
            self._sheet += lines

    @contextmanager
    def sheet(self, room: int = 3) -> Iterator[None]:
        """What is written belongs on one screen; at a terminal, what is too long comes by pages.

        Args:
            room: lines to leave free below it, for the prompt.
        """
        if self._sheet is not None:
            yield
            return
        lines: list[str] = []
        self._sheet = lines
        try:
            yield
        finally:
            self._sheet = None
        height = self._console.height if self._console.is_terminal else len(lines) + room
        if len(lines) > height - room and not lines[0]:
            lines = lines[1:]
        while len(lines) > height - room:
            page, lines = lines[: height - 2], lines[height - 2 :]
            show("\n".join(page), self._file)
            if not turns_page():
                return
        if lines:
            show("\n".join(lines), self._file)

    def gap(self) -> None:
        """An empty line."""
        self._put([""])

    def head(self, left: str, right: str = "") -> None:
        """A ruled heading, with something short at its right end."""
        left, right = plain(left), plain(right)
        width = self._console.width
        self._print("-" * width, style="dim")
        room = width - len(left) - len(right)
        if room < 1:
            self.text(left, style="bold")
            self.text(right)
        else:
            self._print(Text(left, style="bold") + Text(" " * room + right))

    def text(self, words: str, indent: int = 0, style: str = "") -> None:
        """A paragraph."""
        self._print(Padding(_tied(words, style), (0, 0, 0, indent)))

    def item(self, mark: str, words: str, indent: int = 2, style: str = "") -> None:
        """A paragraph that hangs on a mark such as `1` or `-`."""
        grid = Table.grid(padding=(0, 1, 0, 0))
        grid.add_column(no_wrap=True)
        grid.add_column()
        grid.add_row(_tied(mark, style), _tied(words, style))
        self._print(Padding(grid, (0, 0, 0, indent)))

    def items(self, lines: Iterable[str], mark: str = "-", indent: int = 2) -> None:
        """A list."""
        for line in lines:
            self.item(mark, line, indent)

    def numbered(self, lines: Iterable[str], indent: int = 2) -> None:
        """A numbered list."""
        for number, line in enumerate(lines, 1):
            self.item(f"{number}.", line, indent)

    def cautions(self, lines: Iterable[str]) -> None:
        """Dangers, before the step they belong to."""
        for line in lines:
            self.item("CAUTION", line, 0, "bold red")

    def columns(self, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
        """Columns of words under a heading."""
        self._grid(header, rows, len(header), 0)

    def table(self, header: Sequence[str], rows: Iterable[Sequence[str]], indent: int = 2) -> None:
        """Columns under a heading; the first is words, the rest are numbers."""
        self._grid(header, rows, 1, indent)

    def _grid(
        self, header: Sequence[str], rows: Iterable[Sequence[str]], words: int, indent: int
    ) -> None:
        grid = Table(box=None, padding=(0, 2, 0, 0), header_style="bold", pad_edge=False)
        for index, name in enumerate(header):
            grid.add_column(plain(name), justify="left" if index < words else "right")
        for row in rows:
            grid.add_row(*map(_tied, row))
        self._print(Padding(grid, (0, 0, 0, indent)))


def _tied(words: str, style: str = "") -> Text:
    return Text(plain(words).replace(" %", f"{_TIE}%"), style=style)


def within(words: str, most: int) -> str:
    """Words cut to so many letters, marked where they are cut.

    What stands between commas is left out whole: half of a telephone number is another number.
    """
    if len(words) <= most:
        return words
    kept = words
    while len(kept) > most - 5 and ", " in kept:
        kept = kept.rpartition(", ")[0]
    if len(kept) <= most - 5:
        return f"{kept}, ..."
    return f"{kept[: most - 3].rstrip()}..."


def suction(value: float | None) -> str:
    """Suction in inH2O, whole numbers as a gauge shows them."""
    return "-" if value is None else f"{value:.0f}"
