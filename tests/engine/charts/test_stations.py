"""The station chart finds the step on which suction is lost."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from stillflow.engine.base.errors import InputError
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.scene import Text
from stillflow.engine.charts.stationdrawing import station_chart
from stillflow.engine.charts.stations import (
    AirPath,
    ChartStation,
    StationReading,
    greatest_loss,
    losses,
    verdict,
)

TITLE = TitleBlock(title="Where suction is lost")


def air_path(*sealed: tuple[float | None, float | None], tolerance: float = 0.04) -> AirPath:
    stations = tuple(
        ChartStation(title=f"Station {i}", sealed=StationReading(expected=e, found=f))
        for i, (e, f) in enumerate(sealed)
    )
    return AirPath(title=TITLE, stations=stations, tolerance=tolerance)


def test_a_leak_between_unit_and_inlet_shows_on_that_step() -> None:
    worst = greatest_loss(air_path((130, 127), (130, 90), (128, 88)))
    assert worst is not None
    assert (worst.since, worst.station, worst.condition, worst.amount) == (0, 1, "sealed", 37)


def test_a_weak_unit_shows_on_the_first_step() -> None:
    worst = greatest_loss(air_path((130, 90), (130, 90)))
    assert worst is not None
    assert (worst.since, worst.station, worst.amount) == (-1, 0, 40)


def test_an_obstruction_shows_in_the_working_reading_though_sealed_is_sound() -> None:
    # 130 inH2O fan with and without a squeeze in 60 ft of tubing: shared values derived for the
    # airflow model (sealed unchanged, working lower at the end and higher at the unit).
    path = AirPath(
        title=TITLE,
        stations=(
            ChartStation(
                title="Unit",
                sealed=StationReading(expected=130, found=130),
                working=StationReading(expected=81.1, found=84.2),
            ),
            ChartStation(
                title="Inlet",
                sealed=StationReading(expected=130, found=130),
                working=StationReading(expected=76.5, found=66.9),
            ),
        ),
    )
    worst = greatest_loss(path)
    assert worst is not None
    assert (worst.since, worst.station, worst.condition) == (0, 1, "working")
    assert worst.amount == pytest.approx(12.7)


def test_a_station_that_was_not_read_is_stepped_over() -> None:
    worst = greatest_loss(air_path((130, 128), (130, None), (None, 100), (130, 80)))
    assert worst is not None
    assert (worst.since, worst.station, worst.amount) == (0, 3, 48)


def test_a_loss_within_the_tolerance_is_not_called_one() -> None:
    path = air_path((130, 126), (130, 122))
    assert greatest_loss(path) is None
    assert "No step loses more" in verdict(path)
    assert greatest_loss(air_path((130, 126), (130, 122), tolerance=0.02)) is not None


def test_each_condition_is_judged_by_what_is_expected_in_it() -> None:
    unit = ChartStation(title="Unit", sealed=StationReading(expected=130, found=120))
    hose = ChartStation(title="Hose end", working=StationReading(expected=60, found=45))
    path = AirPath(title=TITLE, stations=(unit, hose), tolerance=0.2)
    worst = greatest_loss(path)
    assert worst is not None
    assert (worst.condition, worst.amount) == ("working", 15)


def test_without_readings_nothing_is_claimed() -> None:
    assert verdict(air_path((130, None))) == "There are no readings to compare yet."


@given(st.lists(st.tuples(st.floats(0, 200), st.floats(0, 200)), min_size=1, max_size=6))
def test_the_losses_add_up_to_the_shortfall_at_the_end(pairs: list[tuple[float, float]]) -> None:
    lost = sum(loss.amount for loss in losses(air_path(*pairs)))
    assert lost == pytest.approx(pairs[-1][0] - pairs[-1][1], abs=1e-9)


def test_the_chart_says_what_is_lost_where(stations: AirPath) -> None:
    (scene,) = station_chart(stations).pages(None)
    words = " ".join(m.text for g in scene.groups for m in g.marks if isinstance(m, Text))
    assert "Most suction is lost here: 36 inH2O sealed" in words
    assert "not read" in words
    assert "127 (98 %)" in words


def test_the_table_of_losses_is_in_the_data(stations: AirPath) -> None:
    data = station_chart(stations).data
    assert {"to": "Hose end", "condition": "sealed", "lost": 36.0} in data["losses"]
    assert data["verdict"].startswith("Most suction is lost between")


@given(
    st.lists(
        st.tuples(
            st.none() | st.floats(0, 1e6),
            st.none() | st.floats(0, 1e6),
        ),
        min_size=1,
        max_size=4,
    )
)
def test_any_readings_can_be_drawn(pairs: list[tuple[float | None, float | None]]) -> None:
    (scene,) = station_chart(air_path(*pairs)).pages(None)
    for mark in (m for group in scene.groups for m in group.marks):
        places = [(mark.x, mark.y)] if isinstance(mark, Text) else [mark.start]
        assert all(-1 <= x <= scene.width + 1 and -1 <= y <= scene.height + 1 for x, y in places)


def test_a_path_without_stations_or_with_impossible_values_is_refused() -> None:
    with pytest.raises(InputError, match="at least one station"):
        AirPath(title=TITLE, stations=())
    with pytest.raises(ValidationError):
        StationReading(found=-1)
    with pytest.raises(ValidationError):
        StationReading(found=float("inf"))
