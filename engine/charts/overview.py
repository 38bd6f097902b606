"""The page before the others of a set: what stands on which, and where one goes on from where."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import NamedTuple

from stillflow.engine.charts.page import Room
from stillflow.engine.charts.scene import Link, Mark, Role, Text, moved, polyline
from stillflow.engine.charts.shapes import GREY, TEXT_SIZE, badge
from stillflow.engine.charts.text import LEADING, width, wrap

OVERVIEW = "Overview"
_ROW, _INDENT, _BADGE = 24.0, 16.0, 18.0
_WIDEST, _LEAST, _GAP = 420.0, 200.0, 34.0


class Part(NamedTuple):
    """One part of the set: how far down it stands, its number, what it is called, its page.

    `tells` is what its name tells, for exercises.
    """

    depth: int
    number: str
    words: str
    page: int
    tells: Role = ""


def overview(entries: Sequence[Part], room: Room) -> list[tuple[str, list[Mark]]]:
    """The parts one below the other, each indented under the one that leads to it.

    Each is a link to its page. What is too much for one column goes on in the next; where there is
    no room for all, what stands deepest is left out.
    """
    shown, wide = list(entries), room.width
    for deepest, columns in product(
        range(max(one.depth for one in entries), -1, -1),
        range(1, max(int((room.width + _GAP) // (_LEAST + _GAP)), 1) + 1),
    ):
        shown = [one for one in entries if one.depth <= deepest]
        wide = min((room.width - _GAP * (columns - 1)) / columns, _WIDEST)
        if deepest and len(shown) * _ROW > room.height * columns:
            continue
        heights = [_row(entry, wide)[2] for entry in shown]
        if max(_columns(heights, room.height)) < columns:
            break
    rows = [_row(entry, wide) for entry in shown]
    # As many in each column, so that none holds a single one.
    even = sum(high for _, _, high in rows) / columns + max(high for _, _, high in rows)
    held = _columns([high for _, _, high in rows], min(even, room.height))
    if max(held) >= columns:
        held = _columns([high for _, _, high in rows], room.height)
    things = []
    y, last = 0.0, 0
    above: dict[int, float] = {}
    for column, entry, (words, marks, high) in zip(held, shown, rows, strict=True):
        if column != last:
            y, last, above = 0.0, column, {}
        x = column * (wide + _GAP)
        middle = y + _ROW / 2
        line = entry.depth * _INDENT - _INDENT + _BADGE / 2
        # What leads here may stand in the column before.
        top = above.get(entry.depth - 1, 0.0)
        ways: list[Mark] = []
        if entry.depth:
            corner = [(line, top), (line, middle), (line + _INDENT - 2, middle)]
            ways.append(polyline(corner, stroke=GREY, width=0.8))
        things.append((words, [moved(mark, x, y) for mark in marks]))
        things.insert(0, ("", [moved(mark, x, 0.0) for mark in ways]))
        above[entry.depth] = middle
        y += high
    return things


def _columns(heights: Sequence[float], room: float) -> list[int]:
    """In which column each row stands."""
    column, y = 0, 0.0
    held = []
    for high in heights:
        if y and y + high > room:
            column, y = column + 1, 0.0
        held.append(column)
        y += high
    return held


def _row(entry: Part, wide: float) -> tuple[str, list[Mark], float]:
    """What a part is called, its marks from the top left corner of its row, and its height."""
    left = entry.depth * _INDENT
    page = f"page {entry.page}"
    end = wide - width(page, TEXT_SIZE) - 8
    bold = not entry.depth
    lines = wrap(entry.words, end - left - _BADGE - 8, TEXT_SIZE, bold)
    step = TEXT_SIZE * LEADING
    first = _ROW / 2 + TEXT_SIZE * 0.35
    marks: list[Mark] = []
    if entry.number:
        marks += badge(entry.number, left + _BADGE / 2, _ROW / 2)
    for index, line in enumerate(lines):
        at = (left + _BADGE + 6, first + index * step)
        marks.append(Text(*at, line, TEXT_SIZE, bold=bold, role=entry.tells))
    dots = left + _BADGE + 10 + width(lines[0] if lines else "", TEXT_SIZE, bold)
    if len(lines) == 1 and dots < end - 4:
        marks.append(polyline([(dots, first), (end, first)], stroke=GREY, width=0.7, dash="dotted"))
    marks.append(Text(wide, first, page, TEXT_SIZE, "end", role="fixed"))
    high = _ROW + (len(lines) - 1) * step
    marks.append(Link(0.0, 0.0, wide, high, entry.page))
    return f"{entry.number} {entry.words}: {page}".strip(), marks, high
