"""From the readings of a visit to sizes: how big a leak or a squeeze would explain them.

Bridges the visit's readings and baseline to the airflow model's `estimate`, which does the work.
"""

from __future__ import annotations

from collections.abc import Mapping

from stillflow.engine.airflow import Estimate, Reading, estimate
from stillflow.engine.inference.baseline import Baseline
from stillflow.engine.inference.facts import Spot

HOUSE_TOLERANCE = 0.01
"""Share of a reading that rests on how well a rated house is known (assumed)."""


def tolerance_of(baseline: Baseline, gauge_tolerance: float) -> float:
    """How far a reading may be from what was expected without anything wrong, as a share of it.

    Args:
        baseline: what this system should read, and how well that is known.
        gauge_tolerance: share of the reading.
    """
    return gauge_tolerance + (baseline.tolerance if baseline.wide else HOUSE_TOLERANCE)


def sized(
    readings: Mapping[Spot, float], baseline: Baseline, gauge_tolerance: float
) -> Estimate | None:
    """What the readings say is wrong, and how much; None without readings.

    Args:
        readings: suction in inH2O by state and station, gauge zero taken off.
        baseline: what this system should read, and the air path behind that.
        gauge_tolerance: share of the reading.
    """
    if not readings:
        return None
    taken = [
        Reading(station=station.value, condition=state.value, inh2o=value)
        for (state, station), value in readings.items()
    ]
    return estimate(taken, baseline.system, tolerance_of(baseline, gauge_tolerance))
