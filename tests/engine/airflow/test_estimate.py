"""Readings run backwards: the trade's usual sets, what goes in comes out, and honest doubt."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stillflow.engine.airflow.backwards import estimate
from stillflow.engine.airflow.causes import CAUSES, Variant, put_in_system
from stillflow.engine.airflow.estimate_facts import FACT_NAMES
from stillflow.engine.airflow.fan import fan_from_rating
from stillflow.engine.airflow.findings import Estimate, Reading
from stillflow.engine.airflow.gauge import readings
from stillflow.engine.airflow.system import Holes, Inlet, System, Throats
from stillflow.engine.airflow.words import size_words
from stillflow.engine.base import vocabulary
from stillflow.engine.base.errors import InputError

HALL = System(
    fan=fan_from_rating(130, 114), inlets=(Inlet(name="hall"), Inlet(name="den", tap_ft=20))
)
STATIONS = ("unit", "utility", "inlet", "hose")


def pairs(**stations: tuple[float, float]) -> list[Reading]:
    """Sealed and working by station, the inlet and hose being at the hall."""
    taken = []
    for station, (sealed, working) in stations.items():
        inlet = "hall" if station in ("inlet", "hose") else None
        for condition, value in (("sealed", sealed), ("working", working)):
            taken.append(Reading(station=station, condition=condition, inlet=inlet, inh2o=value))
    return taken


def read_in(system: System, stations: tuple[str, ...] = STATIONS) -> list[Reading]:
    return [
        Reading(
            station=station,
            condition=condition,
            inh2o=readings(system, station, condition),
        )
        for station in stations
        for condition in ("sealed", "working")
    ]


def size_of(found: Estimate, cause: str) -> tuple[float, float, float]:
    one = next(c for c in found.candidates if c.cause == cause)
    return one.low, one.size, one.high


def test_92_and_56_at_the_unit_is_a_leaking_unit_or_a_weak_motor():
    found = estimate(pairs(unit=(92, 56)), HALL)
    assert found.fits and found.stretch == "unit"
    assert {found.best.name, *found.ambiguous_with} == {"leak-unit", "speed"}
    low, size, high = size_of(found, "leak-unit")
    assert low < size < high
    assert size == pytest.approx(0.52, abs=0.02)
    low, factor, high = size_of(found, "speed")
    assert low < factor < high
    assert factor == pytest.approx((92 / 130) ** 0.5, abs=0.01)
    said = found.sentences()
    assert "cannot tell" in said[0] and "weak motor" in said[0] and "leak in the unit" in said[0]
    assert all(line.startswith("If ") for line in said[1:]), "nothing here is found, only supposed"
    assert any("0.52 in hole open in the unit" in line for line in said)
    assert any("84 % of its full speed" in line for line in said)


def test_a_sound_unit_with_91_and_53_at_the_inlet_leaks_between_them():
    found = estimate(pairs(unit=(130, 78), inlet=(91, 53)), HALL)
    assert found.fits and found.stretch == "tubing"
    assert found.best.name in ("leak-trunk", "leak-branch")
    assert found.best.words.startswith("like a 0.5")
    assert "in hole open between unit and hall inlet (" in found.best.words
    # A leak and the pair of readings it would leave, worked out from the orifice's own flow:
    # sealed 91 of 130 means 34.2 cfm come in, through C d^2 with C = 0.60.
    s = 91 - 91**2 / (2 * 407.5)
    hole = (114 * (1 - 91 / 130) / (21.844 * 0.6 * s**0.5)) ** 0.5
    low, _, high = size_of(found, found.best.name)
    assert low < hole < high


def test_a_sound_unit_with_130_and_30_at_the_inlet_is_squeezed_between_them():
    found = estimate(pairs(unit=(130, 78), inlet=(130, 30)), HALL)
    assert found.fits and found.stretch == "tubing"
    assert found.best.words.startswith("like the line squeezed to 0.52 in between unit and hall")
    assert not any("leak" in name or "speed" in name for name in found.ambiguous_with)


def test_76_at_the_inlet_and_28_at_the_hose_is_a_squeezed_hose():
    found = estimate(pairs(inlet=(130, 76), hose=(130, 28)), HALL)
    assert found.fits and found.stretch == "hose"
    assert found.ambiguous_with == ()
    assert found.best.words.startswith("like the hose squeezed to 0.50 in")


@pytest.mark.parametrize("stations", [("unit", "inlet"), ("unit", "utility", "inlet")])
def test_83_and_48_everywhere_is_a_weak_motor_or_a_leaking_unit(stations):
    found = estimate(pairs(**dict.fromkeys(stations, (83, 48))), HALL)
    assert found.fits and found.stretch == "unit"
    assert {found.best.name, *found.ambiguous_with} == {"leak-unit", "speed"}
    assert "These readings alone cannot tell a weak motor from a leak in the unit." in (
        found.sentences()
    )


def test_83_and_48_at_the_hose_end_too_is_a_reading_to_take_again():
    # A 30 ft hose takes 10 inH2O; reading the same at its end as at the unit cannot be.
    found = estimate(pairs(**dict.fromkeys(STATIONS, (83, 48))), HALL)
    assert not found.fits
    assert {found.nearest.name, *found.ambiguous_with} == {"leak-unit", "speed"}
    said = " ".join(found.sentences())
    assert "cannot tell" in said and "weak motor" in said
    assert "working at the hose end (hall) reads 48" in said and "Take it again" in said


def test_a_healthy_house_is_as_expected():
    found = estimate(read_in(HALL), HALL)
    assert found.best.name == "as-expected" and found.stretch == "none"
    assert found.ambiguous_with == ()
    assert found.share_at_hose == pytest.approx(found.healthy_share_at_hose)
    assert "what this system should give" in found.sentences()[0]


def test_what_lies_beyond_the_last_station_read_is_a_supposition():
    at_inlet = estimate(pairs(inlet=(130, 76)), HALL).sentences()[-1]
    assert at_inlet.startswith("If the hose is sound, at its end about ")
    at_unit = estimate(pairs(unit=(130, 78)), HALL).sentences()[-1]
    assert at_unit.startswith("If tubing and hose are sound, at the hose end about ")
    sealed = [one for one in pairs(hose=(130, 60)) if one.condition == "sealed"]
    assert estimate(sealed, HALL).sentences()[-1].startswith("If nothing is in the way in the hose")
    read = estimate(pairs(inlet=(130, 76), hose=(130, 28)), HALL).sentences()[-1]
    assert read.startswith("At the hose end ")


def test_readings_a_little_above_are_no_motor_that_runs_too_fast():
    above = [one.model_copy(update={"inh2o": one.inh2o * 1.06}) for one in read_in(HALL, ("unit",))]
    assert "The motor as expected, at 103 % of its full speed." in estimate(above, HALL).sentences()


def test_air_power_is_that_of_the_orifice_and_the_fan_line():
    found = estimate(read_in(HALL), HALL)
    hose = found.openings[-1]
    assert hose.station == "hose"
    assert hose.airflow_ls == pytest.approx(hose.airflow_cfm * 0.4719474, rel=1e-6)
    assert hose.air_watts == pytest.approx(
        0.117354 * hose.airflow_cfm * hose.suction_inh2o, rel=1e-9
    )
    # The peak of a straight line is a quarter of sealed x airflow (here less the exhaust's loss).
    assert found.possible_watts == pytest.approx(0.117354 * 130 * 114 / 4, rel=0.04)
    assert found.share_at_hose == pytest.approx(hose.air_watts / found.possible_watts)


def test_two_faults_are_named_when_one_cannot_explain_the_readings():
    broken = HALL.model_copy(update={"holes": Holes(trunk=0.4), "throats": Throats(hose=0.5)})
    found = estimate(read_in(broken), HALL, 0.02)
    assert found.fits and not found.facts()["estimate.fits"]
    assert len(found.best.causes) == 2
    sizes = {part.cause: part for part in found.best.causes}
    assert set(sizes) == {"leak-trunk", "throat-hose"}
    for cause, true in (("leak-trunk", 0.4), ("throat-hose", 0.5)):
        assert sizes[cause].low <= true <= sizes[cause].high
    assert "between unit and inlet" in found.best.words and "hose squeezed" in found.best.words


def test_more_suction_than_the_unit_can_make_is_not_called_a_weak_motor():
    found = estimate(pairs(unit=(148, 90)), HALL)
    assert found.best.words.startswith("like the motor running faster than it should, at 107 %")


def test_air_at_the_hose_end_is_marked_as_supposed_unless_it_was_read_there():
    beyond = estimate(pairs(unit=(129, 78), inlet=(90, 50)), HALL)
    assert [(one.station, one.supposed) for one in beyond.openings] == [
        ("unit", False),
        ("inlet", False),
        ("hose", True),
    ]
    assert beyond.share_at_hose_supposed
    read = estimate(pairs(inlet=(130, 76), hose=(130, 28)), HALL)
    assert not any(one.supposed for one in read.openings)
    assert not read.share_at_hose_supposed


def test_a_squeezed_trunk_is_said_without_a_stumble():
    assert size_words("throat", "trunk", 0.65, 0.6, 0.7, None) == (
        "like the trunk line squeezed to 0.65 in (0.60 to 0.70 in)"
    )


def test_the_inlet_that_was_read_is_the_one_whose_branch_is_meant():
    squeezed = HALL.model_copy(update={"damaged_inlet": "den", "throats": Throats(branch=0.5)})
    taken = [
        Reading(station="inlet", condition="working", inlet="den",
                inh2o=readings(squeezed, "inlet", "working", "den")),
        Reading(station="other", condition="working", inlet="hall",
                inh2o=readings(squeezed, "other", "working", "hall")),
    ]  # fmt: skip
    found = estimate(taken, HALL)
    assert found.best.name == "throat-branch" and found.stretch == "branch"
    assert "on the branch to the den inlet" in found.best.words


SINGLE = {
    "leak-unit": Variant("leak-unit", "holes.bin"),
    "leak-trunk": Variant("leak-trunk", "holes.trunk"),
    "leak-branch": Variant("leak-branch", "holes.branch"),
    "leak-hose": Variant("leak-hose", "holes.hose"),
    "throat-unit": Variant("throat-unit", "throats.intake"),
    "throat-trunk": Variant("throat-trunk", "throats.trunk"),
    "throat-branch": Variant("throat-branch", "throats.branch"),
    "throat-hose": Variant("throat-hose", "throats.hose"),
    "speed": Variant("speed", "fan.speed"),
}
SIZES = {"leak": (0.1, 0.8), "throat": (0.3, 1.0), "speed": (0.5, 0.97)}


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_what_was_put_in_comes_out_inside_its_own_interval(data):
    cause = data.draw(st.sampled_from(CAUSES))
    size = data.draw(st.floats(*SIZES[cause.kind]))
    along = {"branch": 0.5, "hose": 0.5, "trunk": 0.25}.get(cause.stretch)
    faulty = put_in_system(HALL, SINGLE[cause.name].key, size, along)
    found = estimate(read_in(faulty), HALL, 0.02)
    low, best, high = size_of(found, cause.name)
    assert low <= size <= high
    assert found.fits
    if found.best.causes:
        assert cause.name in {found.best.name, *found.ambiguous_with}
        assert best == pytest.approx(size, rel=0.02)


@pytest.mark.parametrize("cause", ["leak-trunk", "throat-hose", "speed"])
def test_sizes_and_intervals_are_those_of_least_squares_on_the_model_itself(cause):
    from scipy.optimize import brentq, minimize_scalar

    true = {"leak-trunk": 0.37, "throat-hose": 0.62, "speed": 0.83}[cause]
    along = {"leak-trunk": 0.25, "throat-hose": 0.5}.get(cause)
    key = SINGLE[cause].key
    taken = read_in(put_in_system(HALL, key, true, along))
    off = [1.012, 0.991, 1.004, 0.99, 0.996, 1.009, 1.01, 0.993]
    taken = [r.model_copy(update={"inh2o": r.inh2o * f}) for r, f in zip(taken, off, strict=True)]
    shown = np.array([r.inh2o for r in taken])
    half_width = np.hypot(0.02 * shown, 0.25)

    def chi_square(size: float) -> float:
        given_ = np.array([r.inh2o for r in read_in(put_in_system(HALL, key, size, along))])
        return float((3.0 * ((shown - given_) / half_width) ** 2).sum())

    best = minimize_scalar(chi_square, bounds=(0.6 * true, 1.2 * true), method="bounded",
                           options={"xatol": 1e-6})  # fmt: skip
    ends = [
        brentq(lambda size: chi_square(size) - best.fun - 2.7055, *sorted((best.x, far)))
        for far in (0.7 * true, 1.19 * true)
    ]
    low, size, high = size_of(estimate(taken, HALL, 0.02), cause)
    width = ends[1] - ends[0]
    assert size == pytest.approx(best.x, abs=0.06 * width)
    # A cause's other spots can widen its interval, never narrow it.
    assert low <= ends[0] + 0.06 * width
    assert high >= ends[1] - 0.06 * width
    if cause != "leak-trunk":
        assert (low, high) == pytest.approx(ends, abs=0.06 * width)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from((*STATIONS, "other")),
            st.sampled_from(("sealed", "working")),
            st.floats(0, 200),
        ),
        min_size=1,
        max_size=10,
    )
)
def test_any_readings_give_an_estimate_with_facts_of_the_list_and_sentences(taken):
    found = estimate([Reading(station=s, condition=c, inh2o=value) for s, c, value in taken], HALL)
    for name, value in found.facts().items():
        assert vocabulary.fits(FACT_NAMES[name], value), name
    assert found.sentences()
    assert all(np.isfinite(opening.air_watts) for opening in found.openings)


def test_what_the_readings_say_nothing_about_is_not_a_fact():
    facts = estimate(pairs(unit=(92, 56)), HALL).facts()
    assert "estimate.leak.unit.hole_in" in facts
    assert not any("hose." in name and "hose-end" not in name for name in facts)
    assert "estimate.throat.trunk.throat_in" not in facts


@pytest.mark.parametrize(
    ("taken", "tolerance", "said"),
    [
        ([], 0.03, "no readings"),
        ([("inlet", "attic")], 0.03, "no inlet named 'attic'"),
        ([("other", "attic")], 0.03, "no inlet named 'attic'"),
        ([("unit", None)], 0.0, "tolerance 0"),
        ([("unit", None)], 1.5, "tolerance 1.5"),
    ],
)
def test_what_cannot_be_estimated_from_is_refused(taken, tolerance, said):
    made = [
        Reading(station=station, condition="sealed", inlet=inlet, inh2o=90)
        for station, inlet in taken
    ]
    with pytest.raises(InputError, match=said):
        estimate(made, HALL, tolerance)
