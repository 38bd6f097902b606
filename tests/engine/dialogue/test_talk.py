"""What is said round a step: why in a sentence, what comes after, what was said before."""

from __future__ import annotations

from copy import deepcopy

import pytest
from small_rules import DANGER, SMALL, small

from stillflow.casebook.cases import named_case, play
from stillflow.engine import AirState, Session, Unit, Visit, load_rules
from stillflow.engine.base import minutes
from stillflow.engine.dialogue.talk import ahead_words, read_with, reminder_words, why_words
from stillflow.engine.inference.visit import Event

RATED = Visit(unit=Unit(rated_sealed=130.0, rated_airflow=114.0))


def test_why_begins_with_its_answer_in_one_sentence() -> None:
    words = why_words(Session(small()).next_step())
    assert words.count(".") == 1 + words.count(".5") and words.endswith(".")
    assert "min" in words


def test_the_plan_names_what_comes_after_the_likeliest_answer_and_how_long_it_takes() -> None:
    session = Session(small())
    step = session.next_step()
    assert step.check is not None and step.choice is not None
    words = ahead_words(session)
    assert words.startswith("After that, most likely: ")
    assert "to the end" in words
    assert session.next_step() == step
    assert session.events == ()


def test_the_plan_after_a_fix_is_to_prove_it() -> None:
    session = Session(small())
    session.record("seal-look", "torn")
    while session.next_step().check is not None:
        session.record(session.next_step().check.id, "can't tell")  # type: ignore[union-attr]
    assert session.next_step().fix is not None
    assert "measure" in ahead_words(session)


def test_the_other_reading_at_a_station_is_foretold_while_the_gauge_is_there() -> None:
    """Where it is, it costs no way and no set-up; on the likeliest answer it comes next."""
    session, foretold = Session(load_rules(), RATED), 0
    assert read_with(session) is None
    for _ in range(12):
        step, then = session.next_step(), read_with(session)
        if step.check is None:
            break
        if then is not None:
            foretold += 1
            assert (then.station, then.inlet) == (step.check.station, step.check.inlet)
            assert {then.condition, step.check.condition} == set(AirState)
            assert then.walk == 0.0
            assert then.minutes < session.step_for(then.id).minutes + step.check.minutes
        session.record(step.check.id, "none" if step.check.id == "danger-signs" else "can't tell")
    assert foretold > 0


def test_supposing_leaves_the_visit_as_it_is() -> None:
    session = Session(small())
    other = session.supposing(Event(check="hiss", answer="quiet", inlet="attic"))
    assert other.progress.answered == {"hiss": "quiet"}
    assert session.progress.answered == {}
    assert (other.progress.inlets.names, session.progress.inlets.names) == (("attic",), ())


@pytest.mark.parametrize("name", ["clogged-hose", "gasket-where-no-gauge-had-been"])
def test_supposing_is_what_the_visit_comes_to_and_changes_nothing_of_it(name: str) -> None:
    """The next event of a worked case supposed, then recorded, beside the record replayed."""
    case = named_case(name)
    assert case is not None
    played = play(case, load_rules()).visit
    live = Session(load_rules(), played.model_copy(update={"events": (), "conclusion": None}))
    for event in played.events:
        before = deepcopy(vars(live.progress))
        other = live.supposing(event)
        replayed = Session(load_rules(), other.visit)
        assert other.next_step() == replayed.next_step()
        assert other.progress.probabilities.tolist() == replayed.progress.probabilities.tolist()
        assert _plain(vars(live.progress)) == _plain(before)
        live.take(event)
        assert live.next_step() == other.next_step()


def _plain(kept: dict[str, object]) -> dict[str, str]:
    apart = ("model", "knowledge", "inlets", "_verification")
    inlets = repr(vars(kept["inlets"]))
    return {name: repr(one) for name, one in kept.items() if name not in apart} | {"inlets": inlets}


def test_cautions_shown_before_become_a_short_sentence_each() -> None:
    session = Session(small())
    text = session.knowledge.cautions["unplug"].text
    assert reminder_words(session.knowledge, (text,)) == "Unplug the unit first."
    assert reminder_words(session.knowledge, ()) == ""


def test_every_caution_has_a_short_sentence_for_the_second_time() -> None:
    for one in load_rules().cautions.values():
        assert one.again.endswith(".") and one.again[0].isupper()
        assert len(one.again) < len(one.text)


def test_the_question_about_danger_can_be_asked_at_any_time() -> None:
    session = Session(small(SMALL.replace("checks:", f"checks:{DANGER}", 1)))
    session.record("danger", "none")
    step = session.safety_step()
    assert step is not None and step.check is not None
    assert step.check.id == "danger"
    assert Session(small()).safety_step() is None


def test_a_fix_that_was_proved_can_be_called_in_question_again() -> None:
    session = Session(small())
    assert session.proof_step() is None
    session.record_fix("hose-clogged")
    session.record("working-hose", 75.0)
    session.record("works-now", "restored")
    assert session.next_step().ending is not None
    step = session.proof_step()
    assert step is not None and step.check is not None
    session.record(step.check.id, "weak-still")
    session.record("working-hose", 20.0)
    assert session.next_step().ending is None


def test_what_is_taken_back_is_no_reason_why_it_takes_longer() -> None:
    session = Session(small())
    session.record("sealed-inlet", 80.0)
    session.record("working-inlet", 40.0)
    session.next_step()
    session.record("seal-look", "whole")
    session.next_step()
    assert session.climbed != 0.0
    session.undo()
    session.next_step()
    assert session.climbed == 0.0


def test_the_minutes_to_the_end_are_those_of_the_plan() -> None:
    session = Session(small())
    session.record("sealed-inlet", 60.0)
    session.record("seal-look", "torn")
    step, then = session.next_step(), session.foreseen()
    # The seal is mended, then it is measured: so what the plan expects is said, not the fix alone.
    assert step.fix is not None and step.choice is not None
    assert then is not None and then.check is not None
    assert step.choice.expected > step.fix.minutes
    assert f"About {minutes(step.choice.expected)} to the end" in ahead_words(session)


def test_before_anything_is_read_the_minutes_are_at_least() -> None:
    session = Session(small())
    choice = session.next_step().choice
    assert choice is not None
    assert f"At least {minutes(choice.expected)} to the end" in ahead_words(session)


def test_after_the_end_there_is_no_plan() -> None:
    session = Session(small())
    session.record_fix("motor-worn", done=False)
    assert session.next_step().ending is not None
    assert ahead_words(session) == ""
