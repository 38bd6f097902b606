"""How true said probabilities are: deciles, expected calibration error, reliability diagram.

The expected calibration error is that of Naeini, Cooper and Hauskrecht (AAAI 2015) over ten bins of
equal width: the gap between the mean said and the share that was right, weighted by how many fell
in each bin. `by_chance` is what it would come to on average if every probability were exactly true,
with as many cases: a figure near it cannot be told from a perfect one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from stillflow.engine.base import Floats

EDGES = np.linspace(0.0, 1.0, 11)
DRAWN = 400


@dataclass(frozen=True)
class Bin:
    """One decile: its edges, how many fell in it, the mean said, the share right."""

    low: float
    high: float
    count: int
    said: float
    right: float


def bins(said: Floats, right: Floats) -> Iterator[Bin]:
    """The deciles in which something fell.

    Args:
        said: probabilities, (n,).
        right: 1 where it was so and 0 where it was not, (n,).
    """
    decile = np.clip(np.digitize(said, EDGES) - 1, 0, len(EDGES) - 2)
    for number, (low, high) in enumerate(pairwise(EDGES)):
        inside = decile == number
        if inside.any():
            count, mean = int(inside.sum()), float(said[inside].mean())
            yield Bin(float(low), float(high), count, mean, float(right[inside].mean()))


def expected_error(said: Floats, right: Floats) -> float:
    """Expected calibration error, 0 to 1; arguments as `bins`."""
    return sum(one.count * abs(one.said - one.right) for one in bins(said, right)) / len(said)


def by_chance(said: Floats) -> float:
    """What `expected_error` is on average where every probability is exactly true."""
    drawn = np.random.default_rng(0).random((DRAWN, len(said)))
    return float(np.mean([expected_error(said, row) for row in (drawn < said).astype(float)]))


def print_calibration(title: str, said: Floats, right: Floats) -> None:
    """Deciles and the error, as text."""
    print(f"\ncalibration of {title}: n, mean said, right (%)")
    for one in bins(said, right):
        print(
            f"  {one.low:.1f} to {one.high:.1f} {one.count:6d}  "
            f"{100 * one.said:5.1f}  {100 * one.right:5.1f}"
        )
    print(
        f"  expected calibration error {100 * expected_error(said, right):.1f} points; "
        f"{100 * by_chance(said):.1f} by chance alone were they exactly true"
    )


def draw(path: Path, series: Mapping[str, tuple[Floats, Floats]]) -> None:
    """A reliability diagram: what was right over what was said, areas by how many.

    Args:
        path: where it goes, such as `reliability.svg`.
        series: by name, what was said and whether it was right, (n,) each.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6.0, 5.0), layout="constrained")
    axes = figure.subplots()
    axes.plot([0, 100], [0, 100], color="0.6", linewidth=1, label="exactly true")
    for (name, (said, right)), marker in zip(series.items(), "osD^", strict=False):
        some = list(bins(said, right))
        count = np.array([one.count for one in some])
        share = np.array([one.right for one in some])
        # One standard error of a share, by the binomial distribution.
        spread = 100 * np.sqrt(share * (1.0 - share) / count)
        at = [100 * one.said for one in some]
        line = axes.errorbar(at, 100 * share, yerr=spread, linewidth=1, capsize=2, label=name)
        colour = line.lines[0].get_color()
        axes.scatter(at, 100 * share, s=10 + 300 * count / count.sum(), marker=marker, color=colour)
    axes.set(xlabel="said, %", ylabel="right, %", xlim=(0, 100), ylim=(0, 100), aspect="equal")
    axes.legend(loc="upper left", frameon=False)
    figure.savefig(path, metadata={"Date": None})
