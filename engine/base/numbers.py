"""Numbers as people say them, the same on the screen and on charts."""

from __future__ import annotations

from math import isclose


def percent(probability: float) -> str:
    """A belief in percent: never 0 % or 100 %, which nobody can know."""
    if probability <= 0.005:
        return "<1 %"
    if probability >= 0.995:
        return ">99 %"
    return in_percent(probability)


def in_percent(part: float) -> str:
    """Any part of a whole in percent, as measured or reckoned."""
    return f"{100.0 * part:.0f} %"


def chance(probability: float) -> str:
    """A probability that is reckoned with: to two digits of a percent, however small."""
    if not 0.0 < probability < 1.0 or isclose(probability, 1.0):
        return in_percent(probability)
    digits = float(f"{100.0 * probability:.2g}")
    if digits < 0.001:
        return "<0.001 %"
    return f"{digits:g} %" if digits < 100.0 else ">99 %"


def minutes(value: float) -> str:
    """Minutes, to the half; less than that is a moment."""
    rounded = round(value * 2) / 2
    return f"{rounded:g} min" if rounded else "a moment"


def counted(count: int, what: str) -> str:
    """So many of something: "1 check", "3 checks"."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def in_figures(value: float) -> str:
    """A measured number as people say it: to a tenth from 10 on, else to four digits."""
    return f"{round(value, 1):g}" if abs(value) >= 10.0 and value < 1e5 else f"{value:.4g}"
