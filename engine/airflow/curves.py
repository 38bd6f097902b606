"""The lines of an airflow chart: suction against airflow, healthy against found.

Pure data for whoever draws it. All lines share one pair of axes: airflow through the opening (cfm)
and suction left there (inH2O), so a sealed reading lies at no airflow and a working one where the
line of its station meets the orifice's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from stillflow.engine.airflow.air import Array
from stillflow.engine.airflow.gauge import readings_table
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.network import Loss
from stillflow.engine.airflow.path import find_path
from stillflow.engine.airflow.points import GaugePoint, Reading, columns
from stillflow.engine.airflow.power import orifice_flow, path_to
from stillflow.engine.airflow.system import System
from stillflow.engine.base import Model

State = Literal["healthy", "found"]

OPENINGS = 41
WIDEST_OPENING_IN = 2.0


class Line(Model):
    """One line: what it is, whether of the healthy or the found system, and its points.

    Attributes:
        of: `fan`, `orifice`, or the station it is the suction left at.
        inlet: the inlet's name, if it has one.
        state: `healthy` or `found`; the orifice has only `healthy`.
        airflow_cfm: rising.
        suction_inh2o: at each airflow.
    """

    of: str
    inlet: str | None = None
    state: State
    airflow_cfm: tuple[float, ...]
    suction_inh2o: tuple[float, ...]


class Mark(Model):
    """One reading as a mark on the chart, and what was expected there."""

    station: str
    condition: str
    inlet: str | None
    airflow_cfm: float
    suction_inh2o: float
    expected_airflow_cfm: float
    expected_suction_inh2o: float


class AirflowChart(Model):
    """All lines and marks of one chart; `after` are readings taken again after a fix."""

    lines: tuple[Line, ...]
    marks: tuple[Mark, ...]
    after: tuple[Mark, ...] = ()


def airflow_chart(
    system: System,
    found: System,
    readings: Sequence[Reading],
    expected: Sequence[float],
    after: Sequence[tuple[Reading, float]] = (),
) -> AirflowChart:
    """The lines and marks for readings and what explains them best.

    Args:
        system: in the state it should be in.
        found: with what explains the readings best put in.
        readings: as taken.
        expected: what the system should read at each, inH2O.
        after: readings taken again after a fix, each with what the system should read there.

    Returns:
        The fan line and the line of each station read, healthy and found, the orifice's line, and
        the readings as marks.
    """
    systems: dict[State, System] = {"healthy": system, "found": found}
    stations = list(dict.fromkeys((r.station, r.inlet) for r in readings))
    lines = [_fan_line(one, state) for state, one in systems.items()]
    lines += [
        _station_line(one, state, station, inlet)
        for station, inlet in stations
        for state, one in systems.items()
    ]
    highest = max(max(line.suction_inh2o) for line in lines)
    lines.append(_orifice_line(system, highest))
    marks = [_mark(system, one, should) for one, should in zip(readings, expected, strict=True)]
    again = tuple(_mark(system, one, should) for one, should in after)
    return AirflowChart(lines=tuple(lines), marks=tuple(marks), after=again)


def _fan_line(system: System, state: State) -> Line:
    fan = path_to(system, GaugePoint("unit", "sealed")).fan
    end = float((fan.stretch * system.fan.airflow_cfm).max())
    w = np.linspace(0.0, end, OPENINGS)
    suction = replace(fan, exhaust=Loss()).suction(w[None, :, None])[0, :, 0]
    return _line("fan", state, w, suction)


def _station_line(system: System, state: State, station: str, inlet: str | None) -> Line:
    """Suction left at a station as the opening there grows from nothing."""
    openings = np.linspace(0.0, WIDEST_OPENING_IN, OPENINGS)
    houses = Houses.of([system]).repeat(OPENINGS).with_values({"orifice_in": openings})
    point = GaugePoint(station, "working", inlet)
    suction = readings_table(houses, [point])[:, 0]
    path = find_path(houses, columns([point], houses))
    airflow = path.flow_in(suction[:, None])[:, 0]
    return _line(station, state, airflow, suction, inlet)


def _orifice_line(system: System, highest: float) -> Line:
    # Flow grows as the root of suction, so even steps of the root keep the foot smooth.
    suction = highest * np.linspace(0.0, 1.0, OPENINGS) ** 2
    return _line("orifice", "healthy", orifice_flow(system, suction), suction)


def _mark(system: System, reading: Reading, expected: float) -> Mark:
    flow = np.zeros(2)
    if reading.condition == "working":
        flow = orifice_flow(system, np.array([reading.inh2o, expected]))
    return Mark(
        station=reading.station,
        condition=reading.condition,
        inlet=reading.inlet,
        airflow_cfm=float(flow[0]),
        suction_inh2o=reading.inh2o,
        expected_airflow_cfm=float(flow[1]),
        expected_suction_inh2o=expected,
    )


def _line(of: str, state: State, w: Array, suction: Array, inlet: str | None = None) -> Line:
    flow, left = (tuple(map(float, one)) for one in (w, suction))
    return Line(of=of, inlet=inlet, state=state, airflow_cfm=flow, suction_inh2o=left)
