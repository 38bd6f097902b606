"""How a house's readings move from year to year: a straight line, and how sure its slope is.

Ordinary least squares with the scatter of the gauge taken as known, so that three visits say
something: the variance of the slope is sigma^2 / sum((t - mean t)^2) (Draper and Smith, Applied
Regression Analysis, section 1.4), and its interval that of the normal distribution. Where the
visits lie about their line as the gauge alone would leave them in one of a hundred houses, there is
more in them than the gauge: then their own scatter counts, with Student's t for as few as they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

NOMINAL = 1.96
"""Standard deviations of a two-sided 95 % interval."""

SURE = 2.6
"""Standard deviations by which a slope must be below zero to be named. Both states are looked at,
anew with every visit, and a house in good order is to be called so in under 5 % of histories."""

_RARE = 2.326
"""Standard deviations that one in a hundred is above."""

_STUDENT = (12.706, 4.303, 3.182, 2.776)
"""Student's t for 95 %, two-sided, of 1 to 4 degrees of freedom (from memory, tested)."""

FEWEST = 3
"""Visits that make a trend."""


@dataclass(frozen=True)
class Drift:
    """A line through shares of expected over years.

    Attributes:
        per_year: change of the share in a year.
        low, high: its 95 % interval.
        now: share on the line at the last visit.
        next_year: share on the line a year after the last visit.
        declining: surely falling.
        weak_by: years after the last visit until the line meets weak; None if it does not fall.
    """

    per_year: float
    low: float
    high: float
    now: float
    next_year: float
    declining: bool
    weak_by: float | None


def drift(
    years: Sequence[float], shares: Sequence[float], scatter: float, weak: float
) -> Drift | None:
    """The line through a house's readings; None with too few visits, or all on one day.

    Args:
        years: when, in years from any day, rising.
        shares: what was read as a share of what was expected.
        scatter: standard deviation of one share, known from the gauge.
        weak: the share below which suction is weak.
    """
    if len(years) < FEWEST:
        return None
    count = len(years)
    middle, level = sum(years) / count, sum(shares) / count
    spread = sum((year - middle) ** 2 for year in years)
    if spread <= 1e-6:
        return None
    off = [(year - middle, share - level) for year, share in zip(years, shares, strict=True)]
    slope = sum(year * share for year, share in off) / spread
    about = sum((share - slope * year) ** 2 for year, share in off)
    error = scatter / sqrt(spread)
    half = NOMINAL * error
    if about > scatter**2 * _chi_square(count - 2):
        half = _student(count - 2) * sqrt(about / (count - 2) / spread)
    now = level + slope * (years[-1] - middle)
    weak_by = None
    if slope < 0.0:
        weak_by = max(0.0, (weak - now) / slope)
    return Drift(
        per_year=slope,
        low=slope - half,
        high=slope + half,
        now=now,
        next_year=now + slope,
        declining=slope + max(SURE * error, half) < 0.0,
        weak_by=weak_by,
    )


def _chi_square(freedom: int) -> float:
    """What chi-square of so many degrees is above in one of a hundred (Wilson and Hilferty)."""
    part = 2.0 / (9.0 * freedom)
    return float(freedom * (1.0 - part + _RARE * sqrt(part)) ** 3)


def _student(freedom: int) -> float:
    """Student's t for a two-sided 95 % interval (Abramowitz and Stegun 26.7.5, from memory)."""
    if freedom <= len(_STUDENT):
        return _STUDENT[freedom - 1]
    z = NOMINAL
    first = (z**3 + z) / 4
    second = (5 * z**5 + 16 * z**3 + 3 * z) / 96
    third = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384
    return z + (first + (second + third / freedom) / freedom) / freedom
