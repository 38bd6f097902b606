"""Made-up houses by the thousand, and a gauge that is not exact.

For simulated calls, audits and benchmarks. The ranges are common practice for one-family houses;
no single number here is a measurement.
"""

from __future__ import annotations

import numpy as np

from stillflow.engine.airflow.air import Array
from stillflow.engine.airflow.houses import TAP, Houses
from stillflow.engine.airflow.system import System

Range = tuple[float, float]

_LENGTHS: dict[str, Range] = {
    "trunk.length_ft": (25.0, 75.0),
    "trunk.fittings": (0.8, 3.0),
    "branch.length_ft": (3.0, 18.0),
    "branch.fittings": (0.6, 1.6),
    "exhaust.length_ft": (2.0, 15.0),
    "exhaust.fittings": (0.5, 1.5),
    "hose.length_ft": (28.0, 36.0),
}
_ALONG = tuple(f"{what}.{run}_along" for what in ("holes", "throats")
               for run in ("trunk", "branch", "hose"))  # fmt: skip


def draw_houses(
    generator: np.random.Generator,
    count: int,
    system: System,
    altitude_ft: Range = (0.0, 0.0),
) -> Houses:
    """Healthy houses of all sizes, with the inlets and the unit of a system.

    Lengths and fittings of trunk, branches, exhaust and hose are drawn evenly; inlets leave the
    trunk anywhere in its outer four fifths, the farthest at its end; where damage would sit along
    a run is drawn too.

    Args:
        generator: where the chance comes from.
        count: how many.
        system: gives everything that is not drawn.
        altitude_ft: range of altitudes, ft.

    Returns:
        `count` houses.
    """
    houses = Houses.of([system]).repeat(count)
    drawn: dict[str, Array] = {
        key: generator.uniform(*range_, houses[key].shape) for key, range_ in _LENGTHS.items()
    }
    drawn |= {key: generator.uniform(0.05, 0.95, count) for key in _ALONG}
    taps = generator.uniform(0.2, 1.0, houses[TAP].shape)
    drawn[TAP] = taps / taps.max(axis=1, keepdims=True) * drawn["trunk.length_ft"][:, None]
    drawn["altitude_ft"] = generator.uniform(*altitude_ft, count)
    return houses.with_values(drawn)


def gauge_noise(generator: np.random.Generator, table: Array, tolerance: float) -> Array:
    """Readings as a gauge good to +-tolerance shows them: each times an even draw of 1 +- that.

    Args:
        generator: where the chance comes from.
        table: true readings, inH2O, any shape.
        tolerance: share, such as 0.02.
    """
    return table * generator.uniform(1.0 - tolerance, 1.0 + tolerance, table.shape)
