"""What the gauge reads: trade pairs, published cases, an engineer's own model, and masks."""

from __future__ import annotations

import math
from types import ModuleType

import numpy as np
import pytest

from stillflow.engine.airflow.air import pressure_at
from stillflow.engine.airflow.draw import draw_houses
from stillflow.engine.airflow.fan import fan_from_rating
from stillflow.engine.airflow.gauge import readings, readings_table
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.points import EVERY_POINT, GaugePoint
from stillflow.engine.airflow.system import (
    GaugeBias,
    Holes,
    Inlet,
    Restriction,
    System,
    Throats,
    Tube,
)
from stillflow.engine.base.errors import InputError


@pytest.mark.parametrize(
    ("sealed", "airflow", "working"),
    # Common practice: a present-day unit in good order reads about 120 or more sealed and about 80
    # working; an old one about 90 and 50.
    [(130, 114, 80), (90, 78.9, 50)],
)
def test_the_trades_working_pairs_come_out(sealed, airflow, working):
    system = System(fan=fan_from_rating(sealed, airflow))
    assert readings(system, "unit", "working") == pytest.approx(working, rel=0.03)
    assert readings(system, "inlet", "working") == pytest.approx(working, rel=0.07)


@pytest.mark.parametrize(("sealed", "airflow"), [(130, 114), (110, 100)])
def test_the_hose_takes_ten_to_twenty_inches(sealed, airflow):
    # Common practice: working is 10 to 20 inH2O lower at the hose end, sealed about equal.
    system = System(fan=fan_from_rating(sealed, airflow))
    drop = readings(system, "inlet", "working") - readings(system, "hose", "working")
    assert 10 <= drop <= 20
    assert readings(system, "hose", "sealed") == pytest.approx(readings(system, "inlet", "sealed"))


@pytest.mark.parametrize(
    ("fittings", "working"),
    # 130/114.5 fan, 60 ft of 1.87 in smooth tube and a sum of K, by hand with fluids' friction.
    [(3, 76.5), (13, 73.8), (43, 66.9)],
)
def test_sixty_feet_of_tubing_with_fittings(bare, fittings, working):
    system = bare.model_copy(update={"trunk": Tube(length_ft=60, fittings=fittings)})
    assert readings(system, "inlet", "working") == pytest.approx(working, rel=0.006)


ENGINEERED = [
    {},
    {"bin_hole": 0.4},
    {"trunk_hole": 0.5},
    {"trunk_throat": 0.6},
    {"bin_hole": 0.2, "trunk_hole": 0.5, "trunk_throat": 0.6},
    {"trunk_ft": 80.0, "trunk_k": 6.0},
    {"orifice": 0.625, "hose_ft": 50.0},
]


@pytest.mark.parametrize("altitude", [0.0, 5280.0])
@pytest.mark.parametrize("case", ENGINEERED)
def test_readings_are_what_an_engineers_own_model_gives(engineer: ModuleType, case, altitude):
    # scipy.optimize.brentq over a slice-by-slice march with the air's local density.
    plain = engineer.House(130, 114, pressure=float(pressure_at(altitude)), **case)
    throat = plain.trunk_throat if math.isfinite(plain.trunk_throat) else None
    system = System(
        fan=fan_from_rating(130, 114),
        trunk=Tube(length_ft=plain.trunk_ft, fittings=plain.trunk_k),
        hose={"length_ft": plain.hose_ft},
        altitude_ft=altitude,
        holes=Holes(bin=plain.bin_hole, trunk=plain.trunk_hole),
        throats=Throats(trunk=throat),
    )
    for station in ("unit", "inlet", "hose"):
        working = engineer.working(plain, station)
        assert readings(system, station, "working") == pytest.approx(working, rel=0.005)
        sealed = engineer.sealed(plain, station)
        assert readings(system, station, "sealed") == pytest.approx(sealed, rel=0.002)


def test_a_leak_beyond_a_squeeze_is_not_one_before_it(house):
    holes = Holes(trunk=0.4, trunk_along=0.5)
    nearer = house.model_copy(
        update={"holes": holes, "throats": Throats(trunk=0.6, trunk_along=0.2)}
    )
    farther = house.model_copy(
        update={"holes": holes, "throats": Throats(trunk=0.6, trunk_along=0.8)}
    )
    # Between fan and leak, the squeeze starves the inlet of sealed suction too; beyond the leak it
    # takes none.
    assert readings(nearer, "inlet", "sealed") < readings(farther, "inlet", "sealed") - 5


def test_the_unit_with_tubing_off_sees_only_its_own_leaks(house):
    for place in ("trunk", "branch", "inlet", "other_inlet", "hose", "intake"):
        leaky = house.model_copy(update={"holes": Holes(**{place: 0.5})})
        assert readings(leaky, "unit", "working") == readings(house, "unit", "working")
    for place in ("motor", "bin", "utility"):
        leaky = house.model_copy(update={"holes": Holes(**{place: 0.5})})
        assert readings(leaky, "unit", "sealed") < 0.8 * readings(house, "unit", "sealed")


def test_the_utility_inlet_sees_the_tubings_leaks_but_not_its_squeezes(house):
    leaky = house.model_copy(update={"holes": Holes(trunk=0.4)})
    assert readings(leaky, "utility", "sealed") < 0.9 * readings(house, "utility", "sealed")
    squeezed = house.model_copy(update={"throats": Throats(trunk=0.5)})
    assert readings(squeezed, "utility", "working") == readings(house, "utility", "working")


def test_a_clogged_intake_hides_a_leak_beyond_it_from_the_utility_inlet(house):
    leaky = house.model_copy(update={"holes": Holes(trunk=0.4)})
    both = house.model_copy(update={"holes": Holes(trunk=0.4), "throats": Throats(intake=0.15)})
    lost = [readings(house, "utility", "sealed") - readings(s, "utility", "sealed")
            for s in (leaky, both)]  # fmt: skip
    assert lost[1] < 0.3 * lost[0]


def test_one_branch_blocked_leaves_the_other_inlet_alone(house):
    squeezed = house.model_copy(update={"throats": Throats(branch=0.4)})
    assert readings(squeezed, "inlet", "working") < 0.4 * readings(house, "inlet", "working")
    assert readings(squeezed, "other", "working") == readings(house, "other", "working")


def test_an_inlet_before_a_squeeze_in_the_trunk_is_spared(house):
    # The other inlet taps the trunk at 20 of 40 ft; the squeeze is at 30 ft.
    squeezed = house.model_copy(update={"throats": Throats(trunk=0.4, trunk_along=0.75)})
    assert readings(squeezed, "other", "working") == readings(house, "other", "working")
    assert readings(squeezed, "inlet", "working") < 0.4 * readings(house, "inlet", "working")


def test_a_damaged_branch_leaks_from_the_other_inlets_air_too(house):
    leaky = house.model_copy(update={"holes": Holes(branch=0.3, inlet=0.3)})
    at_other = readings(leaky, "other", "sealed")
    assert at_other < readings(house, "other", "sealed") - 10
    assert at_other > readings(leaky, "inlet", "sealed")


def test_what_is_beyond_the_tool_is_not_seen_at_any_station(house):
    clogged = house.model_copy(update={"throats": Throats(tool=0.3)})
    shown = readings_table(Houses.of([clogged, house]), EVERY_POINT)
    assert (shown[0] == shown[1]).all()


def test_the_gauge_shows_its_own_faults_and_never_less_than_nothing(house):
    shown = house.model_copy(update={"gauge": GaugeBias(factor=0.9, offset_inh2o=-3.0)})
    true = readings(house, "inlet", "working")
    assert readings(shown, "inlet", "working") == pytest.approx(0.9 * true - 3.0)
    stuck = house.model_copy(update={"gauge": GaugeBias(factor=0.0, offset_inh2o=-3.0)})
    assert readings(stuck, "inlet", "working") == 0.0


def test_a_barometer_stands_in_for_the_altitude(house):
    feet = house.model_copy(update={"altitude_ft": 5280.0})
    glass = house.model_copy(update={"barometer_inhg": 24.637})  # ISO 2533 at 5,280 ft
    assert readings(glass, "hose", "working") == pytest.approx(
        readings(feet, "hose", "working"), abs=0.01
    )


def test_many_houses_at_once_read_as_they_do_one_by_one(house):
    generator = np.random.default_rng(3)
    systems = [
        house.model_copy(
            update={
                "altitude_ft": float(generator.uniform(0, 7000)),
                "trunk": Tube(length_ft=float(generator.uniform(45, 90)), fittings=2.0),
                "holes": Holes(trunk=float(generator.choice([0.0, 0.4])),
                               trunk_along=float(generator.uniform()),
                               hose=float(generator.choice([0.0, 0.3]))),
                "throats": Throats(trunk=float(generator.uniform(0.4, 1.5)),
                                   trunk_along=float(generator.uniform())),
            }
        )
        for _ in range(20)
    ]  # fmt: skip
    points = [*EVERY_POINT, GaugePoint("other", "sealed"), GaugePoint("other", "working")]
    table = readings_table(Houses.of(systems), points)
    for row, system in zip(table, systems, strict=True):
        alone = [readings(system, *point) for point in points]
        assert row == pytest.approx(alone, abs=1e-4)


def test_a_large_table_is_the_small_ones_put_together(house):
    houses = draw_houses(np.random.default_rng(5), 5000, house, altitude_ft=(0, 7000))
    table = readings_table(houses, EVERY_POINT)
    assert table.shape == (5000, 8)
    some = np.array([0, 17, 4999])
    assert table[some] == pytest.approx(readings_table(houses.take(some), EVERY_POINT), abs=1e-4)


def test_readings_at_inlets_by_name():
    system = System(
        fan=fan_from_rating(130, 114),
        trunk=Tube(length_ft=60.0, fittings=2.0),
        inlets=(
            Inlet(name="far", branch=Tube(length_ft=10)),
            Inlet(name="near", tap_ft=10, branch=Tube(length_ft=10)),
        ),
    )
    near, far = (readings(system, "inlet", "working", name) for name in ("near", "far"))
    assert near > far + 1
    assert readings(system, "other", "working", "near") == pytest.approx(near)
    with pytest.raises(InputError, match="no inlet named 'attic'"):
        readings(system, "inlet", "working", "attic")


@pytest.mark.parametrize(
    ("station", "condition", "said"),
    [("attic", "sealed", "no station 'attic'"), ("unit", "flowing", "no condition 'flowing'")],
)
def test_an_unknown_word_is_named(house, station, condition, said):
    with pytest.raises(InputError, match=said):
        readings(house, station, condition)


def test_a_house_with_one_inlet_has_no_other_to_read(bare):
    with pytest.raises(InputError, match="only one inlet"):
        readings(bare, "other", "sealed")


def test_a_loaded_filter_takes_working_suction_and_no_sealed(house):
    loaded = house.model_copy(
        update={"filter": Restriction(linear=0.01, quadratic=0.0001, loading=40.0)}
    )
    assert readings(loaded, "unit", "sealed") == pytest.approx(readings(house, "unit", "sealed"))
    assert readings(loaded, "unit", "working") < 0.9 * readings(house, "unit", "working")
