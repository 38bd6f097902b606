"""What must hold for any house: order of readings, and that more damage never helps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stillflow.engine.airflow.fan import Fan, fan_from_rating
from stillflow.engine.airflow.gauge import readings, readings_table
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.path import find_path
from stillflow.engine.airflow.points import EVERY_POINT, GaugePoint, columns
from stillflow.engine.airflow.system import Hose, Inlet, System, Tube

SLACK = 1e-4
"""inH2O; the balance is closed to 1e-6."""

POINTS = [*EVERY_POINT, GaugePoint("other", "sealed"), GaugePoint("other", "working")]
RUNS = ("trunk", "branch", "hose")


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False, allow_subnormal=False)


@st.composite
def houses(draw: st.DrawFn) -> System:
    trunk = draw(number(0.0, 120.0))
    return System(
        fan=fan_from_rating(draw(number(60, 180)), draw(number(60, 160))),
        trunk=Tube(length_ft=trunk, fittings=draw(number(0, 10))),
        inlets=(
            Inlet(tap_ft=None, branch=Tube(length_ft=draw(number(0, 30)), fittings=1.0)),
            Inlet(name="other", tap_ft=trunk * draw(number(0, 1)), branch=Tube(length_ft=8.0)),
        ),
        hose=Hose(length_ft=draw(number(5, 60)), bore_in=draw(number(1.0, 1.5))),
        altitude_ft=draw(number(0, 9000)),
    )


HOLES = [
    f"holes.{place}"
    for place in (
        *("motor", "bin", "utility", "intake"),
        *("trunk", "branch", "inlet", "other_inlet", "hose"),
    )
]
THROATS = [
    f"throats.{place}"
    for place in ("filter", "intake", "trunk", "branch", "inlet", "hose", "exhaust")
]


@st.composite
def damaged(draw: st.DrawFn) -> Houses:
    """One house with any damage on it, anywhere along its runs."""
    one = Houses.of([draw(houses())])
    changed = {key: np.array([draw(st.just(0.0) | number(0.05, 0.8))]) for key in HOLES}
    changed |= {key: np.array([draw(st.just(np.inf) | number(0.3, 2.0))]) for key in THROATS}
    changed |= {
        f"{what}.{run}_along": np.array([draw(number(0, 1))])
        for what in ("holes", "throats")
        for run in RUNS
    }
    return one.with_values(changed)


def read(houses_: Houses) -> dict[GaugePoint, float]:
    return dict(zip(POINTS, readings_table(houses_, POINTS)[0], strict=True))


@settings(max_examples=60, deadline=None)
@given(damaged())
def test_sealed_is_never_below_working(one):
    shown = read(one)
    for station in ("unit", "utility", "inlet", "hose", "other"):
        sealed = shown[GaugePoint(station, "sealed")]
        assert sealed >= shown[GaugePoint(station, "working")] - SLACK


@settings(max_examples=60, deadline=None)
@given(damaged(), st.sampled_from(HOLES), number(0.05, 0.6))
def test_a_bigger_hole_never_raises_any_reading(one, key, more):
    before = read(one)
    after = read(one.with_values({key: one[key] + more}))
    # An other inlet's gasket is out of play while that inlet itself is read.
    assert all(after[point] <= before[point] + SLACK for point in POINTS)


@settings(max_examples=60, deadline=None)
@given(houses(), st.sampled_from(THROATS), number(0.3, 1.6), number(0.02, 0.5))
def test_a_bigger_throat_never_lowers_a_reading_in_a_tight_house(house, key, throat, more):
    one = Houses.of([house])
    narrow = read(one.with_values({key: np.array([throat])}))
    wide = read(one.with_values({key: np.array([throat + more])}))
    assert all(wide[point] >= narrow[point] - SLACK for point in POINTS)


@settings(max_examples=60, deadline=None)
@given(damaged(), number(0.3, 1.6), number(0.02, 0.5))
def test_a_bigger_throat_never_lowers_what_is_read_beyond_it(one, throat, more):
    beyond = [GaugePoint("hose", condition) for condition in ("sealed", "working")]
    narrow = readings_table(one.with_values({"throats.hose": np.array([throat])}), beyond)
    wide = readings_table(one.with_values({"throats.hose": np.array([throat + more])}), beyond)
    assert (wide >= narrow - SLACK).all()


@settings(max_examples=60, deadline=None)
@given(houses())
def test_in_a_tight_house_sealed_is_the_same_everywhere_and_working_falls_outwards(house):
    shown = read(Houses.of([house]))
    top = shown[GaugePoint("unit", "sealed")]
    assert all(shown[p] == pytest.approx(top, abs=SLACK) for p in POINTS if p.condition == "sealed")
    unit, inlet, hose = (shown[GaugePoint(s, "working")] for s in ("unit", "inlet", "hose"))
    assert unit + SLACK >= inlet >= hose - SLACK


@settings(max_examples=60, deadline=None)
@given(damaged())
def test_far_stations_never_beat_near_ones_sealed(one):
    shown = read(one)
    unit, utility, inlet, hose = (
        shown[GaugePoint(s, "sealed")] for s in ("unit", "utility", "inlet", "hose")
    )
    assert unit >= utility - SLACK
    assert utility >= inlet - SLACK
    assert inlet >= hose - SLACK


@settings(max_examples=40, deadline=None)
@given(houses(), number(500, 10000))
def test_altitude_takes_sealed_suction_by_the_two_thirds_power_of_pressure(house, feet):
    from fluids.atmosphere import ATMOSPHERE_1976

    low = readings(house.model_copy(update={"altitude_ft": 0.0}), "inlet", "sealed")
    high = readings(house.model_copy(update={"altitude_ft": feet}), "inlet", "sealed")
    ratio = ATMOSPHERE_1976(feet * 0.3048).P / 101325.0
    assert high / low == pytest.approx(ratio ** (2 / 3), rel=1e-4)
    # Bounds: constant speed (fan laws) and twice the rise of speed.
    assert ratio <= high / low <= ratio**0.5


@settings(max_examples=40, deadline=None)
@given(houses(), number(0.5, 0.99))
def test_a_slower_motor_takes_sealed_suction_by_the_square_of_speed(house, factor):
    slow = house.model_copy(update={"fan": house.fan.model_copy(update={"speed": factor})})
    ratio = readings(slow, "unit", "sealed") / readings(house, "unit", "sealed")
    assert ratio == pytest.approx(factor**2, rel=1e-5)  # fan laws


def bent_in(one: Houses, first: float, second: float) -> Houses:
    """The house with a fan whose line bends."""
    between = ((20.0, 145.0 - first), (60.0, 60.0 - second))
    bent = Houses.of([System(fan=Fan(sealed_inh2o=150.0, airflow_cfm=120.0, between=between))])
    keys = ("fan.sealed_inh2o", "fan.airflow_cfm", "fan.corner_flow", "fan.corner_bend")
    return one.with_values({key: bent[key] for key in keys})


def assert_balanced(one: Houses) -> None:
    """What the fan makes arrives at the open end, at every point."""
    path = find_path(one, columns(POINTS, one))
    w, s = path.march(np.sqrt(path.balance()))
    made = path.fan.suction(w)
    assert made - made**2 / (2 * path.barometer) == pytest.approx(s, abs=1e-5)


@settings(max_examples=60, deadline=None)
@given(damaged(), number(0, 40), number(0, 20))
def test_the_balance_is_closed_even_with_a_fan_line_that_bends(one, first, second):
    assert_balanced(bent_in(one, first, second))


def test_the_balance_is_closed_where_hardly_any_suction_reaches_the_end():
    inlets = (
        Inlet(tap_ft=None, branch=Tube(length_ft=0.0, fittings=1.0)),
        Inlet(name="other", tap_ft=0.0, branch=Tube(length_ft=8.0)),
    )
    one = Houses.of(
        [
            System(
                fan=fan_from_rating(60, 60),
                trunk=Tube(length_ft=0.0, fittings=0.0),
                inlets=inlets,
                hose=Hose(length_ft=5.0, bore_in=1.0),
            )
        ]
    )
    holes = {"holes.other_inlet": 0.5, "holes.hose": 0.75}
    throats = {"throats.inlet": 0.5, "throats.hose": 0.3125, "throats.exhaust": 0.3125}
    damage = {key: np.array([size]) for key, size in (holes | throats).items()}
    assert_balanced(bent_in(one.with_values(damage), 0.0, 0.0))
