"""Fan lines: from ratings, pairs and points, and what speed and thin air do to them."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from stillflow.engine.airflow.fan import Fan, fan_from_rating
from stillflow.engine.airflow.fan_fit import fan_from_pair
from stillflow.engine.airflow.gauge import readings
from stillflow.engine.airflow.system import Holes, Hose, System
from stillflow.engine.base.errors import InputError


@pytest.mark.parametrize(
    ("sealed", "airflow", "orifice", "working"),
    # A straight line against the F558 orifice equation, by hand: 130 inH2O / 114.5 cfm and
    # 90 / 78.9 with orifices of 1/2, 5/8, 3/4 in.
    [
        (130, 114.5, 0.5, 95.2), (130, 114.5, 0.625, 80.0), (130, 114.5, 0.75, 64.9),
        (90, 78.9, 0.5, 61.7), (90, 78.9, 0.625, 50.0), (90, 78.9, 0.75, 39.0),
    ],
)  # fmt: skip
def test_working_suction_of_a_bare_fan(bare, sealed, airflow, orifice, working):
    changed = {"fan": fan_from_rating(sealed, airflow), "orifice_in": orifice}
    system = bare.model_copy(update=changed)
    assert readings(system, "unit", "working") == pytest.approx(working, abs=0.1)
    assert readings(system, "unit", "sealed") == pytest.approx(sealed, abs=1e-5)


@pytest.mark.parametrize(
    ("sealed", "airflow", "hole", "left"),
    # Sealed suction of a bare fan with a sharp hole, by hand (C = 0.60, expansibility).
    [
        (130, 114.5, 0.25, 120.6), (130, 114.5, 0.375, 109.6), (130, 114.5, 0.5, 95.8),
        (90, 78.9, 0.25, 82.0), (90, 78.9, 0.375, 72.9), (90, 78.9, 0.5, 61.8),
    ],
)  # fmt: skip
def test_sealed_suction_with_a_leak(bare, sealed, airflow, hole, left):
    changed = {"fan": fan_from_rating(sealed, airflow), "holes": Holes(bin=hole)}
    assert readings(bare.model_copy(update=changed), "unit", "sealed") == pytest.approx(
        left, abs=0.15
    )


@pytest.mark.parametrize(
    ("sealed", "airflow", "hole", "left"),
    # The same with the F558 orifice beside the hole: h0 (1 - (Q + Q_leak) / Qmax) = h by hand.
    [(130, 114.5, 0.25, 74.19), (130, 114.5, 0.375, 67.52), (90, 78.9, 0.25, 45.61),
     (90, 78.9, 0.375, 40.70)],
)  # fmt: skip
def test_working_suction_with_a_leak(bare, sealed, airflow, hole, left):
    changed = {"fan": fan_from_rating(sealed, airflow), "holes": Holes(bin=hole)}
    assert readings(bare.model_copy(update=changed), "unit", "working") == pytest.approx(
        left, abs=0.02
    )


@pytest.mark.parametrize(
    ("volts", "share"),
    # Series motor with a fan: speed as V^(2/3), suction as V^(4/3) (derived: torque as current^2,
    # load as speed^2); ANSI C84.1 service voltages, from memory.
    [(114, 0.934), (110, 0.890), (126, 1.067)],
)
def test_low_voltage_lowers_suction(house, volts, share):
    fan = house.fan.model_copy(update={"speed": (volts / 120.0) ** (2 / 3)})
    weak = house.model_copy(update={"fan": fan})
    ratio = readings(weak, "unit", "sealed") / readings(house, "unit", "sealed")
    assert ratio == pytest.approx(share, abs=0.001)


def test_thin_air_takes_suction_by_the_two_thirds_power_of_density(house):
    high = house.model_copy(update={"altitude_ft": 5280.0})
    sealed = readings(high, "unit", "sealed")
    assert sealed == pytest.approx(114.2, abs=0.1)  # derived: torque as current^(4/3)
    # Bounds: constant speed (fan laws, rho^1) and rho^(1/2).
    assert 130 * 0.82341 < sealed < 130 * 0.82341**0.5
    # The F558 correction h_std = h (1 + 0.667 (1 - Dr)) (from memory) says 116.3.
    assert sealed == pytest.approx(116.3, rel=0.05)


def test_a_present_day_unit_a_mile_up_is_healthy_at_112_and_66(house):
    high = house.model_copy(update={"altitude_ft": 5280.0})
    assert readings(high, "inlet", "sealed") == pytest.approx(112, rel=0.03)
    assert readings(high, "inlet", "working") == pytest.approx(66, rel=0.03)


def test_a_measured_fan_line_bends_where_it_was_measured(bare):
    fan = Fan(sealed_inh2o=130, airflow_cfm=111.5, between=((44.0, 70.0), (100.0, 12.0)))
    system = bare.model_copy(update={"fan": fan})
    assert readings(system, "unit", "working") < 75.0
    assert readings(system, "unit", "sealed") == pytest.approx(130.0, abs=1e-5)


def test_a_bent_line_through_points_on_a_straight_one_changes_nothing(bare):
    straight = fan_from_rating(130, 114.5)
    bent = Fan(sealed_inh2o=130, airflow_cfm=114.5, between=((57.25, 65.0), (80.15, 39.0)))
    one, other = (
        readings(bare.model_copy(update={"fan": fan}), "unit", "working")
        for fan in (straight, bent)
    )
    assert one == pytest.approx(other, abs=1e-5)


@pytest.mark.parametrize("station", ["unit", "utility", "inlet", "hose"])
@pytest.mark.parametrize(("sealed", "working"), [(130, 76), (90, 50)])
def test_a_pair_of_readings_comes_back_out_of_the_fan_matched_to_it(station, sealed, working):
    system = System(fan=fan_from_pair(sealed, working, station=station))
    assert readings(system, station, "sealed") == pytest.approx(sealed, abs=1e-4)
    assert readings(system, station, "working") == pytest.approx(working, abs=1e-4)


def test_a_pair_is_matched_in_a_house_with_a_leak_at_altitude(house):
    leaky = house.model_copy(
        update={
            "altitude_ft": 5000.0,
            "holes": Holes(trunk=0.2, motor=0.1),
            "hose": Hose(length_ft=40),
        }
    )
    matched = leaky.model_copy(update={"fan": fan_from_pair(100, 40, leaky, "hose")})
    assert readings(matched, "hose", "sealed") == pytest.approx(100, abs=1e-4)
    assert readings(matched, "hose", "working") == pytest.approx(40, abs=1e-4)


@pytest.mark.parametrize(("sealed", "working"), [(90, 90), (90, 95), (90, 0), (100, 99)])
def test_a_pair_no_fan_could_give_is_refused(sealed, working):
    with pytest.raises(InputError):
        fan_from_pair(sealed, working)


@pytest.mark.parametrize(
    "between",
    [[(44.0, 140.0)], [(50.0, 60.0), (40.0, 50.0)], [(50.0, 60.0), (60.0, 60.0)],
     [(120.0, 20.0)], [(0.0, 90.0)], [(99.0, -4.0)]],
)  # fmt: skip
def test_points_that_make_no_fan_line_are_refused(between):
    with pytest.raises(ValueError, match="suction must fall as airflow rises"):
        Fan(sealed_inh2o=130, airflow_cfm=110, between=between)


def test_two_motors_in_series_and_in_parallel_lose_one_each_in_its_way(house):
    weak = {}
    for arrangement in ("series", "parallel"):
        both = Fan(sealed_inh2o=130, airflow_cfm=114, motors=2, arrangement=arrangement)
        one = both.model_copy(update={"running": 1})
        weak[arrangement] = [
            readings(house.model_copy(update={"fan": fan}), "unit", "sealed") for fan in (both, one)
        ]
    assert weak["series"] == pytest.approx([130.0, 65.0], abs=1e-4)
    assert weak["parallel"][0] == pytest.approx(130.0, abs=1e-4)
    assert weak["parallel"][1] < 100.0  # air comes back through the idle one


def test_more_motors_cannot_run_than_there_are():
    with pytest.raises(ValidationError, match="2 motors cannot run in a unit with 1"):
        Fan(sealed_inh2o=130, airflow_cfm=114, running=2)
