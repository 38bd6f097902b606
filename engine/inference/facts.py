"""From readings and a baseline to the facts that rules speak of.

Pure arithmetic: share of expected, level, what is kept from station to station (the ratio of
their shares). What the facts mean is the rules' business; their names are listed in `vocabulary`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from stillflow.engine.base import KEPT_PAIRS, AirState, Station
from stillflow.engine.inference.baseline import Baseline
from stillflow.engine.inference.inlets import At
from stillflow.engine.inference.visit import Visit
from stillflow.engine.ruleset import FactValue, Level

Spot = tuple[AirState, At]
"""Whether air flows, and where the gauge is put."""


def judge(share: float, levels: Sequence[Level], wide: bool) -> str:
    """The id of the level a share of expected falls in.

    Args:
        share: reading / expected, dimensionless.
        levels: in rising order, the last without an upper edge.
        wide: judge by the edges for a baseline that is only a class of unit.
    """
    edges = ((level.below_class if wide else level.below, level.id) for level in levels)
    return next(name for edge, name in edges if edge is None or share < edge)


def is_good(share: float, levels: Sequence[Level], wide: bool) -> bool:
    """Whether a share of expected is as it should be; arguments as of `judge`."""
    found = judge(share, levels, wide)
    return next(level.good for level in levels if level.id == found)


def reads_well(spot: Spot, value: float, baseline: Baseline, levels: Sequence[Level]) -> bool:
    """Whether a reading, in inH2O, is as it should be at its spot."""
    return is_good(value / baseline.at(*spot), levels, baseline.wide)


def typical(level: Level, wide: bool) -> float:
    """A share of expected that stands for the level in look-ahead."""
    return level.typical_class if wide else level.typical


def typical_reading(baseline: Baseline, spot: Spot, level: Level) -> float:
    """The reading in inH2O at a spot that stands for a level."""
    return baseline.at(*spot) * typical(level, baseline.wide)


def reading_facts(
    readings: Mapping[Spot, float],
    baseline: Baseline,
    levels: Sequence[Level],
    about: Collection[Spot] | None = None,
) -> dict[str, FactValue]:
    """Every fact that follows from a set of readings.

    Args:
        readings: suction in inH2O by state and station, gauge zero taken off.
        baseline: what this system should read.
        levels: the bands of share of expected.
        about: only what follows from these, each alone or with any other; all by default.

    Rules speak of stations alone: no fact follows from what was read at further inlets.
    """
    about = readings if about is None else about
    facts: dict[str, FactValue] = {}
    for state, station in about:
        if not isinstance(station, Station):
            continue
        value = readings[state, station]
        share = value / baseline.at(state, station)
        facts[f"reading.{state}.{station}"] = value
        facts[f"share.{state}.{station}"] = share
        facts[f"level.{state}.{station}"] = judge(share, levels, baseline.wide)
        for near, far in KEPT_PAIRS:
            one: Spot = state, near
            other: Spot = state, far
            if station in (near, far) and one in readings and other in readings:
                pair = f"{state}.{near}-{far}"
                facts[f"drop.{pair}"] = readings[one] - readings[other]
                here = readings[one] / baseline.at(*one)
                if here > 0:
                    facts[f"kept.{pair}"] = readings[other] / baseline.at(*other) / here
        sealed = readings.get((AirState.SEALED, station))
        working = readings.get((AirState.WORKING, station))
        if sealed is not None and working is not None:
            facts[f"margin.{station}"] = sealed - working
    return facts


def standing_facts(visit: Visit, baseline: Baseline) -> dict[str, FactValue]:
    """The facts that hold before anything is measured: the unit, the site, the baseline."""
    facts: dict[str, FactValue] = {
        "baseline.from": baseline.origin,
        "baseline.tolerance": baseline.tolerance,
        "expected.working.hose": baseline.at(AirState.WORKING, Station.HOSE),
        "visit.purpose": visit.purpose,
        "site.altitude_ft": visit.site.altitude_ft,
    }
    if visit.unit.age_years is not None:
        facts["unit.age_years"] = visit.unit.age_years
    if visit.unit.motors is not None:
        facts["unit.motors"] = float(visit.unit.motors)
    if visit.unit.filter is not None:
        facts["unit.filter"] = visit.unit.filter
    return facts
