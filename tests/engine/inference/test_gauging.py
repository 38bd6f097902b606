"""P(readings | fault) by the airflow model: held against the model run forward, and limits."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest
from numpy.testing import assert_allclose

from stillflow.engine import AirState, Station, Visit, load_rules
from stillflow.engine.airflow import Inlet, System, apply, density_at, readings
from stillflow.engine.airflow.system import Holes, Throats
from stillflow.engine.base import Floats, Mode, Where
from stillflow.engine.inference.baseline import Baseline, baseline_for
from stillflow.engine.inference.elsewhere import chance_at
from stillflow.engine.inference.facts import Spot
from stillflow.engine.inference.gauging import GaugeModel, _doubts, gauge_model, normal_below
from stillflow.engine.inference.inlets import HERE, OTHER, Further, Inlets
from stillflow.engine.inference.losses import SPOTS, line_of, losses_of
from stillflow.engine.inference.visit import Site, Unit

KNOWLEDGE = load_rules()
RATED = Visit(unit=Unit(rated_sealed=130.0, rated_airflow=114.0))
SEALED, WORKING = AirState.SEALED, AirState.WORKING
INLET = ((SEALED, Station.INLET), (WORKING, Station.INLET))
IN_ORDER = KNOWLEDGE.fault_index["nothing-wrong"]
FOUR = (Station.UNIT, Station.INLET, Station.OTHER, Station.HOSE)


def baseline_of(visit: Visit) -> Baseline:
    return baseline_for(visit, KNOWLEDGE)


BASELINE = baseline_of(RATED)
MODEL = GaugeModel(KNOWLEDGE, BASELINE, RATED)
COMMON = np.array([fault.how_common.weight for fault in KNOWLEDGE.faults.values()])


def posterior(taken: dict[Spot, float], model: GaugeModel = MODEL) -> Floats:
    weights, before = COMMON.copy(), dict[Spot, float]()
    for spot, value in taken.items():
        weights *= model.likelihood(before, spot, value)
        before[spot] = value
    return np.asarray(weights / weights.sum())


def of_modes(weights: Floats, *modes: Mode) -> float:
    faults = KNOWLEDGE.faults.values()
    return float(sum(w for w, fault in zip(weights, faults, strict=True) if fault.mode in modes))


def damaged(fault_id: str, size: float, stations: tuple[Station, ...] = FOUR) -> dict[Spot, float]:
    """What an exact gauge reads with a fault, by the airflow model run forward."""
    house = apply(BASELINE.system, KNOWLEDGE.faults[fault_id].effect, size)
    return {
        (state, station): readings(house, station, state)
        for station in stations
        for state in AirState
    }


def test_chances_of_the_levels_add_up_to_one_whatever_was_read() -> None:
    taken: dict[Spot, float] = {}
    for spot in SPOTS:
        for ahead in SPOTS:
            if ahead not in taken and ahead != spot:
                assert_allclose(MODEL.levels(taken, ahead).sum(axis=0), 1.0, atol=1e-9)
        taken[spot] = 0.8 * BASELINE.at(*spot)


def test_the_order_of_readings_does_not_matter() -> None:
    taken = damaged("bag-full", 60.0)
    backwards = dict(reversed(list(taken.items())))
    assert_allclose(posterior(taken), posterior(backwards), rtol=1e-3, atol=1e-6)


@pytest.mark.parametrize(
    ("fault_id", "size"),
    [
        ("bin-seal-leaks", 0.5),
        ("bag-full", 60.0),
        ("soft-clog-branch", 0.6),
        ("hose-clogged", 0.7),
        ("hose-holed", 0.4),
        ("brushes-worn", 0.75),
    ],
)
def test_a_loss_put_into_the_house_is_found_at_its_kind_and_place(
    fault_id: str, size: float
) -> None:
    fault, weights = KNOWLEDGE.faults[fault_id], posterior(damaged(fault_id, size))
    kinds, places = {fault.mode}, {fault.place}
    if fault.mode in (Mode.LEAK, Mode.WEAK_POWER) and fault.place is Where.UNIT:
        # A leak in the unit, a weak motor and too little voltage are one to the gauge.
        kinds, places = {Mode.LEAK, Mode.WEAK_POWER}, {Where.UNIT, Where.SUPPLY}
    faults = KNOWLEDGE.faults.values()
    alike = [
        (one.mode in kinds and one.place in places) or one.effect.kind == fault.effect.kind
        for one in faults
    ]
    assert float(weights[alike].sum()) > 0.5


def test_a_bag_that_holds_more_than_any_range_says_is_still_likelier_than_a_rare_blockage() -> None:
    """Working falls to a fifth at the unit: three times the largest size of a full bag."""
    largest = KNOWLEDGE.faults["bag-full"].effect.ranges()[0][1]
    found = posterior(damaged("bag-full", 3.0 * largest, (Station.UTILITY, Station.INLET)))
    bag, hood = (KNOWLEDGE.fault_index[name] for name in ("bag-full", "exhaust-hood-blocked"))
    assert found[bag] > 0.3 * found[hood] > 0.01


def test_what_lowers_sealed_suction_is_no_obstruction() -> None:
    # No air flows, so nothing in the way takes anything: the fan's own sealed suction is read.
    weights = posterior(damaged("bin-seal-leaks", 0.5, (Station.INLET,)))
    # What is left is a second fault beside the leak, and readings that say nothing.
    before = of_modes(COMMON / COMMON.sum(), Mode.OBSTRUCTION)
    assert of_modes(weights, Mode.OBSTRUCTION) < 0.2 * before


def test_five_stations_short_alike_are_one_observation_of_the_label() -> None:
    short = {spot: 0.93 * BASELINE.at(*spot) for spot in SPOTS}
    one = {spot: short[spot] for spot in INLET}
    few, many = (of_modes(posterior(some), Mode.NORMAL) for some in (one, short))
    # Four times as many readings that say the same do not make the unit sicker.
    assert many > few


def test_a_class_of_unit_is_doubted_more_than_a_rating() -> None:
    plain = Visit()
    baseline = baseline_of(plain)
    model = GaugeModel(KNOWLEDGE, baseline, plain)
    short = {spot: 0.85 * baseline.at(*spot) for spot in SPOTS}
    rated = {spot: 0.85 * BASELINE.at(*spot) for spot in SPOTS}
    assert posterior(short, model)[IN_ORDER] > posterior(rated)[IN_ORDER]


def test_nothing_is_proved_by_readings_that_cannot_be() -> None:
    weights = posterior({(SEALED, Station.INLET): 10.0, (WORKING, Station.INLET): 75.0})
    assert weights.min() > 0.0
    prior = COMMON / COMMON.sum()
    assert (weights / prior).max() < 1000.0


def test_no_reading_raises_any_fault_without_bound() -> None:
    # A share of readings says nothing, so none is more than so many times likelier than usual.
    for value in (0.0, 5.0, 60.0, 130.0, 180.0):
        factor = MODEL.likelihood({}, (SEALED, Station.INLET), value)
        usual = float(COMMON @ factor / COMMON.sum())
        assert (factor > 0.015 * usual).all()


def test_thin_air_widens_the_doubt_of_a_rating() -> None:
    high = RATED.model_copy(update={"site": Site(altitude_ft=7000.0)})
    baseline = baseline_of(high)
    model = GaugeModel(KNOWLEDGE, baseline, high)
    spots = ((SEALED, Station.INLET), (WORKING, Station.INLET))
    up = posterior({spot: 0.9 * baseline.at(*spot) for spot in spots}, model)
    down = posterior({spot: 0.9 * BASELINE.at(*spot) for spot in spots})
    normal = [
        list(KNOWLEDGE.faults).index(name) for name in ("nothing-wrong", "as-good-as-it-gets")
    ]
    assert up[normal].sum() > down[normal].sum()


def test_sizes_of_a_fault_are_those_that_somebody_calls_about() -> None:
    losses = losses_of(KNOWLEDGE, BASELINE, [])
    assert_allclose(losses.weight.sum(axis=1), 1.0)
    row = KNOWLEDGE.fault_index["hose-clogged"]
    likely = losses.weight[row] > 1e-6
    end = losses.reading[likely][:, SPOTS.index((WORKING, Station.HOSE))]
    weight = losses.weight[row][likely]
    lost = 1.0 - end / BASELINE.at(WORKING, Station.HOSE)
    assert float(weight[lost < 0.03].sum()) < 0.05


STUDY, ATTIC, LANDING = (
    Further(number, name, name) for number, name in enumerate(("study", "attic", "landing"), 2)
)


def house_with(taps: dict[str, float], **damage: object) -> System:
    """The baseline's house with further inlets at shares of the trunk, and what is damaged."""
    system = BASELINE.system
    branch, trunk = system.inlets[0].branch, system.trunk.length_ft
    beside = [Inlet(name=n, tap_ft=share * trunk, branch=branch) for n, share in taps.items()]
    return system.model_copy(update={"inlets": (*system.inlets, *beside), **damage})


def read_in(house: System, *further: Further) -> dict[Spot, float]:
    """What an exact gauge reads at the unit, the inlet, the other one and further ones."""
    found: dict[Spot, float] = {}
    for state in AirState:
        for station in (Station.UNIT, Station.INLET, Station.OTHER):
            found[state, station] = readings(house, station, state)
        for inlet in further:
            found[state, inlet] = readings(house, Station.OTHER, state, inlet.name)
    return found


def of_faults(weights: Floats, *fault_ids: str) -> float:
    return float(sum(weights[KNOWLEDGE.fault_index[name]] for name in fault_ids))


def test_a_third_inlet_tells_a_squeeze_in_the_trunk_from_one_in_the_branch() -> None:
    # Beyond the other inlet's tap, before the study's: without the study it may be the branch.
    squeezed = Throats(trunk=0.7, trunk_along=0.75)
    house = house_with({"study": 0.95}, throats=squeezed)
    without, beside = (posterior(read_in(house, *some)) for some in ((), (STUDY,)))
    trunk = [f.id for f in KNOWLEDGE.faults.values() if line_of(f.effect) == "throat trunk"]
    branch = [f.id for f in KNOWLEDGE.faults.values() if line_of(f.effect) == "throat branch"]
    assert of_faults(without, *branch) > of_faults(without, *trunk)
    assert of_faults(beside, *trunk) > 5.0 * of_faults(beside, *branch)


def test_inlets_that_share_the_branch_see_what_squeezes_it() -> None:
    house = house_with({"study": 1.0}, throats=Throats(branch=0.7))
    taken = read_in(house, STUDY)
    for state in AirState:
        taken[state, STUDY] = taken[state, Station.INLET]
    alike = {spot: value for spot, value in taken.items() if spot[1] is not STUDY}
    shared = Further(2, "study", HERE)
    alike |= {(state, shared): taken[state, STUDY] for state in AirState}
    branch = [f.id for f in KNOWLEDGE.faults.values() if line_of(f.effect) == "throat branch"]
    assert of_faults(posterior(alike), *branch) > 5.0 * of_faults(posterior(taken), *branch)


@pytest.mark.parametrize("at", ["study", "attic", "landing"])
def test_readings_say_at_which_inlet_a_gasket_leaks(at: str) -> None:
    taps = {"study": 0.8, "attic": 0.4, "landing": 0.6}
    house = house_with(taps, other_inlet=at, holes=Holes(other_inlet=0.45))
    house_at_other = house.model_copy(update={"other_inlet": at})
    taken: dict[Spot, float] = {}
    for state in AirState:
        taken[state, Station.UNIT] = readings(house_at_other, Station.UNIT, state)
        taken[state, Station.INLET] = readings(house_at_other, Station.INLET, state)
        for inlet in (STUDY, ATTIC, LANDING):
            taken[state, inlet] = readings(house_at_other, Station.OTHER, state, inlet.name)
    weights = posterior(taken)
    places = MODEL.leaking(taken, weights)
    number = {one.name: one.number for one in (STUDY, ATTIC, LANDING)}[at]
    assert places[number] > 0.8 * sum(places.values())
    gaskets = [f.id for f in KNOWLEDGE.faults.values() if line_of(f.effect) == "hole other-inlet"]
    assert of_faults(weights, *gaskets) > 0.9


def test_further_inlets_are_believed_in_any_order_and_look_ahead_agrees() -> None:
    house = house_with({"study": 0.95, "attic": 0.3}, throats=Throats(trunk=0.8, trunk_along=0.6))
    taken = read_in(house, STUDY, ATTIC)
    backwards = dict(reversed(list(taken.items())))
    # Seldom ways of seeing a squeeze are not taken with a second loss too, hence the tolerance.
    assert_allclose(posterior(taken), posterior(backwards), rtol=3e-2, atol=1e-4)
    spot = (WORKING, ATTIC)
    before = {one: value for one, value in taken.items() if one != spot}
    step = np.linspace(0.05, 1.6, 3000) * BASELINE.at(*spot)
    density = np.array([MODEL.likelihood(before, spot, value) for value in step])
    # A density in y = ln(h + H0), so dy = dh / (h + H0).
    whole = np.trapezoid(density / (step + 2.0)[:, None], step, axis=0)
    chances = MODEL.levels(before, spot)
    assert_allclose(chances.sum(axis=0), 1.0, atol=1e-9)
    edges = [level.below for level in KNOWLEDGE.levels]
    low = [index for index, edge in enumerate(edges) if edge is not None and edge <= 0.85]
    below = edges[low[-1]]
    assert below is not None
    part = step < below * BASELINE.at(*spot)
    summed = np.trapezoid((density / (step + 2.0)[:, None])[part], step[part], axis=0)
    assert_allclose(summed, chances[: low[-1] + 1].sum(axis=0), atol=5e-3)
    assert_allclose(whole, 1.0, atol=5e-3)


def test_what_is_believed_of_some_inlets_hangs_not_on_how_many_more_are_named() -> None:
    taken = read_in(house_with({"study": 0.95}), STUDY)
    spot = (SEALED, Station.HOSE)
    expected = MODEL.levels(taken, spot)
    wider = MODEL._given(taken, (SEALED, ATTIC))
    assert_allclose(
        MODEL._with_silence(wider.now) / MODEL._with_silence(wider.now).sum(),
        MODEL.foretold(taken) / MODEL.foretold(taken).sum(),
        rtol=2e-2,
    )
    assert_allclose(expected, MODEL.levels(dict(reversed(taken.items())), spot), rtol=1e-3)
    assert sum(chance_at(number, 6) for number in range(1, 7)) <= 1.0
    assert chance_at(1, 6) == pytest.approx(1.0 / 6.0)
    assert chance_at(1, 0) == pytest.approx(0.3)


def test_a_branch_that_is_known_says_which_tap_an_inlet_hangs_on() -> None:
    listed = [("hall", "down"), ("landing", "up"), ("study", "up"), ("den", "down"), ("loft", "")]
    inlets = Inlets(
        Site(
            inlet="hall",
            other_inlet="landing",
            inlets=tuple({"name": name, "branch": branch} for name, branch in listed),
        )
    )
    taps = {name: inlets.at(Station.OTHER, name) for name in ("study", "den", "loft")}
    assert [at.tap for at in taps.values() if isinstance(at, Further)] == [OTHER, HERE, "loft"]


def test_levels_drawn_together_come_as_often_as_one_after_the_other_says() -> None:
    count = 8000
    for name in ("bag-full", "label-too-good"):
        fault = KNOWLEDGE.fault_index[name]
        drawn = MODEL.drawn_levels(np.full(count, fault), np.random.default_rng(11))
        sealed, working = (SPOTS.index((state, Station.INLET)) for state in AirState)
        first = MODEL.levels({}, INLET[0])[:, fault]
        for level, expected in enumerate(first):
            chosen = drawn[:, sealed] == level
            assert chosen.mean() == pytest.approx(expected, abs=0.02)
        # And the second as the first has it: a short sealed reading goes with a short working one.
        low = int(np.argmax(first))
        taken = drawn[:, sealed] == low
        of_all, of_some = (drawn[rows, working].mean() for rows in (slice(None), taken))
        edges = [level.below for level in KNOWLEDGE.levels if level.below is not None]
        ahead = sum(
            MODEL.levels({INLET[0]: BASELINE.at(*INLET[0]) * share}, INLET[1])[:, fault]
            for share in np.linspace(*_band(edges, low), 5)
        )
        said = float(ahead @ np.arange(len(first)) / ahead.sum())
        assert of_some == pytest.approx(said, abs=0.15)
        assert drawn.min() >= 0
        assert of_all == pytest.approx(
            float(MODEL.levels({}, INLET[1])[:, fault] @ np.arange(len(first))), abs=0.1
        )


def _band(edges: list[float], level: int) -> tuple[float, float]:
    """Shares of expected that lie well within a level."""
    low = edges[level - 1] if level else edges[0] - 0.1
    high = edges[level] if level < len(edges) else edges[-1] + 0.06
    return low + 0.01, high - 0.01


def test_the_normal_distribution_is_that_of_the_standard_library() -> None:
    z = np.linspace(-6.0, 6.0, 121)
    exact = [NormalDist().cdf(one) for one in z]
    # Abramowitz and Stegun 26.2.17 promises 7.5e-8.
    assert_allclose(normal_below(z), exact, atol=7.6e-8)


def steps(**known: object) -> list[float]:
    visit = RATED.model_copy(update=known)
    return [one.step for one in _doubts(baseline_of(visit), visit)]


def test_what_is_known_of_the_house_is_doubted_less() -> None:
    """Steps are in standard deviations, so of half the doubt there are twice as many."""
    plain = steps()
    # The label's .035 and, alike in all readings, a gauge that is off by up to its tolerance.
    assert BASELINE.gauge == 0.0
    assert plain[:3] == pytest.approx([0.04 / 0.035, 0.04 / 0.02, 0.04 / 0.07])
    assert plain[3:5] == pytest.approx([0.3 / 0.35, 0.2 / 0.15])
    tubing = steps(house=RATED.house.model_copy(update={"tubing_ft": 40.0}))
    hose = steps(house=RATED.house.model_copy(update={"hose_ft": 30.0}))
    assert [a / b for a, b in zip(tubing, plain, strict=True)] == pytest.approx(
        [1, 1, 1, 3, 1, 1, 1]
    )
    assert [a / b for a, b in zip(hose, plain, strict=True)] == pytest.approx([1, 1, 1, 1, 2, 1, 1])


def test_a_label_without_airflow_leaves_it_as_doubtful_as_a_class_does() -> None:
    sealed = Unit(rated_sealed=130.0)
    assert steps(unit=sealed)[2] == pytest.approx(0.04 / 0.09)


def test_thin_air_adds_its_doubt_in_squares() -> None:
    high = steps(site=Site(altitude_ft=7000.0))
    thin = np.log(density_at(7000.0)) / 6.0
    assert high[0] == pytest.approx(0.04 / np.hypot(0.035, thin))
    assert high[1:] == pytest.approx(steps()[1:])


@pytest.mark.parametrize(
    ("years", "hole"), [(None, 0.5), (2.0, 0.3), (10.0, 0.5), (20.0, 1.0), (30.0, 1.5), (60.0, 2.0)]
)
def test_an_old_house_leaks_a_little_more(years: float | None, hole: float) -> None:
    """A tenth of an inch in a house of twenty years, as area goes; from 6 years to 40."""
    unit = Unit(rated_sealed=130.0, rated_airflow=114.0, age_years=years)
    visit = RATED.model_copy(update={"unit": unit})
    changes = [one.change for one in _doubts(baseline_of(visit), visit)]
    [found] = [one["holes.trunk"] for one in changes if "holes.trunk" in one]
    assert found == pytest.approx(0.1 * hole**0.5)


def test_a_house_is_solved_once_and_another_for_itself() -> None:
    first = gauge_model(KNOWLEDGE, BASELINE, RATED)
    assert gauge_model(KNOWLEDGE, BASELINE, RATED) is first
    # What was answered in it changes nothing of the house.
    told = RATED.model_copy(update={"complaint": "weak everywhere"})
    assert gauge_model(KNOWLEDGE, BASELINE, told) is first
    other = RATED.model_copy(update={"unit": Unit(rated_sealed=120.0, rated_airflow=110.0)})
    assert gauge_model(KNOWLEDGE, baseline_of(other), other) is not first


def test_what_is_not_known_of_a_house_is_varied_a_little_and_one_thing_at_a_time() -> None:
    """Speed moves suction and half as much airflow; tubing and hose grow by a part."""
    changes = [dict(one.change) for one in _doubts(BASELINE, RATED)]
    assert changes[0] == pytest.approx({"fan.sealed_inh2o": 1.04, "fan.airflow_cfm": 1.02})
    assert changes[1] == pytest.approx({"fan.sealed_inh2o": 1.04})
    assert changes[2] == pytest.approx({"fan.airflow_cfm": 1.04})
    assert set(changes[3].values()) == {1.3}
    assert {name.split(".")[0] for name in changes[3]} == {"trunk", "branch"}
    assert changes[4] == pytest.approx({"hose.length_ft": 1.2, "hose.fittings": 1.2})
    assert [list(one) for one in changes[5:]] == [["holes.trunk"], ["filter.loading"]]
