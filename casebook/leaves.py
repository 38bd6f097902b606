"""What can still be read of a damaged SQLite file, page by page.

SQLite gives up a table at the first page it cannot read. Rows stand in leaves of a tree, and each
leaf can be read by itself, also when nothing leads to it any more; an index says which rows there
were. How a file is laid out is from memory; tests hold what is read here against what SQLite reads.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

Row = tuple[Any, ...]

_ROWS, _KEYS = 13, 10
"""Kinds of leaf: of a table, of an index."""

_NODES = {_ROWS: 5, _KEYS: 2}
"""Kinds of page that lead to leaves."""

_UNREADABLE = (ValueError, LookupError, struct.error)
_WHOLE_NUMBERS = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
_FIRST = 100
"""How long the file's own header is, before that of its first page."""


@dataclass
class Tree:
    """What was read of a table or an index.

    Attributes:
        rows: number of a row -> its values; of an index, the values it is found by.
        pages: numbers of the pages it takes.
        hurt: some of it could not be read.
    """

    rows: dict[int, Row] = field(default_factory=dict)
    pages: set[int] = field(default_factory=set)
    hurt: bool = False


class Leaves:
    """The pages of a file, whole or not.

    Args:
        data: the file.
    """

    def __init__(self, data: bytes) -> None:
        size = int.from_bytes(data[16:18]) if len(data) > _FIRST else 0
        size = 65536 if size == 1 else size
        known = size in [1 << power for power in range(9, 17)] and data[20] < 33
        self._size = size if known else 4096
        self._usable = self._size - (data[20] if known else 0)
        # Of a file that was cut short, what is left of its last page may hold rows.
        self._data = data + bytes(-len(data) % self._size)
        self.count = len(self._data) // self._size

    def table(self, root: int) -> Tree:
        """The rows of a table whose tree begins at a page."""
        return self._tree(root, _ROWS)

    def index(self, root: int) -> Tree:
        """The keys of an index whose tree begins at a page."""
        return self._tree(root, _KEYS)

    def loose(self, taken: set[int]) -> Iterator[dict[int, Row]]:
        """Rows of each table's leaf that is not taken nor let go of."""
        free = self._free()
        for number in range(1, self.count + 1):
            if number not in taken and number not in free and self._kind(number) == _ROWS:
                leaf = Tree()
                self._read(number, _ROWS, leaf)
                yield leaf.rows

    def _tree(self, root: int, kind: int) -> Tree:
        tree, left = Tree(), [root]
        while left:
            number = left.pop()
            if number in tree.pages or not 1 <= number <= self.count:
                tree.hurt = True
                continue
            try:
                left += self._read(number, kind, tree)
                tree.pages.add(number)
            except _UNREADABLE:
                tree.hurt = True
        return tree

    def _read(self, number: int, kind: int, tree: Tree) -> list[int]:
        """Take the rows of a page into a tree, and give the pages it leads to."""
        data, start = self._data, (number - 1) * self._size
        head = self._head(number)
        node = data[head] == _NODES[kind]
        if not node and data[head] != kind:
            raise ValueError("another kind of page")
        (cells,) = struct.unpack_from(">H", data, head + 3)
        below = list(struct.unpack_from(">I", data, head + 8)) if node else []
        for cell in range(cells):
            try:
                (at,) = struct.unpack_from(">H", data, head + (12 if node else 8) + 2 * cell)
                at += start
                if node:
                    below += struct.unpack_from(">I", data, at)
                    at += 4
                if node and kind == _ROWS:
                    continue
                length, at = _varint(data, at)
                if kind == _ROWS:
                    key, at = _varint(data, at)
                    tree.rows[key] = _record(self._payload(at, length, kind))
                else:
                    *values, key = _record(self._payload(at, length, kind))
                    tree.rows[key] = tuple(values)
            except _UNREADABLE:
                tree.hurt = True
        return below

    def _head(self, number: int) -> int:
        return (number - 1) * self._size + (_FIRST if number == 1 else 0)

    def _kind(self, number: int) -> int:
        return self._data[self._head(number)]

    def _payload(self, at: int, length: int, kind: int) -> bytes:
        """What a cell holds, also where it runs over into further pages."""
        data, usable = self._data, self._usable
        least = (usable - 12) * 32 // 255 - 23
        most = usable - 35 if kind == _ROWS else (usable - 12) * 64 // 255 - 23
        if length <= most:
            return data[at : at + length]
        here = least + (length - least) % (usable - 4)
        here = here if here <= most else least
        parts, left = [data[at : at + here]], length - here
        (over,) = struct.unpack_from(">I", data, at + here)
        while left > 0:
            if not 1 <= over <= self.count:
                raise ValueError("it runs over into no page")
            start = (over - 1) * self._size
            parts.append(data[start + 4 : start + min(usable, 4 + left)])
            left -= usable - 4
            (over,) = struct.unpack_from(">I", data, start)
        return b"".join(parts)

    def _free(self) -> set[int]:
        """Leaves that were let go of: what stands in them was deleted."""
        found: set[int] = set()
        (trunk,) = struct.unpack_from(">I", self._data, 32) if self.count else (0,)
        while 1 <= trunk <= self.count and trunk not in found:
            found.add(trunk)
            start = (trunk - 1) * self._size
            trunk, leaves = struct.unpack_from(">II", self._data, start)
            leaves = min(leaves, self._size // 4 - 2)
            found.update(struct.unpack_from(f">{leaves}I", self._data, start + 8))
        return found


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """A number of one to nine bytes, and where it ends."""
    value = 0
    for place in range(at, at + 8):
        value = value << 7 | data[place] & 127
        if data[place] < 128:
            return value, place + 1
    return value << 8 | data[at + 8], at + 9


def _record(payload: bytes) -> Row:
    """The values of a row.

    Raises:
        ValueError: it is none.
    """
    end, at = _varint(payload, 0)
    kinds = []
    while at < end:
        kind, at = _varint(payload, at)
        kinds.append(kind)
    values: list[Any] = []
    for kind in kinds:
        size = _WHOLE_NUMBERS.get(kind, 8 if kind == 7 else max(kind - 12, 0) // 2)
        part = payload[at : at + size]
        at += size
        if kind in _WHOLE_NUMBERS:
            values.append(int.from_bytes(part, signed=True))
        elif kind == 7:
            values += struct.unpack(">d", part)
        elif kind < 12:
            values.append({0: None, 8: 0, 9: 1}[kind])
        else:
            values.append(part.decode() if kind % 2 else part)
    if at != len(payload) or not kinds:
        raise ValueError("no row")
    return tuple(values)
