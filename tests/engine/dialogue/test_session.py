"""The dialogue: what is asked next, what a fix leads to, what is not believed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_rules import SMALL, small

from stillflow.engine import Session, load_rules
from stillflow.engine.base.errors import InputError
from stillflow.engine.base.scales import Mode
from stillflow.engine.dialogue.choosing import Planner
from stillflow.engine.dialogue.places import done_words
from stillflow.engine.dialogue.steps import NextStep
from stillflow.engine.inference.visit import (
    CANT_DO,
    CANT_TELL,
    SKIPPED,
    Event,
    Gauge,
    Site,
    Unit,
    Visit,
)

# The small rule set's plain class of unit reads 120 sealed; about 57 working at the hose end.
SHORT, SOUND = 60.0, 119.0


def probability(step: NextStep, fault: str) -> float:
    return next(one.probability for one in step.faults if one.id == fault)


def started(*answers: tuple[str, float | str]) -> Session:
    session = Session(small())
    for check_id, answer in answers:
        session.record(check_id, answer)
    return session


def test_the_first_step_is_a_check_and_the_same_every_time() -> None:
    first, second = Session(small()).next_step(), Session(small()).next_step()
    assert first == second
    assert first.step == "check"
    assert first.check is not None


def test_a_check_behind_a_lid_says_what_is_opened_and_warns_first() -> None:
    session = Session(small(SMALL.replace("minutes: 2\n", "minutes: 90\n")))
    step = session.next_step()
    assert step.check is not None
    assert step.check.id == "hiss" or step.check.opens == "Lid off the unit"
    session.record("hiss", CANT_DO)
    step = session.next_step()
    assert step.check is not None
    assert step.check.id == "seal-look"
    assert step.check.opens == "Lid off the unit"
    assert step.check.minutes == 5
    assert step.check.cautions == ("Unplug the unit first.",)


def test_low_sealed_speaks_for_a_leak_and_is_explained() -> None:
    step = started(("sealed-inlet", SHORT)).next_step()
    assert probability(step, "seal-torn") > 0.6
    assert "Suction is lost even with no air flowing." in step.because
    assert next(iter(step.modes)) is Mode.LEAK


def test_the_likely_fault_is_fixed_measured_again_and_done() -> None:
    session = started(("sealed-inlet", SHORT), ("seal-look", "torn"))
    step = session.next_step()
    assert step.step == "fix"
    assert step.fix is not None
    assert step.fix.fault == "seal-torn"
    assert step.fix.cautions == ("Unplug the unit first.",)
    session.record_fix("seal-torn")
    asked = []
    for answer in (SOUND, 57.0, "restored"):
        step = session.next_step()
        assert step.check is not None
        assert step.check.verifies
        asked.append(step.check.id)
        session.record(step.check.id, answer)
    assert asked == ["sealed-inlet", "working-hose", "works-now"]
    assert session.next_step().step == "done"
    conclusion = session.visit.conclusion
    assert conclusion is not None
    assert conclusion.fault == "seal-torn"


def test_a_fix_that_did_not_help_rules_its_fault_out_and_the_plan_goes_on() -> None:
    session = started(("sealed-inlet", SHORT), ("seal-look", "torn"))
    session.record_fix("seal-torn")
    # As short as before, whatever else is measured or asked.
    session.record("sealed-inlet", SHORT)
    step = session.next_step()
    assert step.verifying == ""
    assert session.progress.unmoved == 1
    assert step.step in ("check", "fix", "refer")
    assert probability(step, "seal-torn") == 0
    assert probability(step, "motor-worn") > 0.5


def test_a_fault_that_was_not_there_is_ruled_out_and_the_readings_still_hold() -> None:
    session = started(("sealed-inlet", SHORT))
    session.record_fix("seal-torn", found=False)
    assert set(session.progress.answered) == {"sealed-inlet"}
    step = session.next_step()
    assert probability(step, "seal-torn") == 0
    assert step.check is None or not step.check.verifies
    assert session.events[-1].done is False
    again = Session(small(), session.visit)
    assert again.next_step() == step


def test_readings_before_a_fix_are_stale_after_it_but_looks_are_kept() -> None:
    session = started(("sealed-inlet", SHORT), ("hiss", "hissing"), ("seal-look", "torn"))
    session.record_fix("seal-torn")
    assert set(session.progress.answered) == {"seal-look"}


def test_two_faults_on_one_call_are_both_fixed() -> None:
    session = started(("sealed-inlet", SHORT), ("seal-look", "torn"))
    session.record_fix("seal-torn")
    answers: dict[str, float | str] = {
        "sealed-inlet": SOUND,
        "working-inlet": 40.0,
        "working-hose": 25.0,
        "works-now": "weak-still",
        "hiss": "quiet",
    }
    for _ in range(10):
        step = session.next_step()
        if step.fix is not None:
            break
        assert step.check is not None
        session.record(step.check.id, answers[step.check.id])
    assert step.fix is not None
    assert step.fix.fault == "hose-clogged"
    session.record_fix("hose-clogged")
    answers |= {"working-inlet": 76.0, "working-hose": 57.0, "works-now": "restored"}
    for _ in range(10):
        step = session.next_step()
        if step.ending is not None:
            break
        assert step.check is not None
        session.record(step.check.id, answers[step.check.id])
    assert step.step == "done"
    assert session.progress.tried == ["seal-torn", "hose-clogged"]
    done = [session.knowledge.faults[name] for name in session.progress.tried]
    assert step.ending is not None
    assert ". ".join(done_words(one, "") for one in done) in step.ending.what


def test_sealed_below_working_is_named_and_both_are_asked_again() -> None:
    session = started(("sealed-inlet", 50.0), ("working-inlet", 80.0))
    step = session.next_step()
    assert step.check is not None
    assert step.check.id in ("sealed-inlet", "working-inlet")
    assert "Sealed can never be below working at the same place." in step.because
    assert session.progress.answered == {}
    fresh = Session(small()).next_step()
    assert probability(step, "seal-torn") == pytest.approx(probability(fresh, "seal-torn"))


def test_doubted_readings_taken_again_are_believed_if_they_agree() -> None:
    session = started(("sealed-inlet", 50.0), ("working-inlet", 80.0))
    session.record("sealed-inlet", SOUND)
    session.record("working-inlet", 76.0)
    assert session.progress.answered == {"sealed-inlet": SOUND, "working-inlet": 76.0}


def test_the_same_contradiction_twice_is_not_asked_a_third_time() -> None:
    session = started(("sealed-inlet", 50.0), ("working-inlet", 80.0))
    session.record("sealed-inlet", 50.0)
    session.record("working-inlet", 80.0)
    step = session.next_step()
    assert step.check is None or step.check.id not in ("sealed-inlet", "working-inlet")
    assert session.progress.answered == {}


@pytest.mark.parametrize("word", [CANT_TELL, CANT_DO])
def test_what_cannot_be_answered_is_not_asked_again_and_the_plan_goes_on(word: str) -> None:
    session = Session(small())
    seen = []
    for _ in range(12):
        step = session.next_step()
        if step.check is None:
            break
        seen.append(step.check.id)
        session.record(step.check.id, word)
    assert len(seen) == len(set(seen))
    assert step.step in ("fix", "refer")


def test_what_was_skipped_comes_back_when_nothing_else_is_left() -> None:
    # Fixes so long that every check pays for itself.
    text = SMALL.replace("{minutes: 10,", "{minutes: 300,").replace(
        "{minutes: 5,", "{minutes: 300,"
    )
    session = Session(small(text.replace("{minutes: 60,", "{minutes: 300,")))
    first = session.next_step().check
    assert first is not None
    session.record(first.id, SKIPPED)
    seen = []
    for _ in range(12):
        step = session.next_step()
        if step.check is None or step.check.id == first.id:
            break
        seen.append(step.check.id)
        session.record(step.check.id, CANT_TELL)
    assert first.id not in seen
    assert step.check is not None
    assert step.check.id == first.id


def test_without_a_gauge_no_reading_is_asked() -> None:
    session = Session(small(), Visit(missing_tools=("gauge",)))
    for _ in range(12):
        step = session.next_step()
        if step.check is None:
            break
        assert step.check.kind == "choice"
        session.record(step.check.id, CANT_TELL)
    assert step.step in ("fix", "refer")


def test_taking_back_the_last_answer_restores_the_step_before() -> None:
    session = Session(small())
    before = session.next_step()
    session.record("sealed-inlet", SHORT)
    session.undo()
    assert session.next_step() == before
    assert session.undo() is None


def test_a_fix_that_belongs_to_others_is_referred_and_ends_when_left() -> None:
    session = Session(small(SMALL.replace("{minutes: 60,", "{minutes: 5,")))
    session.record("sealed-inlet", SHORT)
    session.record("seal-look", "whole")
    step = session.next_step()
    assert step.step == "refer"
    assert step.fix is not None
    assert step.fix.refer == "the workshop"
    session.record_fix("motor-worn", done=False)
    step = session.next_step()
    assert step.step == "refer"
    assert step.ending is not None
    assert step.ending.call == "the workshop"


def test_nothing_wrong_is_only_said_after_what_must_be_known_first() -> None:
    text = SMALL.replace("how_common: rare", "how_common: very-common")
    session = Session(small(text))
    seen = []
    for _ in range(12):
        step = session.next_step()
        if step.fix is not None and step.fix.fault == "nothing-wrong":
            break
        assert step.check is not None
        seen.append(step.check.id)
        answers: dict[str, float | str] = {"hiss": "quiet", "seal-look": "whole"}
        answers |= {
            one.id: session.baseline.at(one.condition, one.station)
            for one in session.knowledge.checks.values()
            if one.condition and one.station
        }
        session.record(step.check.id, answers[step.check.id])
    assert {"sealed-inlet", "working-hose"} <= set(seen)
    session.record_fix("nothing-wrong")
    assert session.next_step().step == "done"


@pytest.mark.parametrize(
    ("check", "answer", "words"),
    [
        ("sealed-inlet", "90 cfm", "not a unit of this kind"),
        ("sealed-inlet", -5, "cannot be"),
        ("sealed-inlet", "lots", "not a number"),
        ("sealed-inlet", float("nan"), "cannot be"),
        ("sealed-inlet", 4000, "cannot be"),
        ("seal-look", "tron", "one of: whole; torn"),
        ("seel-look", "torn", "did you mean 'seal-look'"),
    ],
)
def test_an_answer_that_cannot_be_is_refused_and_changes_nothing(
    check: str, answer: float | str, words: str
) -> None:
    session = Session(small())
    with pytest.raises(InputError, match=words):
        session.record(check, answer)
    assert session.events == ()


def test_units_are_understood() -> None:
    session = started(("sealed-inlet", "22.4 kPa"))
    # 22.4 kPa / 249.0889 Pa: conventional inch of water, NIST SP 811 table B.8.
    assert session.progress.answered["sealed-inlet"] == pytest.approx(22400 / 249.0889)


def test_replaying_the_record_gives_the_same_step() -> None:
    session = started(("sealed-inlet", SHORT), ("hiss", "hissing"))
    again = Session(small(), session.visit)
    assert again.next_step() == session.next_step()


@settings(max_examples=5, deadline=None)
@given(data=st.data())
def test_any_answers_lead_to_an_end_on_the_shipped_rules(data: st.DataObject) -> None:
    knowledge = load_rules()
    session = Session(knowledge)
    for _ in range(150):
        step = session.next_step()
        if step.ending is not None:
            break
        if step.fix is not None:
            session.record_fix(step.fix.fault, data.draw(st.booleans()))
            continue
        assert step.check is not None
        words: list[float | str] = [CANT_TELL, CANT_DO, SKIPPED]
        if step.check.kind == "reading":
            words += [0.0, 30.0, 60.0, 90.0, 119.0, 150.0]
        else:
            words += [answer.id for answer in step.check.answers]
        session.record(step.check.id, data.draw(st.sampled_from(words)))
        assert sum(fault.probability for fault in step.faults) == pytest.approx(1, abs=1e-6)
    assert step.ending is not None


def test_an_event_of_a_visit_that_cannot_be_is_placed() -> None:
    visit = Visit(events=(Event(check="sealed-inlet", answer=90), Event(check="nope", answer=1)))
    with pytest.raises(InputError, match=r"events 2, check"):
        Session(small(), visit)


def test_what_the_gauge_shows_in_open_air_is_taken_off_every_reading() -> None:
    off = Session(small(), Visit(gauge=Gauge(zero=4)))
    off.record("sealed-inlet", SHORT + 4)
    true = started(("sealed-inlet", SHORT))
    assert off.progress.answered == true.progress.answered
    assert off.next_step().faults == true.next_step().faults
    assert off.events[0].answer == SHORT + 4


def test_what_was_just_seen_to_be_whole_is_mended_last() -> None:
    # A fix so short that by the minutes alone it would be tried all the same.
    text = SMALL.replace("{minutes: 10, access: lid-off,", "{minutes: 0.1,")
    session = Session(small(text))
    session.record("sealed-inlet", SHORT)
    session.record("seal-look", "whole")
    for check in ("hiss", "working-inlet", "working-hose"):
        session.record(check, CANT_TELL)
    offered = []
    while (step := session.next_step()).fix is not None:
        offered.append(step.fix.fault)
        session.record_fix(step.fix.fault, found=False)
    assert offered[-1] == "seal-torn"
    assert "motor-worn" in offered


def test_a_dear_part_is_fitted_later() -> None:
    text = SMALL.replace("{minutes: 10, access: lid-off,", "{minutes: 1,")

    def first_fix(price: float) -> str:
        session = Session(small(text), wrong_part_minutes=price)
        for check in ("sealed-inlet", "seal-look", "hiss", "working-inlet", "working-hose"):
            session.record(check, CANT_TELL)
        fix = session.next_step().fix
        assert fix is not None
        return fix.fault

    assert first_fix(0.0) == "seal-torn"
    assert first_fix(500.0) == "hose-clogged"


def test_a_fix_behind_a_lid_counts_the_minutes_of_opening() -> None:
    session = Session(small(), Visit())
    for check_id in session.knowledge.checks:
        session.record(check_id, CANT_DO)
    for fault_id in ("hose-clogged", "motor-worn"):
        session.record_fix(fault_id, found=False)
    fix = session.next_step().fix
    assert fix is not None
    # 10 for the seal and 4 for the lid, which is still on.
    assert (fix.fault, fix.minutes) == ("seal-torn", 14)


def test_the_record_is_given_without_looking_ahead(monkeypatch: pytest.MonkeyPatch) -> None:
    session = Session(small(), Visit())
    session.record("sealed-inlet", 70.0)

    def never(*_: object) -> None:
        raise AssertionError("the planner was asked")

    monkeypatch.setattr(Planner, "decide", never)
    assert session.visit.events == session.events
    assert session.visit.conclusion is None


def test_a_session_takes_no_more_than_a_visit_file_may_hold() -> None:
    full = Visit(events=tuple(Event(fix="seal-torn", done=False) for _ in range(500)))
    session = Session(small(), full)
    with pytest.raises(InputError, match="500 answers, as many as a visit may have"):
        session.record_fix("seal-torn", done=False)
    assert len(session.events) == 500


def test_answers_taken_one_by_one_are_believed_as_when_folded_afresh() -> None:
    session = Session(small())
    for check_id, answer in (("hiss", "hissing"), ("sealed-inlet", 60.0), ("working-hose", 20.0)):
        session.record(check_id, answer)
        taken = session.progress.weights.copy()
        assert taken.sum() == pytest.approx(1.0)
        session.progress._believe()
        assert taken == pytest.approx(session.progress.weights)


def test_a_wrong_part_costs_nothing_more_unless_it_is_said() -> None:
    usual, none = Session(small()), Session(small(), wrong_part_minutes=0.0)
    assert usual.next_step().choice == none.next_step().choice


def test_a_struck_reading_stays_on_record_and_is_not_believed() -> None:
    knowledge = load_rules()
    wrong = Session(knowledge)
    wrong.record("sealed-inlet", 12.0)
    wrong.take(Event(strikes=1, note="the gauge was not seated"))
    assert wrong.events[0].answer == 12.0
    assert wrong.visit.struck == {1: "the gauge was not seated"}
    never = Session(knowledge)
    assert np.array_equal(wrong.progress.probabilities, never.progress.probabilities)
    again = Session(knowledge, wrong.visit)
    assert np.array_equal(again.progress.probabilities, never.progress.probabilities)
    assert wrong.next_step().check == never.next_step().check
    wrong.undo()
    believed = Session(knowledge)
    believed.record("sealed-inlet", 12.0)
    assert np.array_equal(wrong.progress.probabilities, believed.progress.probabilities)


def test_notes_and_parts_are_kept_and_change_nothing() -> None:
    knowledge = load_rules()
    session = Session(knowledge)
    before = session.next_step()
    session.take(Event(note="the dog is in the hall"))
    session.take(Event(part="hose, 30 ft", count=1, price=89.5))
    assert session.next_step() == before
    assert len(session.events) == 2


@pytest.mark.parametrize(
    ("strike", "said"),
    [
        (Event(strikes=4, note="why"), "there is nothing to strike at 4"),
        (Event(strikes=3, note="why"), "there is nothing to strike at 3"),
        (Event(strikes=1), "nothing is struck without a reason"),
    ],
)
def test_what_cannot_be_struck_is_refused(strike: Event, said: str) -> None:
    session = Session(load_rules())
    session.record("sealed-inlet", 90.0)
    session.take(Event(note="a note"))
    session.take(Event(strikes=2, note="of another house"))
    with pytest.raises(InputError, match=said):
        session.take(strike)
    assert len(session.events) == 3


def shipped(*readings: tuple[str, float], site: Site | None = None) -> Session:
    """A call with some readings under the shipped rules."""
    unit = Unit(rated_sealed=130.0, rated_airflow=114.0, age_years=6.0, motors=1, filter="bag")
    visit = Visit(unit=unit, site=site or Site())
    session = Session(load_rules(), visit)
    session.record("danger-signs", "none")
    for check, value in readings:
        session.record(check, value)
    return session


@pytest.mark.parametrize(
    ("check", "value"),
    [
        ("sealed-other", 2.0),
        ("sealed-other", 13.0),
        ("working-hose", 7.0),
        ("working-utility", 6.0),
    ],
)
def test_a_slip_of_the_finger_is_questioned_before_it_is_recorded(check: str, value: float) -> None:
    session = shipped(("sealed-inlet", 129.0), ("working-inlet", 76.0), ("working-other", 77.0))
    said = session.questioned(Event(check=check, answer=value, inlet=None))
    if check == "working-hose":
        # A clog in the hose may leave that little.
        assert said == ""
    else:
        assert "does not go with the rest" in said
        again = Event(check=check, answer=value)
        assert session.questioned(again.model_copy(update={"answer": value + 0.5})) != ""
        assert session.questioned(again) != ""
        assert session.questioned(again) == ""
    assert len(session.visit.events) == 4


def test_a_name_nearly_known_is_questioned_once_for_checks_and_fixes() -> None:
    site = Site(inlet="hall", inlets=("kitchen",))
    session = Session(load_rules(), Visit(site=site, unit=Unit(rated_sealed=130)))
    for event in (
        Event(check="sealed-other", answer=120.0, inlet="kitchn"),
        Event(fix="face-gasket-leaks", done=True, inlet="kitchn"),
    ):
        assert "one 'kitchen': did you mean that?" in session.questioned(event)
        assert session.questioned(event) == ""
        known = event.model_copy(update={"inlet": "Kitchen"})
        assert session.questioned(known) == ""
        # Something else in between, and it is asked again.
        assert session.questioned(event)
    away = Event(check="sealed-other", answer="can't tell", inlet="kitchn")
    assert session.questioned(away) == ""


def test_a_reading_that_goes_with_the_rest_is_not_questioned() -> None:
    session = shipped(("sealed-inlet", 129.0), ("working-inlet", 76.0))
    for check, value in (("sealed-other", 128.0), ("working-other", 74.0), ("working-hose", 62.0)):
        assert session.questioned(Event(check=check, answer=value)) == ""
    assert session.questioned(Event(check="sealed-other", answer="can't tell")) == ""
    assert session.questioned(Event(check="where-weak", answer="everywhere")) == ""


def test_the_inlet_that_is_weak_is_the_one_the_complaint_is_about_from_its_name_on() -> None:
    session = shipped()
    session.record("where-weak", "one-inlet", inlet="hall")
    assert session.progress.inlets.here == "hall"
    session.record("sealed-inlet", 126.0, inlet="hall")
    # What is said of another inlet names none.
    other = shipped()
    other.record("where-weak", "everywhere", inlet="hall")
    assert other.progress.inlets.here == ""


def test_what_reads_otherwise_with_nothing_mended_between_is_questioned() -> None:
    session = Session(load_rules(), Visit(unit=Unit(rated_sealed=130, rated_airflow=114)))
    session.record("danger-signs", "none")
    session.record("working-inlet", 40)
    up = Event(check="working-inlet", answer=74.0)
    assert "40 was read here before; if something was mended" in session.questioned(up)
    assert session.questioned(up) == "", "the same number once more is meant"
    session.record_fix("screen-matted")
    assert session.questioned(up) == ""
