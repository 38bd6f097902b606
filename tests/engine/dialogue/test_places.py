"""Which inlet a fault is at, the same fault at a second one, and which to look at next."""

from __future__ import annotations

from dataclasses import replace

import pytest

from stillflow.engine import AirState, Session, Site, Station, Unit, Visit, load_rules
from stillflow.engine.airflow import apply, readings
from stillflow.engine.dialogue.places import Places
from stillflow.engine.dialogue.present import Presenter
from stillflow.engine.inference import NamedInlet, spot_of
from stillflow.engine.ruleset import Knowledge

GASKET = "face-gasket-leaks"
HOUSE = Site(
    inlet="hall",
    inlets=(
        NamedInlet(name="hall"),
        NamedInlet(name="landing", branch="up"),
        NamedInlet(name="study", branch="up"),
        NamedInlet(name="den"),
    ),
)


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_rules()


def begun(knowledge: Knowledge, site: Site = HOUSE) -> Session:
    """A house that leaks at some closed inlet, by its readings."""
    session = Session(
        knowledge, Visit(site=site, unit=Unit(rated_sealed=130.0, rated_airflow=114.0))
    )
    for check, answer in (
        ("danger-signs", "none"),
        ("sealed-unit", 126),
        ("sealed-inlet", 101),
        ("working-inlet", 72),
    ):
        session.record(check, answer)
    return session


def chance(session: Session, fault_id: str) -> float:
    return float(session.progress.probabilities[session.knowledge.fault_index[fault_id]])


def test_a_fix_says_at_which_inlet(knowledge: Knowledge) -> None:
    session = begun(knowledge)
    session.record("inlets-listen", "another", inlet="Landing")
    session.record("face-gasket-look", "bad", inlet="landing")
    fix = session.next_step().fix
    assert fix is not None
    assert (fix.fault, fix.inlet, fix.asks_inlet) == (GASKET, "landing", False)
    assert fix.title == "The door gasket of the landing inlet is missing, hard or out of place"
    session.record_fix(GASKET)
    assert session.events[-1].inlet == "landing"


def test_nobody_has_said_which_inlet_so_the_fix_asks(knowledge: Knowledge) -> None:
    session = begun(knowledge)
    session.record("inlets-listen", "another")
    session.record("face-gasket-look", "bad")
    fix = session.next_step().fix
    assert fix is not None
    assert (fix.fault, fix.inlet, fix.asks_inlet) == (GASKET, None, True)


def test_the_same_fault_can_be_there_again_at_a_second_inlet(knowledge: Knowledge) -> None:
    session = begun(knowledge)
    session.record("inlets-listen", "another", inlet="landing")
    session.record("face-gasket-look", "bad", inlet="landing")
    session.record_fix(GASKET, inlet="landing")
    # What was seen of the first gasket is gone with it.
    assert "face-gasket-look" not in session.progress.answered
    leaking = apply(session.baseline.system, knowledge.faults[GASKET].effect, 0.3)
    for check in ("sealed-inlet", "working-inlet", "working-hose"):
        condition, station = spot_of(knowledge.checks[check])
        session.record(check, readings(leaking, station, condition))
    before = chance(session, GASKET)
    assert 0.0 < before < 0.3
    session.record("inlets-listen", "another", inlet="study")
    session.record("face-gasket-look", "bad", inlet="study")
    assert chance(session, GASKET) > max(0.4, 5.0 * before)
    assert max(session.next_step().faults, key=lambda one: one.probability).id == GASKET
    assert Places(session.progress).of(knowledge.faults[GASKET]) == "study"


def test_the_fix_of_a_squeeze_says_between_which_inlets_it_is(knowledge: Knowledge) -> None:
    def first_step(site: Site, fault_id: str, here: float, **others: float) -> str:
        session = Session(
            knowledge, Visit(site=site, unit=Unit(rated_sealed=130.0, rated_airflow=114.0))
        )
        session.record("working-inlet", here)
        for name, value in others.items():
            session.record("working-other", value, inlet=name)
        present = Presenter(knowledge, session.baseline, session.progress, ())
        fix = present.fix(knowledge.faults[fault_id], (), None).fix
        assert fix is not None
        return fix.steps[0]

    two = Site(inlet="bath")
    assert first_step(two, "tube-crushed", 50, hall=80) == (
        "Look between the hall inlet, which reads well, and the bath inlet, which is weak."
    )
    # Nothing is said that was not read, of a fault that is elsewhere, or of one with its own place.
    own = knowledge.faults["tube-crushed"].fix.steps[0]
    assert first_step(two, "tube-crushed", 50) == own
    assert first_step(two, "tube-crushed", 80, hall=80) == own
    for fault in ("soft-clog-branch", "separator-full", "bag-full"):
        assert first_step(two, fault, 50, hall=80) == knowledge.faults[fault].fix.steps[0]
    row = Site(inlet="bath", inlets=("hall", "den", "study", "bath"))
    assert first_step(row, "soft-clog-trunk", 50, hall=80, den=80, study=51) == (
        "Look between the den inlet, which reads well, and the study inlet, which is weak."
    )


def test_a_fault_with_one_place_is_off_the_list_once_it_is_mended(knowledge: Knowledge) -> None:
    session = begun(knowledge)
    session.record_fix("wall-gasket-leaks")
    assert chance(session, "wall-gasket-leaks") == 0.0


def test_what_is_nowhere_is_off_the_list_what_is_not_at_one_inlet_is_not(
    knowledge: Knowledge,
) -> None:
    nowhere, not_here = begun(knowledge), begun(knowledge)
    nowhere.record_fix(GASKET, found=False)
    not_here.record_fix(GASKET, found=False, inlet="den")
    assert chance(nowhere, GASKET) == 0.0
    assert 0.0 < chance(not_here, GASKET) < chance(begun(knowledge), GASKET)


def test_readings_alone_say_at_which_inlet_it_leaks(knowledge: Knowledge) -> None:
    session = begun(knowledge)
    session.record("sealed-other", 101, inlet="den")
    session.record("working-other", 72, inlet="den")
    assert Places(session.progress).of(knowledge.faults[GASKET]) == ""
    # With the gauge on the inlet that leaks nothing leaks.
    session.record("sealed-other", 125, inlet="study")
    session.record("working-other", 88, inlet="study")
    assert Places(session.progress).of(knowledge.faults[GASKET]) == "study"
    assert session.next_step().faults[0].title.count("the study inlet") == 1


def test_inlets_on_one_branch_are_tried_together_and_a_mended_one_last(
    knowledge: Knowledge,
) -> None:
    session = begun(knowledge)
    listen = knowledge.checks["inlets-listen"]
    assert Places(session.progress).to_try(listen) == ("landing", "study", "den")
    session.record_fix(GASKET, inlet="landing")
    assert Places(session.progress).to_try(listen)[-1] == "landing"
    assert Places(session.progress).to_try(knowledge.checks["cuff-seat"]) == ()


def test_another_inlet_is_asked_of_once_by_name(knowledge: Knowledge) -> None:
    session = begun(knowledge, Site(inlet="hall"))
    places = Places(session.progress)
    other = knowledge.checks["sealed-other"]
    assert places.to_try(other) == ()
    session.record("sealed-other", 101, inlet="den")
    assert Places(session.progress).to_try(knowledge.checks["working-other"]) == ("den",)
    assert session.progress.inlets.words(Station.OTHER) == "the den inlet"
    assert session.progress.inlets.words(Station.INLET) == "the hall inlet"
    assert (AirState.SEALED, Station.OTHER) in session.progress.situation.readings


def test_a_squeeze_in_the_main_run_is_halved_along_the_listed_inlets(knowledge: Knowledge) -> None:
    row = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh")
    site = Site(inlet="hall", inlets=tuple(NamedInlet(name=name) for name in (*row, "hall")))
    session = Session(knowledge, Visit(site=site, unit=Unit(rated_sealed=130, rated_airflow=114)))
    for check, answer in (
        ("danger-signs", "none"),
        ("sealed-unit", 130),
        ("working-unit", 78),
        ("sealed-inlet", 130),
        ("working-inlet", 40),
    ):
        session.record(check, answer)
    other = knowledge.checks["working-other"]
    # Eight stretches: four before the fourth inlet's branch, four beyond it.
    assert Places(session.progress).to_try(other)[0] == "fourth"
    session.record("working-other", 77, inlet="fourth")
    assert Places(session.progress).to_try(other)[0] == "sixth"
    session.record("working-other", 41, inlet="sixth")
    assert Places(session.progress).to_try(other)[0] == "fifth"
    # What the question names comes first, though another place would be next in the row.
    step = session.step_for("sealed-other")
    assert (step.inlet, step.inlets[:2]) == ("fourth", ("fourth", "fifth"))
    assert session.step_for("working-other").inlet == "fifth"


def test_a_reading_is_offered_again_at_the_next_inlet_and_not_where_it_was_taken(
    knowledge: Knowledge,
) -> None:
    session = begun(knowledge)
    assert session.progress.ahead == {}
    session.record("sealed-other", 101, inlet="den")
    for name in ("landing", "study"):
        state, at = session.progress.ahead["sealed-other"]
        step = session.step_for("sealed-other")
        assert (state, str(at), step.inlet, step.asks_inlet) == (AirState.SEALED, name, name, False)
        assert step.ask == f"What does the gauge read at the {name} inlet, sealed?"
        session.record("sealed-other", 101, inlet=name)
        assert (state, at) in session.progress.situation.readings
    # All that have a name were read.
    assert session.progress.ahead == {}


def test_what_a_further_inlet_could_read_is_what_is_then_believed(knowledge: Knowledge) -> None:
    session = begun(knowledge)
    session.record("working-other", 72, inlet="den")
    progress = session.progress
    ahead, situation = progress.ahead, progress.situation
    [outlook] = progress.model.outlooks(situation, ["working-other"], ahead)
    assert outlook.likelihood.sum(axis=0) == pytest.approx(1.0)
    gauge = progress.model.gauge
    spot = ahead["working-other"]
    chances = gauge.levels(situation.readings, spot)
    assert outlook.likelihood == pytest.approx(chances / chances.sum(axis=0), abs=1e-9)
    # At the other inlet itself nothing is open any more: it is what it was read to be.
    [there] = progress.model.outlooks(situation, ["working-other"])
    assert there.likelihood.max(axis=0).min() > 0.5


def test_a_fix_that_changed_nothing_makes_the_same_fault_elsewhere_unlikely(
    knowledge: Knowledge,
) -> None:
    def after_fix(sealed: float, working: float) -> Session:
        session = begun(knowledge)
        session.record_fix(GASKET, inlet="landing")
        session.record("sealed-inlet", sealed)
        session.record("working-inlet", working)
        session.record("works-now", "still-weak")
        return session

    in_vain, some = after_fix(101, 72), after_fix(112, 79)
    assert in_vain.progress.unmoved == 1
    # Beside grit in a door, which the gauge cannot tell from it.
    beside = [chance(one, GASKET) / chance(one, "inlet-door-grit") for one in (in_vain, some)]
    assert 0.0 < beside[0] < 0.3 * beside[1]


def test_where_to_look_next_goes_by_the_minutes_of_the_rules(knowledge: Knowledge) -> None:
    site = Site(
        inlet="hall",
        inlets=(
            NamedInlet(name="hall"),
            NamedInlet(name="den"),
            NamedInlet(name="landing", branch="up"),
            NamedInlet(name="study", branch="up"),
        ),
    )
    # Two inlets of one branch are worth the way before one of another, if ways cost anything.
    assert Places(begun(knowledge, site).progress).in_order()[0] == "landing"
    stand = knowledge.stands["other-inlet"].model_copy(update={"minutes": 0.0, "from_to": None})
    near = replace(knowledge, stands={**knowledge.stands, "other-inlet": stand})
    assert Places(begun(near, site).progress).in_order()[0] == "den"
