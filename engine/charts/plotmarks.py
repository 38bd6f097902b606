"""What the graphs share: how a found and an expected value are marked, words on white, scales."""

from __future__ import annotations

import math
import re

from stillflow.engine.charts.scene import Mark, Text, circle, polygon, rectangle
from stillflow.engine.charts.shapes import BAR
from stillflow.engine.charts.text import width

_DIGIT = re.compile(r"(?<![0-9.,])[0-9](?![0-9.,])")

AFTER = "read again after the fix"


def on_white(label: Text) -> list[Mark]:
    """Words with white paper behind them, so that lines do not run through them."""
    # On an exercise two dashes stand for a single digit.
    wide = width(_DIGIT.sub("00", label.text), label.size, label.bold) + 4
    left = label.x - {"start": 2.0, "middle": wide / 2, "end": wide - 2}[label.anchor]
    top, bottom = label.y - label.size * 0.86, label.y + label.size * 0.26
    corners = [(left, top), (left + wide, top), (left + wide, bottom), (left, bottom)]
    return [polygon(corners, fill="#ffffff", stroke=""), label]


def expected_point(x: float, y: float) -> list[Mark]:
    """A white square about (x, y)."""
    return [rectangle(x - 4, y - 4, 8, 8, fill="#ffffff", width=1.2)]


def found_point(x: float, y: float) -> list[Mark]:
    """A filled circle about (x, y)."""
    return [circle(x, y, 5, fill=BAR, width=1.4)]


def after_point(x: float, y: float) -> list[Mark]:
    """A white triangle about (x, y)."""
    return [polygon([(x, y - 5.5), (x + 5.5, y + 4), (x - 5.5, y + 4)], fill="#ffffff", width=1.4)]


def round_up(value: float) -> float:
    """The next value above that makes a tidy scale, with a whole half; at least 1."""
    base = 10.0 ** math.floor(math.log10(max(value, 1.0)))
    step = base / 5 if value < 2 * base else base
    return max(math.ceil(value / step) * step, 1.0)
