"""Numbers as people say them, the same on the screen and on charts."""

from __future__ import annotations


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
    """A probability that is reckoned with: "1 in so many" (two digits) where it is small."""
    if 0.0 < probability < 0.01:
        return f"1 in {float(f'{1.0 / probability:.2g}'):,.0f}"
    return percent(probability) if 0.0 < probability < 1.0 else in_percent(probability)


def minutes(value: float) -> str:
    """Minutes, to the half; less than that is a moment."""
    rounded = round(value * 2) / 2
    return f"{rounded:g} min" if rounded else "a moment"


def counted(count: int, what: str) -> str:
    """So many of something: "1 check", "3 checks"."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
