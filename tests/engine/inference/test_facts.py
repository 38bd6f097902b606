"""What follows from one reading is just what it adds to, or changes in, all that follows."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_rules import small

from stillflow.engine.base.scales import AirState, Station
from stillflow.engine.inference.baseline import baseline_for
from stillflow.engine.inference.facts import is_good, judge, reading_facts, standing_facts, typical
from stillflow.engine.inference.visit import Site, Unit, Visit
from stillflow.engine.ruleset.loading import load_rules

RULES = load_rules()
BASELINE = baseline_for(Visit(), RULES)
SPOTS = st.tuples(st.sampled_from(AirState), st.sampled_from(Station))
SUCTION = st.floats(0.0, 200.0)


@given(st.dictionaries(SPOTS, SUCTION), SPOTS, SUCTION)
def test_one_reading_more_changes_only_what_follows_from_it(
    readings: dict[tuple[AirState, Station], float],
    spot: tuple[AirState, Station],
    value: float,
) -> None:
    before = reading_facts({**readings, spot: 100.0}, BASELINE, RULES.levels)
    after = {**readings, spot: value}
    about = reading_facts(after, BASELINE, RULES.levels, [spot])
    whole = reading_facts(after, BASELINE, RULES.levels)
    assert about.items() <= whole.items()
    untouched = {name: fact for name, fact in whole.items() if before.get(name) == fact}
    assert {**untouched, **about} == whole


@pytest.mark.parametrize(
    ("share", "rated", "class_only"),
    [
        (0.0, "low", "low"),
        (0.74, "low", "low"),
        (0.75, "low", "fine"),
        (0.85, "fine", "fine"),
        (1.15, "absurd", "fine"),
        (1.25, "absurd", "absurd"),
        (9.0, "absurd", "absurd"),
    ],
)
def test_a_share_falls_in_the_level_whose_upper_edge_lies_above_it(
    share: float, rated: str, class_only: str
) -> None:
    # Edges of the small rules: .85 and 1.15, beside a class .75 and 1.25.
    levels = small().levels
    assert judge(share, levels, wide=False) == rated
    assert judge(share, levels, wide=True) == class_only
    assert [typical(level, wide=False) for level in levels] == [0.6, 1.0, 1.3]
    assert [typical(level, wide=True) for level in levels] == [0.6, 1.0, 1.4]


def test_shares_ratios_drops_and_margins_are_those_worked_out_by_hand() -> None:
    sealed, working = AirState.SEALED, AirState.WORKING
    readings = {
        (sealed, Station.UNIT): 96.0,
        (sealed, Station.INLET): 60.0,
        (working, Station.INLET): 40.0,
    }
    facts = reading_facts(readings, BASELINE, RULES.levels)
    unit, inlet = (BASELINE.at(sealed, one) for one in (Station.UNIT, Station.INLET))
    assert facts["share.sealed.unit"] == pytest.approx(96 / unit)
    assert facts["drop.sealed.unit-inlet"] == 36
    assert facts["kept.sealed.unit-inlet"] == pytest.approx(60 / inlet / (96 / unit))
    assert facts["margin.inlet"] == 20
    assert "margin.unit" not in facts
    assert "kept.working.unit-inlet" not in facts


def test_nothing_is_divided_by_a_station_that_reads_nothing() -> None:
    sealed = AirState.SEALED
    facts = reading_facts(
        {(sealed, Station.UNIT): 0.0, (sealed, Station.INLET): 60.0}, BASELINE, RULES.levels
    )
    assert facts["drop.sealed.unit-inlet"] == -60
    assert "kept.sealed.unit-inlet" not in facts


def test_what_stands_before_anything_is_measured_is_said_as_far_as_it_is_known() -> None:
    visit = Visit(
        unit=Unit(age_years=12, motors=2, filter="bag"),
        site=Site(altitude_ft=1200),
        purpose="measuring",
    )
    assert standing_facts(visit, BASELINE) == {
        "baseline.from": "class",
        "baseline.tolerance": 0.2,
        "expected.working.hose": BASELINE.at(AirState.WORKING, Station.HOSE),
        "visit.purpose": "measuring",
        "site.altitude_ft": 1200,
        "unit.age_years": 12,
        "unit.motors": 2.0,
        "unit.filter": "bag",
    }
    assert set(standing_facts(Visit(), BASELINE)) == {
        "baseline.from",
        "baseline.tolerance",
        "expected.working.hose",
        "visit.purpose",
        "site.altitude_ft",
    }


@pytest.mark.parametrize(
    ("share", "rated", "class_only"),
    [(0.84, False, True), (0.86, True, True), (1.2, False, True), (0.7, False, False)],
)
def test_good_is_what_falls_in_a_level_that_is_as_it_should_be(
    share: float, rated: bool, class_only: bool
) -> None:
    levels = small().levels
    assert is_good(share, levels, wide=False) is rated
    assert is_good(share, levels, wide=True) is class_only
