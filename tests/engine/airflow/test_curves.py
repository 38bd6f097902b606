"""The lines of a chart go through the readings they explain."""

from __future__ import annotations

import numpy as np
import pytest

from stillflow.engine.airflow.curves import airflow_chart
from stillflow.engine.airflow.gauge import readings
from stillflow.engine.airflow.points import Reading
from stillflow.engine.airflow.system import Holes


@pytest.fixture
def leaky(house):
    broken = house.model_copy(update={"holes": Holes(trunk=0.45, trunk_along=0.25)})
    points = [(s, c) for s in ("unit", "inlet") for c in ("sealed", "working")]
    taken = [Reading(station=s, condition=c, inh2o=readings(broken, s, c)) for s, c in points]
    return airflow_chart(house, broken, taken, [readings(house, s, c) for s, c in points])


def line(chart, of, state):
    one = next(part for part in chart.lines if (part.of, part.state) == (of, state))
    return np.array(one.airflow_cfm), np.array(one.suction_inh2o)


def test_found_lines_go_through_the_marks_and_healthy_ones_through_what_was_expected(leaky):
    for mark in leaky.marks:
        for state, flow, suction in (
            ("found", mark.airflow_cfm, mark.suction_inh2o),
            ("healthy", mark.expected_airflow_cfm, mark.expected_suction_inh2o),
        ):
            airflow, left = line(leaky, mark.station, state)
            assert np.interp(flow, airflow, left) == pytest.approx(suction, rel=0.01)


def test_working_marks_lie_on_the_orifice_line_and_sealed_ones_at_no_airflow(leaky):
    airflow, suction = line(leaky, "orifice", "healthy")
    for mark in leaky.marks:
        if mark.condition == "working":
            assert np.interp(mark.suction_inh2o, suction, airflow) == pytest.approx(
                mark.airflow_cfm, rel=0.01
            )
        else:
            assert mark.airflow_cfm == 0.0


def test_the_orifice_line_is_as_smooth_at_its_foot_as_at_its_end(leaky):
    airflow, _ = line(leaky, "orifice", "healthy")
    steps = np.diff(airflow)
    assert steps.max() < 1.5 * steps.min()


def test_airflow_rises_and_suction_falls_along_each_line(leaky):
    for part in leaky.lines:
        airflow, suction = np.array(part.airflow_cfm), np.array(part.suction_inh2o)
        assert (np.diff(airflow) > 0).all()
        assert (
            (np.diff(suction) > 0).all() if part.of == "orifice" else (np.diff(suction) < 0).all()
        )
