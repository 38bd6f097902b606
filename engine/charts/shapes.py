"""The house style: the outline, type sizes and inks of each kind of box, and how big it comes out.

Every kind differs from every other in outline or line, so that a chart reads the same in black
and white; the pale tints only help. Where boxes stand is left to `layout` and `trees`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

from stillflow.engine.charts.picture import Node, NodeKind
from stillflow.engine.charts.scene import (
    Dash,
    Mark,
    Outline,
    Role,
    Style,
    Text,
    circle,
    polygon,
    polyline,
    rectangle,
    rounded,
)
from stillflow.engine.charts.text import LEADING, width, wrap

INK = "#111111"
GREY = "#555555"
WARNING = "#b34700"
BAR = "#5b8fb5"

TITLE_SIZE = 11.0
TEXT_SIZE = 10.5
NOTE_SIZE = 10.0
BADGE_RADIUS = 9.5
_PAD_X, _PAD_Y = 9.0, 6.0
_BAR_HEIGHT = 6.0


class Box(NamedTuple):
    """Left, top, width, height in points."""

    x: float
    y: float
    w: float
    h: float


class Look(NamedTuple):
    """How one kind of box is drawn."""

    outline: Callable[[Box, Style], list[Outline]]
    width: float
    fill: str = "#ffffff"
    stroke: str = INK
    ink: str = INK
    line: float = 1.1
    dash: Dash = "solid"
    side: float = 0.0
    """Room kept free at the left and right for the outline, in points."""

    @property
    def style(self) -> Style:
        """How its outline is filled and stroked."""
        return {"fill": self.fill, "stroke": self.stroke, "width": self.line, "dash": self.dash}


def _rounded(box: Box, style: Style) -> list[Outline]:
    return [rounded(*box, 9, **style)]


def _pill(box: Box, style: Style) -> list[Outline]:
    return [rounded(*box, min(box.h / 2, 18), **style)]


def _folded(box: Box, style: Style) -> list[Outline]:
    x, y, w, h = box
    right, fold = x + w, 11.0
    edge = [(x, y), (right - fold, y), (right, y + fold), (right, y + h), (x, y + h)]
    crease = [(right - fold, y), (right - fold, y + fold), (right, y + fold)]
    return [polygon(edge, **style), polyline(crease, stroke=style["stroke"], width=style["width"])]


def _plain(box: Box, style: Style) -> list[Outline]:
    return [rectangle(*box, **style)]


def _striped(box: Box, style: Style) -> list[Outline]:
    x, y, _, h = box
    stripe = Box(x, y, 5, h)
    solid: Style = {"fill": style["stroke"], "stroke": style["stroke"], "width": style["width"]}
    return _plain(box, style) + _plain(stripe, solid)


def _hexagon(box: Box, style: Style) -> list[Outline]:
    x, y, w, h = box
    tip = 12.0
    upper = [(x + tip, y), (x + w - tip, y), (x + w, y + h / 2)]
    lower = [(x + w - tip, y + h), (x + tip, y + h), (x, y + h / 2)]
    return [polygon(upper + lower, **style)]


def _double(box: Box, style: Style) -> list[Outline]:
    x, y, w, h = box
    inner: Style = {**style, "width": style["width"] * 0.7}
    return _plain(box, style) + _plain(Box(x + 3, y + 3, w - 6, h - 6), inner)


def _cut(box: Box, style: Style) -> list[Outline]:
    x, y, w, h = box
    c = min(9.0, h / 3)
    right, bottom = x + w, y + h
    corners = [(x + c, y), (right - c, y), (right, y + c), (right, bottom - c)]
    corners += [(right - c, bottom), (x + c, bottom), (x, bottom - c), (x, y + c)]
    return [polygon(corners, **style)]


def _arrow(box: Box, style: Style) -> list[Outline]:
    x, y, w, h = box
    tip = 12.0
    corners = [(x, y), (x + w - tip, y), (x + w, y + h / 2), (x + w - tip, y + h), (x, y + h)]
    return [polygon(corners, **style)]


LOOKS: dict[NodeKind, Look] = {
    NodeKind.READING: Look(_folded, 146, fill="#eaf3fa"),
    NodeKind.LOOK: Look(_rounded, 146, fill="#eaf3fa"),
    NodeKind.UNHELPFUL: Look(_rounded, 146, ink=GREY, stroke=GREY, dash="dotted", line=1.7),
    NodeKind.RULE: Look(_striped, 164, side=4),
    NodeKind.DERIVED: Look(_hexagon, 138, fill="#f3f3f3", side=10),
    NodeKind.FAULT: Look(_double, 152, side=3),
    NodeKind.RULED_OUT: Look(_plain, 152, fill="#f3f3f3", ink=GREY, stroke=GREY, dash="dashed"),
    NodeKind.CHECK: Look(_rounded, 156, fill="#eaf3fa"),
    NodeKind.FIX: Look(_double, 156, side=3),
    NodeKind.HAND_OVER: Look(_cut, 156, dash="dashed", side=3),
    NodeKind.CONNECTOR: Look(_arrow, 122, fill="#f3f3f3", side=3),
    NodeKind.EVENT: Look(_plain, 126),
    NodeKind.CONDITION: Look(_pill, 104, side=4),
    NodeKind.STATION: Look(_folded, 146, fill="#eaf3fa"),
}


_ROLES: dict[NodeKind, tuple[Role, Role]] = {
    NodeKind.FIX: ("name", ""),
    NodeKind.FAULT: ("name", ""),
    NodeKind.RULED_OUT: ("name", ""),
    NodeKind.READING: ("", "answer"),
    NodeKind.LOOK: ("", "answer"),
    NodeKind.UNHELPFUL: ("", "answer"),
    NodeKind.CONNECTOR: ("fixed", "fixed"),
}
"""What the title and the text of a box tell, for exercises that leave it blank."""


@dataclass(frozen=True)
class MeasuredNode:
    """A node with its words cut into lines and the size of its box in points."""

    node: Node
    width: float
    height: float
    lines: tuple[tuple[str, float, bool, str, Role], ...]
    """Each line of words: text, type size, bold, ink, what it tells."""
    caution_line: int
    """Which line begins the caution; -1 without one."""


@lru_cache(maxsize=20_000)
def measure(node: Node, squeeze: float = 1.0) -> MeasuredNode:
    """Cut a node's words to its kind's width and find the height they need.

    Kept, as the lines of `wrap` are.

    Args:
        node: what to measure.
        squeeze: share of the kind's width to use, for drawings that are too wide for their
            paper.
    """
    look = LOOKS[node.kind]
    outer = look.width * squeeze
    room = outer - 2 * (_PAD_X + look.side)
    lines: list[tuple[str, float, bool, str, Role]] = []
    title_role, text_role = _ROLES.get(node.kind, ("", ""))
    if node.gate in ("basic", "undeveloped"):
        title_role = "name"
    badge_room = BADGE_RADIUS if node.badge else 0.0
    for text, size, bold, role in (
        (node.title, TITLE_SIZE, True, title_role),
        (node.text, TEXT_SIZE, False, text_role),
    ):
        wrapped = wrap(text, room - badge_room, size, bold)
        lines += [(line, size, bold, look.ink, role) for line in wrapped]
    caution_line = -1
    if node.caution:
        caution_line = len(lines)
        lines += [
            (line, NOTE_SIZE, False, WARNING, "")
            for line in wrap(node.caution, room - 16, NOTE_SIZE)
        ]
    note_ink = GREY if look.ink == INK else look.ink
    told = _told(node)
    lines += [(line, NOTE_SIZE, False, note_ink, told) for line in wrap(node.note, room, NOTE_SIZE)]
    height = sum(size * LEADING for _, size, *_ in lines) + 2 * _PAD_Y
    if node.bar is not None:
        height += _BAR_HEIGHT + 4
    return MeasuredNode(node, outer, max(height, 24.0), tuple(lines), caution_line)


def draw(item: MeasuredNode, x: float, y: float) -> list[Mark]:
    """The marks of a measured node whose box has its top left corner at (x, y)."""
    node = item.node
    look = LOOKS[node.kind]
    marks: list[Mark] = list(look.outline(Box(x, y, item.width, item.height), look.style))
    left = x + _PAD_X + look.side + (BADGE_RADIUS / 2 if node.badge else 0)
    words_height = sum(size * LEADING for _, size, *_ in item.lines)
    bar_height = _BAR_HEIGHT + 4 if node.bar is not None else 0
    top = y + (item.height - words_height - bar_height) / 2
    caution_count = sum(1 for line in item.lines if line[3] == WARNING)
    for index, (text, size, bold, ink, role) in enumerate(item.lines):
        top += size * LEADING
        shift = 0.0
        if item.caution_line >= 0 and 0 <= index - item.caution_line < caution_count:
            shift = 16.0
            if index == item.caution_line:
                marks += warning_sign(left + 6, top - size * 0.62)
        marks.append(Text(left + shift, top - size * 0.3, text, size, "start", bold, ink, role))
    if node.bar is not None:
        room = item.width - 2 * (_PAD_X + look.side)
        place = Box(x + _PAD_X + look.side, top + 3, room, _BAR_HEIGHT)
        marks += bar(place, node.bar, look.ink, _told(node) or "figure")
    if node.badge:
        marks += badge(node.badge, x + 2, y + 2, look.ink)
    return marks


def _told(node: Node) -> Role:
    """What the small print of a node tells, and its bar: of a reading, what was read."""
    return "measured" if node.kind is NodeKind.READING and node.bar is not None else ""


def bar(box: Box, share: float, ink: str = INK, role: Role = "figure") -> list[Mark]:
    """A bar filled to `share` of its length; more than the whole is drawn as the whole."""
    x, y, w, h = box
    filled = w * min(max(share, 0.0), 1.0)
    marks: list[Mark] = []
    if filled > 0:
        fill = BAR if ink == INK else "#aaaaaa"
        full = _plain(Box(x, y, filled, h), {"fill": fill, "stroke": fill, "width": 0.4})
        marks += [replace(mark, role=role) for mark in full]
    marks += _plain(box, {"fill": "", "stroke": ink, "width": 0.7})
    return marks


def badge(label: str, x: float, y: float, ink: str = INK) -> list[Mark]:
    """A number in a filled circle about (x, y); long numbers widen it to a pill."""
    half = max(BADGE_RADIUS, width(label, NOTE_SIZE, bold=True) / 2 + 4.5)
    return [
        rounded(
            *(x - half, y - BADGE_RADIUS, 2 * half, 2 * BADGE_RADIUS, BADGE_RADIUS),
            fill=ink,
            stroke="#ffffff",
            width=1.2,
        ),
        Text(x, y + 3.6, label, NOTE_SIZE, "middle", True, "#ffffff", "fixed"),
    ]


def warning_sign(x: float, y: float) -> list[Mark]:
    """A small triangle with an exclamation mark about (x, y)."""
    corners = [(x, y - 5.5), (x + 6, y + 5), (x - 6, y + 5)]
    return [
        polygon(corners, fill="#ffffff", stroke=WARNING, width=1.2),
        polyline([(x, y - 2.2), (x, y + 1.4)], stroke=WARNING, width=1.4),
        circle(x, y + 3.0, 0.8, fill=WARNING, stroke=WARNING, width=0.2),
    ]
