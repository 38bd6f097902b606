"""Numbers as people say them."""

from __future__ import annotations


def percent(probability: float) -> str:
    """A probability in percent; never 0% or 100% for what is only nearly so."""
    if 0 < probability < 0.01:
        return "under 1%"
    if 0.99 < probability < 1:
        return "over 99%"
    return f"{probability:.0%}"


def chance(probability: float) -> str:
    """A probability in percent, or "1 in so many" (two digits) where it is small."""
    if 0 < probability < 0.01:
        return f"1 in {float(f'{1 / probability:.2g}'):,.0f}"
    return percent(probability)


def minutes(value: float) -> str:
    """A time in whole minutes."""
    return "under 1 min" if 0 < value < 1 else f"{value:.0f} min"


def counted(count: int, what: str) -> str:
    """So many of something: "1 check", "3 checks"."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
