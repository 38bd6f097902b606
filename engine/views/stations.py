"""The readings of a visit along the air path, as the strip that `charts` draws.

Takes readings and baseline as they are; where suction is lost is worked out by the chart.
"""

from __future__ import annotations

from collections.abc import Mapping

from stillflow.engine.base import AirState, Station
from stillflow.engine.charts import AirPath, ChartStation, StationReading, TitleBlock
from stillflow.engine.inference import Baseline, Spot, tolerance_of

_PATH: tuple[tuple[Station, str], ...] = (
    (Station.UNIT, "the unit itself: motor, filter, bin, intake"),
    (Station.UTILITY, "house joined on: its leaks count from here"),
    (Station.INLET, "tubing and this inlet"),
    (Station.HOSE, "hose"),
)
"""Where the gauge goes from the fan to the hose end, and what lies before each place."""


def air_path(
    readings: Mapping[Spot, float],
    baseline: Baseline,
    gauge_tolerance: float,
    title: TitleBlock,
    after: Mapping[Spot, float] | None = None,
) -> AirPath:
    """The readings along the path beside what was expected, inH2O.

    An inlet on another branch is not on this path, so its readings are left out; so is the utility
    inlet where nothing was read at it.

    Args:
        readings: suction by state and station, inH2O.
        baseline: what the system should read.
        gauge_tolerance: share of a reading.
        title: the title block.
        after: what was read after a fix, for a chart of before and after.
    """
    after = after or {}
    read = {station for _, station in (*readings, *after)}
    path = [(one, behind) for one, behind in _PATH if one is not Station.UTILITY or one in read]
    return AirPath(
        title=title,
        stations=tuple(
            ChartStation(
                title=station.words.removeprefix("the ").capitalize(),
                behind=behind,
                sealed=_reading(readings, baseline, AirState.SEALED, station, after),
                working=_reading(readings, baseline, AirState.WORKING, station, after),
            )
            for station, behind in path
        ),
        tolerance=tolerance_of(baseline, gauge_tolerance),
    )


def _reading(
    readings: Mapping[Spot, float],
    baseline: Baseline,
    state: AirState,
    station: Station,
    after: Mapping[Spot, float],
) -> StationReading:
    found, mended = readings.get((state, station)), after.get((state, station))
    return StationReading(
        expected=round(baseline.at(state, station)),
        found=None if found is None else round(found, 1),
        after=None if mended is None else round(mended, 1),
    )
