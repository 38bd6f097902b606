"""The symbols of fault trees as IEC 61025 has them (shapes from memory of its table of symbols).

Drawn hanging from a point: the middle of a symbol's upper edge.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from stillflow.engine.charts.page import KeyItem
from stillflow.engine.charts.picture import Gate
from stillflow.engine.charts.scene import (
    Link,
    Mark,
    Outline,
    Text,
    circle,
    moved,
    polygon,
    rounded,
    transposed,
)
from stillflow.engine.charts.shapes import NOTE_SIZE

HEIGHT = 32.0
"""Height of every symbol in points."""
HALF = 15.0
"""Half the width of the widest symbol."""
_FILL = "#ffffff"

GATE_WORDS: dict[Gate, str] = {
    "or": "any one of these is enough",
    "and": "only all of these together",
    "inhibit": "only while the condition beside it holds",
    "basic": "a cause by itself",
    "undeveloped": "not taken further here",
    "condition": "a condition, not a fault",
    "transfer": "goes on elsewhere",
}


def symbol(
    gate: Gate, x: float, y: float, scale: float = 1.0, words: bool = True, across: bool = False
) -> list[Mark]:
    """The marks of one symbol whose upper edge has its middle at (x, y).

    Args:
        gate: which symbol.
        x: the middle, in points.
        y: the upper edge, in points.
        scale: 1 for full size.
        words: whether the sign inside a gate is set; it would be too small in the key.
        across: on its side, so that (x, y) is the middle of its left edge.
    """
    marks = _SYMBOLS[gate]() if gate else []
    if across:
        # Outlines turn, the sign in them stays upright.
        marks = [
            transposed(one)
            if isinstance(one, Outline)
            else replace(one, x=HEIGHT * 0.55, y=NOTE_SIZE * 0.36)
            for one in marks
            if not isinstance(one, Link)
        ]
    return [moved(m, x, y, scale) for m in marks if words or isinstance(m, Outline)]


def _or() -> list[Mark]:
    w, h = HALF, HEIGHT
    shield = Outline(
        (0, 0),
        (
            ((w * 0.6, h * 0.16), (w, h * 0.5), (w, h)),
            ((w * 0.5, h * 0.8), (-w * 0.5, h * 0.8), (-w, h)),
            ((-w, h * 0.5), (-w * 0.6, h * 0.16), (0, 0)),
        ),
        closed=True,
        fill=_FILL,
        width=1.4,
    )
    return [shield, Text(0, h * 0.66, "≥1", NOTE_SIZE, "middle", bold=True, role="fixed")]


def _and() -> list[Mark]:
    w, h = HALF, HEIGHT
    dome = Outline(
        (-w, h),
        (
            ((-w, w),),
            ((-w, w * 0.4477), (-w * 0.5523, 0), (0, 0)),
            ((w * 0.5523, 0), (w, w * 0.4477), (w, w)),
            ((w, h),),
        ),
        closed=True,
        fill=_FILL,
        width=1.4,
    )
    return [dome, Text(0, h * 0.68, "&", NOTE_SIZE, "middle", bold=True, role="fixed")]


def _inhibit() -> list[Mark]:
    w, h = HALF, HEIGHT
    corners = [(0.0, 0.0), (w, h / 4), (w, h * 3 / 4), (0.0, h), (-w, h * 3 / 4), (-w, h / 4)]
    return [polygon(corners, fill=_FILL, width=1.4)]


def _condition() -> list[Mark]:
    w, h = HALF, HEIGHT
    return [rounded(-w, h / 4, 2 * w, h / 2, h / 4, fill=_FILL, width=1.4)]


def _basic() -> list[Mark]:
    return [circle(0, HEIGHT / 2, HALF, fill=_FILL, width=1.4)]


def _undeveloped() -> list[Mark]:
    h = HEIGHT
    return [polygon([(0, 0), (HALF, h / 2), (0, h), (-HALF, h / 2)], fill=_FILL, width=1.4)]


def _transfer() -> list[Mark]:
    return [polygon([(0, 0), (HALF, HEIGHT), (-HALF, HEIGHT)], fill=_FILL, width=1.4)]


_SYMBOLS: dict[Gate, Callable[[], list[Mark]]] = {
    "or": _or,
    "and": _and,
    "inhibit": _inhibit,
    "basic": _basic,
    "undeveloped": _undeveloped,
    "condition": _condition,
    "transfer": _transfer,
}


def gate_key(gates: set[Gate]) -> tuple[KeyItem, ...]:
    """The key to the symbols on a chart."""
    return tuple(
        KeyItem(GATE_WORDS[gate], symbol(gate, 24, -2, 0.62, words=False))
        for gate in _SYMBOLS
        if gate in gates
    )
