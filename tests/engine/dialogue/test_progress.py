"""The record folded into what is known: each event, and what it leaves as it was."""

from __future__ import annotations

import numpy as np
import pytest
from frozen import changeable
from small_rules import small

from stillflow.engine import AirState, Session, Station, Unit, Visit, load_rules
from stillflow.engine.base import Mode
from stillflow.engine.dialogue.progress import Progress
from stillflow.engine.inference.visit import CANT_DO, CANT_TELL, SKIPPED, Event, Gauge, Site

KNOWLEDGE = small()
TORN, CLOGGED = (KNOWLEDGE.fault_index[name] for name in ("seal-torn", "hose-clogged"))
SEALED_INLET = (AirState.SEALED, Station.INLET)
# A contradiction for the small rules: sealed below working at one place.
SEALED, WORKING = 60.0, 80.0


def after(*answers: tuple[str, float | str], visit: Visit | None = None) -> Session:
    session = Session(KNOWLEDGE, visit or Visit())
    for check_id, answer in answers:
        session.record(check_id, answer)
    return session


def test_at_the_start_nothing_is_known_and_the_prior_is_how_common_faults_are() -> None:
    progress = after().progress
    assert (progress.answered, progress.closed, progress.events) == ({}, set(), 0)
    assert (progress.round, progress.tried, progress.deferred, progress.absent) == (0, [], [], [])
    assert progress.situation.standing["visit.fixes"] == 0
    assert progress.situation.standing["visit.doubts"] == 0
    # Common twice, occasional, rare: a half power of ten apart.
    relative = progress.probabilities / progress.probabilities.max()
    assert sorted(relative.tolist()) == pytest.approx([0.1, 10**-0.5, 1, 1])


def test_an_answer_opens_its_access_and_is_noted_with_what_it_moved() -> None:
    progress = after(("seal-look", "torn")).progress
    assert progress.footing.opened == {"lid-off"}
    assert progress.situation.choices == {"seal-look": "torn"}
    [asked] = progress.asked
    assert (asked.number, asked.check_id, asked.answer, asked.round) == (1, "seal-look", "torn", 0)
    assert asked.doubted_by == ""
    np.testing.assert_array_equal(asked.after, progress.probabilities)
    np.testing.assert_array_equal(asked.before, after().progress.probabilities)
    assert asked.moved == pytest.approx(
        max(abs(float(a - b)) for a, b in zip(asked.after, asked.before, strict=True))
    )
    assert asked.after[TORN] > asked.before[TORN]


@pytest.mark.parametrize("word", [CANT_TELL, CANT_DO, SKIPPED])
def test_no_answer_closes_the_check_and_moves_nothing(word: str) -> None:
    progress = after(("seal-look", word)).progress
    assert progress.silent == {"seal-look": word}
    assert progress.closed == {"seal-look"}
    # Who could not tell has looked, with the lid off.
    assert progress.footing.opened == ({"lid-off"} if word == CANT_TELL else set())
    [asked] = progress.asked
    assert asked.moved == 0
    assert asked.answer == word


def test_an_answer_after_none_and_an_answer_given_anew_count_once() -> None:
    changed = after(
        ("hiss", SKIPPED), ("seal-look", "torn"), ("seal-look", "whole"), ("hiss", "quiet")
    )
    plain = after(("seal-look", "whole"), ("hiss", "quiet"))
    assert changed.progress.silent == {}
    assert changed.progress.answered == {"seal-look": "whole", "hiss": "quiet"}
    assert changed.progress.events == 4
    np.testing.assert_allclose(changed.progress.probabilities, plain.progress.probabilities)


def test_a_gauge_that_shows_less_than_nothing_reads_no_suction() -> None:
    visit = Visit(gauge=Gauge(zero=3.0))
    progress = after(("sealed-inlet", 2.0), visit=visit).progress
    assert progress.situation.readings == {SEALED_INLET: 0.0}
    # On record it stays as it was read.
    assert progress.asked[0].answer == 2.0


def test_what_is_doubted_is_set_aside_from_the_belief_and_asked_again() -> None:
    session = after(("hiss", "quiet"), ("sealed-inlet", SEALED), ("working-inlet", WORKING))
    progress = session.progress
    assert progress.again == ["sealed-inlet", "working-inlet"]
    assert progress.doubting == "sealed-below-working"
    assert progress.doubts == ["sealed-below-working"]
    assert progress.answered == {"hiss": "quiet"}
    assert progress.situation.standing["visit.doubts"] == 1
    assert [one.doubted_by for one in progress.asked] == ["", "", "sealed-below-working"]
    np.testing.assert_allclose(
        progress.probabilities, after(("hiss", "quiet")).progress.probabilities
    )


def test_each_doubted_reading_leaves_the_list_as_it_is_taken_again() -> None:
    session = after(("sealed-inlet", SEALED), ("working-inlet", WORKING), ("sealed-inlet", 118))
    assert session.progress.again == ["working-inlet"]
    session.record("working-inlet", CANT_TELL)
    assert session.progress.again == []
    assert session.progress.silent == {"working-inlet": CANT_TELL}
    assert session.progress.answered == {"sealed-inlet": 118}


def test_the_same_contradiction_twice_leaves_both_readings_out_for_good() -> None:
    twice = [("sealed-inlet", SEALED), ("working-inlet", WORKING)] * 2
    progress = after(*twice).progress
    assert progress.again == []
    assert progress.silent == {"sealed-inlet": "set aside", "working-inlet": "set aside"}
    assert progress.doubts == ["sealed-below-working"] * 2
    assert progress.answered == {}


def test_a_fix_makes_readings_and_looks_at_the_work_stale_and_keeps_the_rest() -> None:
    session = after(
        ("sealed-inlet", 70),
        ("hiss", "hissing"),
        ("seal-look", "torn"),
        ("works-now", "weak-still"),
    )
    before = session.progress.probabilities
    session.record_fix("seal-torn")
    progress = session.progress
    # The seal is seen once; the hiss is listened for again, and the tool has the last word again.
    assert progress.answered == {"seal-look": "torn"}
    assert progress.situation.readings == {}
    assert (progress.tried, progress.round) == (["seal-torn"], 1)
    assert progress.situation.standing["visit.fixes"] == 1
    assert progress.situation.standing["tried.seal-torn"] is True
    assert progress.probabilities[TORN] == 0
    [repair] = progress.repairs
    assert (repair.number, repair.fault_id, repair.done, repair.found) == (
        5,
        "seal-torn",
        True,
        True,
    )
    assert repair.probability == before[TORN]
    np.testing.assert_array_equal(repair.probabilities, before)
    assert repair.situation.readings == {SEALED_INLET: 70.0}


def test_after_a_fix_what_it_opened_is_put_back_and_what_was_put_off_may_be_asked() -> None:
    session = after(
        ("seal-look", "torn"),
        ("hiss", SKIPPED),
        ("works-now", CANT_TELL),
        ("working-hose", CANT_DO),
    )
    session.record_fix("seal-torn")
    progress = session.progress
    assert progress.footing.opened == {"lid-off"}
    spent = progress.spent
    session.record("sealed-inlet", 100.0)
    assert progress.footing.opened == set()
    assert progress.spent == spent + 2 + 1
    assert progress.silent == {"working-hose": CANT_DO}


def test_what_could_not_be_told_may_be_asked_once_more_after_a_fix_and_not_a_third_time() -> None:
    session = after(("seal-look", CANT_TELL), ("hiss", CANT_TELL))
    assert set(session.progress.silent) == {"seal-look", "hiss"}
    session.record_fix("hose-clogged")
    assert session.progress.silent == {}
    session.record("seal-look", CANT_TELL)
    session.record("hiss", CANT_TELL)
    session.record_fix("motor-worn")
    # A fix may make a noise plain, but not what was looked at twice.
    assert session.progress.silent == {"seal-look": CANT_TELL}


@pytest.mark.parametrize(
    ("reading", "mended"), [(69.0, 0), (73.0, 0), (95.0, 1), (50.0, 0)], ids=str
)
def test_a_fix_after_which_a_reading_rises_has_mended_something(
    reading: float, mended: int
) -> None:
    session = after(("sealed-inlet", 70), ("seal-look", "torn"))
    assert session.progress.situation.standing["visit.mended"] == 0
    session.record_fix("seal-torn")
    assert session.progress.situation.standing["visit.mended"] == 0
    session.record("sealed-inlet", reading)
    assert session.progress.situation.standing["visit.mended"] == mended
    again = Session(KNOWLEDGE, session.visit).progress
    np.testing.assert_allclose(again.probabilities, session.progress.probabilities)


def test_who_is_not_content_after_a_cure_is_seldom_the_owner_of_a_machine_in_order() -> None:
    knowledge = load_rules()
    normal = [one.mode is Mode.NORMAL for one in knowledge.faults.values()]

    def in_order(again: float) -> float:
        session = Session(knowledge, Visit(unit=Unit(rated_sealed=120, rated_airflow=100)))
        session.record("sealed-inlet", 40.0)
        session.record_fix("inlet-left-open")
        session.record("sealed-inlet", again)
        before = session.progress.probabilities[normal].sum()
        session.record("works-now", "still-weak")
        return float(session.progress.probabilities[normal].sum() / before)

    assert in_order(110.0) < 0.5
    assert in_order(40.0) > 0.9


def test_readings_doubted_before_a_fix_are_not_asked_again_for_that_after_it() -> None:
    session = after(("sealed-inlet", SEALED), ("working-inlet", WORKING))
    session.record_fix("hose-clogged")
    assert session.progress.again == []
    twice = after(*[("sealed-inlet", SEALED), ("working-inlet", WORKING)] * 2)
    twice.record_fix("hose-clogged")
    assert twice.progress.silent == {}


def test_a_fault_that_was_not_there_is_off_the_list_and_nothing_else_changes() -> None:
    session = after(("sealed-inlet", 70), ("seal-look", "torn"))
    before = session.progress.probabilities
    session.record_fix("seal-torn", found=False)
    progress = session.progress
    assert (progress.absent, progress.tried, progress.deferred) == (["seal-torn"], [], [])
    assert progress.answered == {"sealed-inlet": 70, "seal-look": "torn"}
    assert progress.footing.opened == {"lid-off"}
    assert progress.probabilities[TORN] == 0
    rest = np.delete(before, TORN)
    np.testing.assert_allclose(np.delete(progress.probabilities, TORN), rest / rest.sum())


def test_a_fix_left_undone_is_deferred_and_its_fault_still_believed() -> None:
    session = after(("sealed-inlet", 70))
    before = session.progress.probabilities
    session.record_fix("motor-worn", done=False)
    progress = session.progress
    assert (progress.deferred, progress.tried, progress.round) == (["motor-worn"], [], 0)
    assert progress.answered == {"sealed-inlet": 70}
    np.testing.assert_array_equal(progress.probabilities, before)


def test_calling_it_in_order_leaves_the_readings_as_they_are() -> None:
    session = after(("sealed-inlet", 119))
    session.record_fix("nothing-wrong")
    assert session.progress.answered == {"sealed-inlet": 119}
    assert session.progress.tried == ["nothing-wrong"]


def test_when_every_fault_is_ruled_out_nothing_is_likely() -> None:
    session = after()
    for fault_id in KNOWLEDGE.faults:
        session.record_fix(fault_id, found=False)
    assert session.progress.probabilities.tolist() == [0, 0, 0, 0]


def test_answers_after_a_fix_belong_to_the_next_round() -> None:
    session = after(("sealed-inlet", 70))
    session.record_fix("seal-torn")
    session.record("sealed-inlet", 118)
    assert [one.round for one in session.progress.asked] == [0, 1]
    assert [one.number for one in session.progress.asked] == [1, 3]
    assert session.progress.events == 3


def test_only_the_fold_itself_can_change() -> None:
    assert isinstance(after().progress, Progress)
    assert changeable("stillflow.engine.dialogue") == {"Progress"}


def test_another_inlet_under_a_further_name_is_a_further_reading() -> None:
    session = Session(load_rules(), Visit(site=Site(inlet="hall")))
    session.record("sealed-other", 96, inlet="landing")
    session.record("sealed-other", 88, inlet="study")
    assert session.progress.answered == {"sealed-other": 96.0}
    assert [one.answer for one in session.progress.accepted] == [96.0, 88.0]
    session.record("sealed-other", 92, inlet="LANDING")
    session.record("sealed-other", 84, inlet="Study")
    assert session.progress.answered == {"sealed-other": 92.0}
    assert [one.answer for one in session.progress.accepted] == [92.0, 84.0]
    assert [event.inlet for event in session.events] == ["landing", "study", "landing", "study"]


def test_without_names_another_inlet_read_again_takes_the_place_of_the_first() -> None:
    session = Session(load_rules(), Visit(events=(Event(check="sealed-other", answer=96.0),)))
    session.record("sealed-other", 88)
    assert [one.answer for one in session.progress.accepted] == [88.0]


@pytest.mark.parametrize(
    ("fault", "stay"),
    [
        # Out in the house: the unit does not know of it with its tubing off.
        ("face-gasket-leaks", {"sealed-unit", "working-unit"}),
        # A clog takes nothing from sealed suction, nor from what lies nearer to the unit.
        ("hose-clogged", {"sealed-unit", "working-unit", "sealed-inlet", "working-inlet"}),
        # The unit was opened, so that nothing about it is as it was.
        ("bin-seal-leaks", set()),
        ("cartridge-clogged", set()),
    ],
)
def test_a_reading_in_which_what_was_mended_cannot_show_holds_after_the_fix(
    fault: str, stay: set[str]
) -> None:
    unit = Unit(rated_sealed=130, rated_airflow=114, filter="cartridge")
    session = Session(load_rules(), Visit(unit=unit))
    session.record("danger-signs", "none")
    readings = {"sealed-unit": 124, "working-unit": 73, "sealed-inlet": 120, "working-inlet": 70}
    for check, value in readings.items():
        session.record(check, value)
    session.record_fix(fault)
    assert set(session.progress.answered) & set(readings) == stay


def test_after_a_fix_nobody_is_asked_what_the_gauge_has_answered() -> None:
    """One reading is up, one still far short: something else is wrong, whatever the tool does."""
    unit = Unit(rated_sealed=130, rated_airflow=114, filter="cartridge")
    session = Session(load_rules(), Visit(unit=unit))
    for check, answer in (("danger-signs", "none"), ("sealed-hose", 130), ("working-hose", 15)):
        session.record(check, answer)
    session.record_fix("hose-clogged")
    step = session.next_step()
    assert step.check is not None
    assert (step.check.id, step.verifying) == ("working-hose", "hose-clogged")
    session.record("working-hose", 35)
    following = session.next_step()
    assert following.verifying == ""
    assert following.step in ("check", "fix")
    # As far up as it should be, the customer has the last word.
    session.undo()
    session.record("working-hose", 62)
    last = session.next_step()
    assert last.check is not None
    assert last.check.id == "works-now"


def test_a_good_reading_says_after_which_fix_it_was_taken() -> None:
    unit = Unit(rated_sealed=130, rated_airflow=114, filter="cartridge")
    session = Session(load_rules(), Visit(unit=unit))
    for check, answer in (("danger-signs", "none"), ("sealed-unit", 130), ("working-hose", 15)):
        session.record(check, answer)
    session.record_fix("hose-clogged")
    for check, answer in (("working-hose", 62), ("works-now", "as-it-should")):
        session.record(check, answer)
    conclusion = session.visit.conclusion
    assert conclusion is not None
    after = {(one.station, one.state): one.after for one in conclusion.readings}
    assert after == {
        (Station.UNIT, AirState.SEALED): "",
        (Station.HOSE, AirState.WORKING): "hose-clogged",
    }


def test_what_was_short_and_not_read_again_is_no_good_reading() -> None:
    unit = Unit(rated_sealed=130, rated_airflow=114, filter="cartridge")
    session = Session(load_rules(), Visit(unit=unit))
    session.record("danger-signs", "none")
    for check, value in (("sealed-inlet", 129), ("working-inlet", 28), ("working-hose", 22)):
        session.record(check, value)
    session.record_fix("clog-at-inlet-bend")
    session.record("working-inlet", "can't do here")
    session.record("working-hose", 62)
    session.record("works-now", "as-it-should")
    conclusion = session.visit.conclusion
    assert conclusion is not None
    assert conclusion.step == "done"
    kept = {(one.station, one.state): one.suction for one in conclusion.readings}
    assert kept == {
        (Station.INLET, AirState.SEALED): 129,
        (Station.HOSE, AirState.WORKING): 62,
    }
