"""Readings laid along the air path, beside what this system should read."""

from __future__ import annotations

from small_rules import small

from stillflow.engine import Session
from stillflow.engine.base.scales import AirState, Station
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.stations import greatest_loss, step_words, verdict
from stillflow.engine.inference.facts import Spot
from stillflow.engine.inference.visit import Unit, Visit
from stillflow.engine.views.stations import air_path

SEALED, WORKING = AirState.SEALED, AirState.WORKING
BASELINE = Session(small(), Visit(unit=Unit(rated_sealed=130, rated_airflow=114))).baseline
CLASS = Session(small()).baseline
TITLE = TitleBlock(title="Where")


def healthy(*spots: Spot) -> dict[Spot, float]:
    return {spot: BASELINE.at(*spot) for spot in spots}


def test_stations_stand_in_the_order_of_the_air_path() -> None:
    path = air_path({}, BASELINE, 0.02, TITLE)
    assert [one.title for one in path.stations] == ["Unit", "Inlet", "Hose end"]
    assert verdict(path) == "There are no readings to compare yet."


def test_the_utility_inlet_is_shown_where_it_was_read_and_other_branches_never() -> None:
    readings = healthy((SEALED, Station.UTILITY), (SEALED, Station.OTHER))
    path = air_path(readings, BASELINE, 0.02, TITLE)
    assert [one.title for one in path.stations] == ["Unit", "Utility inlet", "Inlet", "Hose end"]


def test_expected_comes_from_the_baseline_and_found_from_the_readings() -> None:
    path = air_path({(WORKING, Station.HOSE): 28.0}, BASELINE, 0.02, TITLE)
    hose = path.stations[-1].working
    assert hose.found == 28.0
    assert hose.expected == round(BASELINE.at(WORKING, Station.HOSE))
    assert path.stations[-1].sealed.found is None


def test_a_squeezed_hose_is_seen_on_the_last_step() -> None:
    readings = healthy((WORKING, Station.UNIT), (WORKING, Station.INLET))
    path = air_path({**readings, (WORKING, Station.HOSE): 28.0}, BASELINE, 0.02, TITLE)
    worst = greatest_loss(path)
    assert worst is not None
    assert step_words(path, worst) == "between Inlet and Hose end"


def test_what_the_gauge_and_the_baseline_leave_open_is_no_loss() -> None:
    for baseline, off in ((BASELINE, 3.0), (CLASS, 12.0)):
        spot = (SEALED, Station.INLET)
        readings = {spot: baseline.at(*spot) - off}
        assert greatest_loss(air_path(readings, baseline, 0.02, TITLE)) is None
    tight = air_path({spot: BASELINE.at(*spot) - 12.0}, BASELINE, 0.02, TITLE)
    assert greatest_loss(tight) is not None


def test_what_was_read_after_a_fix_stands_beside_what_was_found() -> None:
    spot = (AirState.WORKING, Station.HOSE)
    baseline = Session(small()).baseline
    path = air_path({spot: 30.0}, baseline, 0.02, TitleBlock(title="x"), {spot: 55.04})
    hose = path.stations[-1]
    assert (hose.working.found, hose.working.after) == (30.0, 55.0)
    assert hose.sealed.after is None
