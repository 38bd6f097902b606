"""What a system should read, and from what: held to values worked out outside the project."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from stillflow.engine import AirState, House, Pair, Site, Station, Unit, Visit, load_rules
from stillflow.engine.base.errors import InputError
from stillflow.engine.inference.baseline import baseline_for, class_of, tolerance_of
from stillflow.engine.inference.inlets import Further
from stillflow.engine.inference.visit import Gauge, GoodReading

SEALED, WORKING = AirState.SEALED, AirState.WORKING
RULES = load_rules()
RATED = Unit(rated_sealed=130, rated_airflow=114.5)


def test_a_rating_gives_the_readings_of_its_fan_line() -> None:
    # Fan line 130 inH2O / 114.5 cfm through a 5/8 in orifice: 80 at the unit, derived by scipy's
    # roots from the F558 orifice equation (check values, section 5). The table's fan blows into the
    # open; a house has an exhaust line, which takes some 2 % (assumed, see `airflow.path`).
    baseline = baseline_for(Visit(unit=RATED), RULES)
    assert (baseline.origin, baseline.tolerance, baseline.wide) == ("rated", 0.05, False)
    assert baseline.at(SEALED, Station.UNIT) == pytest.approx(130, abs=0.5)
    assert baseline.at(WORKING, Station.UNIT) == pytest.approx(80 * 0.98, rel=0.01)
    assert baseline.note == "the unit's rating"


@pytest.mark.parametrize(("orifice", "working"), [(0.5, 95.2), (0.625, 80.0), (0.75, 64.9)])
def test_the_orifice_of_the_gauge_fitting_is_reckoned_with(orifice: float, working: float) -> None:
    # 130/114.5 with 1/2, 5/8 and 3/4 in: 95.2, 80.0, 64.9 (check values, section 5), less what the
    # exhaust line takes: more the more air flows.
    baseline = baseline_for(Visit(unit=RATED, gauge=Gauge(orifice_in=orifice)), RULES)
    assert 0.965 * working < baseline.at(WORKING, Station.UNIT) < working


def test_sealed_is_the_same_everywhere_and_working_falls_along_the_way() -> None:
    # Common practice: with no air flowing nothing is lost on the way; with air flowing tubing and
    # hose take their part.
    baseline = baseline_for(Visit(unit=RATED), RULES)
    sealed = [baseline.at(SEALED, station) for station in Station]
    assert max(sealed) - min(sealed) < 0.5
    along = [baseline.at(WORKING, s) for s in (Station.UNIT, Station.INLET, Station.HOSE)]
    assert along == sorted(along, reverse=True)
    assert along[0] - along[2] > 5


def test_thin_air_takes_its_part_and_the_note_says_so() -> None:
    # 130 sealed at sea level is 114.2 at 5,280 ft: two-thirds power of the density, that is of the
    # pressure ratio .82341 of ISO 2533 (check values, section 3); to be taken as +-5 %.
    baseline = baseline_for(Visit(unit=RATED, site=Site(altitude_ft=5280)), RULES)
    assert baseline.at(SEALED, Station.UNIT) == pytest.approx(114.2, rel=0.01)
    assert baseline.note == "the unit's rating, corrected for 5,280 ft"


def test_without_both_numbers_of_a_rating_the_class_stands_behind_it() -> None:
    baseline = baseline_for(Visit(unit=Unit(rated_sealed=130)), RULES)
    assert (baseline.origin, baseline.tolerance, baseline.wide) == ("class", 0.2, True)
    # The class's 120 and 80, brought to a sealed of 130.
    assert baseline.at(SEALED, Station.UNIT) == pytest.approx(130, abs=0.5)
    plain = baseline_for(Visit(), RULES)
    assert plain.origin == "class"
    assert plain.at(SEALED, Station.INLET) == pytest.approx(120, abs=0.5)
    assert plain.at(WORKING, Station.INLET) == pytest.approx(80, rel=0.02)
    ratio = baseline.at(WORKING, Station.UNIT) / plain.at(WORKING, Station.UNIT)
    assert ratio == pytest.approx(130 / 120, rel=0.02)


def test_a_rated_airflow_alone_keeps_the_sealed_of_the_class() -> None:
    baseline = baseline_for(Visit(unit=Unit(rated_airflow=100)), RULES)
    assert baseline.origin == "class"
    assert baseline.system.fan.airflow_cfm == 100
    assert baseline.at(SEALED, Station.UNIT) == pytest.approx(120, abs=0.5)


@pytest.mark.parametrize(
    ("age", "sealed"), [(None, 120), (0, 120), (19.9, 120), (20, 90), (50, 90)]
)
def test_the_class_goes_by_age_where_none_is_named(age: float | None, sealed: float) -> None:
    # Common practice: a present-day unit 120 or more, one of fifty years ago 90.
    assert class_of(Visit(unit=Unit(age_years=age)), RULES).sealed == sealed


def test_a_named_class_wins_over_age_and_an_unknown_one_is_told() -> None:
    named = Visit(unit=Unit(class_="old-unit", age_years=1))
    assert class_of(named, RULES).id == "old-unit"
    with pytest.raises(InputError, match="no class of unit 'older-unit'") as told:
        class_of(Visit(unit=Unit(class_="older-unit")), RULES)
    assert told.value.place.key == "unit.class"
    assert "old-unit" in told.value.right


def test_the_last_good_visit_is_trusted_before_the_rating() -> None:
    good = {Station.INLET: Pair(sealed=118, working=70)}
    visit = Visit(unit=RATED, last_good=good, site=Site(altitude_ft=3000))
    baseline = baseline_for(visit, RULES)
    assert (baseline.origin, baseline.tolerance) == ("last-visit", 0.04)
    # It was read up there: nothing is corrected twice.
    assert baseline.note == "the last good visit here"
    assert baseline.at(SEALED, Station.INLET) == 118
    assert baseline.at(WORKING, Station.INLET) == 70
    # The fan that gives those readings tells the stations that were not read.
    assert baseline.at(SEALED, Station.UNIT) == pytest.approx(118, abs=0.5)
    assert baseline.at(WORKING, Station.UNIT) > 70 > baseline.at(WORKING, Station.HOSE)


def test_half_a_pair_is_filled_in_by_what_is_healthy() -> None:
    healthy = baseline_for(Visit(unit=RATED), RULES)
    by_sealed = baseline_for(Visit(unit=RATED, last_good={Station.INLET: Pair(sealed=117)}), RULES)
    ratio = 117 / healthy.at(SEALED, Station.INLET)
    assert by_sealed.at(SEALED, Station.INLET) == 117
    assert by_sealed.at(WORKING, Station.INLET) == pytest.approx(
        healthy.at(WORKING, Station.INLET) * ratio, rel=1e-6
    )
    by_working = baseline_for(Visit(unit=RATED, last_good={Station.INLET: Pair(working=60)}), RULES)
    ratio = 60 / healthy.at(WORKING, Station.INLET)
    assert by_working.at(WORKING, Station.INLET) == 60
    assert by_working.at(SEALED, Station.INLET) == pytest.approx(
        healthy.at(SEALED, Station.INLET) * ratio, rel=1e-6
    )


def test_a_whole_pair_is_matched_before_half_of_one_nearer_the_complaint() -> None:
    good = {Station.INLET: Pair(sealed=90), Station.UNIT: Pair(sealed=120, working=74)}
    baseline = baseline_for(Visit(unit=RATED, last_good=good), RULES)
    # What was read stands; what was not follows the unit's whole pair.
    assert baseline.at(SEALED, Station.INLET) == 90
    assert baseline.at(SEALED, Station.HOSE) == pytest.approx(120, abs=0.5)


def test_of_two_whole_pairs_the_inlet_is_matched() -> None:
    good = {
        Station.UNIT: Pair(sealed=125, working=78),
        Station.INLET: Pair(sealed=110, working=65),
    }
    baseline = baseline_for(Visit(unit=RATED, last_good=good), RULES)
    assert baseline.at(SEALED, Station.UTILITY) == pytest.approx(110, abs=0.5)


def test_longer_tubing_and_a_longer_thinner_hose_take_more() -> None:
    def working(station: Station, **house: float) -> float:
        return baseline_for(Visit(unit=RATED, house=House(**house)), RULES).at(WORKING, station)

    assert working(Station.INLET, tubing_ft=120) < working(Station.INLET, tubing_ft=20) - 2
    assert working(Station.HOSE, hose_ft=50) < working(Station.HOSE, hose_ft=25) - 2
    assert working(Station.HOSE, hose_bore_in=1.1) < working(Station.HOSE, hose_bore_in=1.375) - 2
    # What lies beyond a station takes nothing from it.
    assert working(Station.INLET, hose_ft=50) == working(Station.INLET, hose_ft=25)


def test_a_sixth_of_the_tubing_is_the_branch_and_the_other_inlet_is_half_way() -> None:
    system = baseline_for(Visit(unit=RATED, house=House(tubing_ft=60)), RULES).system
    assert system.trunk.length_ft == pytest.approx(50)
    assert [one.branch.length_ft for one in system.inlets] == pytest.approx([10, 10])
    assert [one.name for one in system.inlets][1] == "other inlet"
    assert system.inlets[1].tap_ft == pytest.approx(25)
    # Bends and entries, as losses in velocity heads (assumed).
    assert [one.branch.fittings for one in system.inlets] == [1.0, 1.0]
    assert system.trunk.fittings == 1.5


def test_the_air_path_behind_a_baseline_is_neither_printed_nor_written_out() -> None:
    baseline = baseline_for(Visit(unit=RATED), RULES)
    assert set(baseline.model_dump(by_alias=True)) == {"from", "tolerance", "expected", "note"}
    assert "system" not in repr(baseline)


def test_a_reading_may_be_off_by_the_gauge_and_by_how_well_the_house_is_known() -> None:
    # Assumed: 1 % for a rated house; a class adds its own tolerance.
    assert tolerance_of(baseline_for(Visit(unit=RATED), RULES), 0.02) == pytest.approx(0.03)
    assert tolerance_of(baseline_for(Visit(), RULES), 0.02) == pytest.approx(0.22)


def read_before(**more: object) -> tuple[GoodReading, ...]:
    """Sealed 110 and working 60 at the inlet, and 108 sealed in the study."""
    return tuple(
        GoodReading(station=station, state=state, suction=suction, inlet=inlet, **more)
        for station, state, suction, inlet in (
            (Station.INLET, AirState.SEALED, 110, "hall"),
            (Station.INLET, AirState.WORKING, 60, "hall"),
            (Station.OTHER, AirState.SEALED, 108, "study"),
        )
    )


def test_what_earlier_visits_read_is_expected_again_and_the_note_says_when() -> None:
    day = datetime(2026, 3, 9, tzinfo=UTC)
    visit = Visit(unit=RATED, site=Site(inlet="hall"), earlier=read_before(at=day))
    baseline = baseline_for(visit, RULES)
    assert (baseline.origin, baseline.gauge) == ("last-visit", 0.0)
    assert baseline.note == "the last good visit here on 2026-03-09"
    assert baseline.at(AirState.SEALED, Station.INLET) == 110
    assert baseline.at(AirState.WORKING, Station.INLET) == 60
    # What was not read there follows from the fan that reads so.
    assert baseline.at(AirState.SEALED, Station.UNIT) == pytest.approx(110)
    # At an inlet without a station what it read itself, else what the other one should.
    study = Further(2, "Study", "study")
    assert baseline.at(AirState.SEALED, study) == 108
    other = baseline.at(AirState.WORKING, Station.OTHER)
    assert baseline.at(AirState.WORKING, study) == other
    assert baseline.at(AirState.SEALED, Further(3, "attic", "attic")) == pytest.approx(110)


def test_another_gauge_widens_what_earlier_visits_read_and_is_named() -> None:
    earlier = read_before(gauge="red", tolerance=0.03)
    visit = Visit(unit=RATED, site=Site(inlet="hall"), earlier=earlier, gauge=Gauge(name="blue"))
    same = visit.model_copy(update={"gauge": Gauge(name="red")})
    baseline, own = (baseline_for(one, RULES) for one in (visit, same))
    assert baseline.note == "the last good visit here, with another gauge"
    assert baseline.gauge == 0.03
    assert baseline.tolerance == pytest.approx(own.tolerance + 0.03)
    assert tolerance_of(baseline, 0.02) == pytest.approx(tolerance_of(own, 0.02) + 0.03)


def test_what_is_given_of_the_last_good_visit_goes_before_what_earlier_ones_left() -> None:
    given = {Station.INLET: Pair(sealed=120, working=70)}
    visit = Visit(unit=RATED, site=Site(inlet="hall"), earlier=read_before(), last_good=given)
    assert baseline_for(visit, RULES).at(AirState.SEALED, Station.INLET) == 120
