"""The page of a visit: what was read before, between fixes and after, and nothing else."""

from __future__ import annotations

from datetime import UTC, datetime

from small_rules import small

from stillflow.engine import Session, Site, Unit, load_rules
from stillflow.engine.dialogue import summarise
from stillflow.engine.inference import Gauge, Visit


def mended(*after: tuple[str, float | str]) -> Session:
    """A torn seal found by one low reading, mended, and what was answered after it."""
    session = Session(small())
    session.record("sealed-inlet", 60.0)
    session.record_fix("seal-torn")
    for check_id, answer in after:
        session.record(check_id, answer)
    return session


def test_the_ending_says_what_was_read_where_before_and_after() -> None:
    session = mended(("sealed-inlet", 118.0), ("working-hose", 57.0), ("works-now", "restored"))
    ending = session.next_step().ending
    assert ending is not None
    assert "sealed at the inlet 118 inH2O (60 before, 120 expected)" in ending.what
    assert "working at the hose end 57 inH2O (not read before" in ending.what
    assert "Does it clean as it should now? it does." in ending.what
    assert "Sealed is back" not in ending.what, "what to look for is not what was found"


def test_an_ending_without_a_reading_says_that_none_was_taken() -> None:
    session = mended(
        ("sealed-inlet", "can't do here"),
        ("working-hose", "can't do here"),
        ("works-now", "restored"),
    )
    ending = session.next_step().ending
    assert ending is not None
    assert "No suction was read after it." in ending.what


def test_what_needs_no_mending_claims_nothing_of_readings_after_it() -> None:
    session = Session(small())
    session.record_fix("nothing-wrong")
    ending = session.next_step().ending
    assert ending is not None
    assert ending.what == (
        "Nothing is wrong. Nothing was put right, so nothing was measured again."
    )


def test_readings_between_two_fixes_stand_on_the_page_with_the_first_beside_them() -> None:
    session = mended(("sealed-inlet", 90.0))
    session.record_fix("hose-clogged")
    session.record("sealed-inlet", 119.0)
    summary = summarise(session)
    [between] = summary.between
    assert [(one.found, one.before) for one in (*between, *summary.after)] == [
        (90.0, 60.0),
        (119.0, 60.0),
    ]


def test_sentences_from_before_a_fix_that_was_not_there_give_way_to_later_readings() -> None:
    session = Session(small())
    session.record("sealed-inlet", 120.0)
    session.record_fix("hose-clogged", done=False, found=False)
    session.record("working-inlet", 20.0)
    said = " ".join(summarise(session).sizes)
    assert said
    assert "Nothing is wrong" not in said


def test_readings_that_were_set_aside_are_not_on_the_page() -> None:
    session = Session(small())
    for _ in range(2):
        session.record("sealed-inlet", 50.0)
        session.record("working-inlet", 80.0)
    assert session.progress.answered == {}
    assert summarise(session).before == ()


def test_the_page_shows_what_was_believed_with_the_gauges_zero_taken_off() -> None:
    session = Session(small(), Visit(gauge=Gauge(zero=4)))
    session.record("sealed-inlet", 64.0)
    [one] = summarise(session).before
    assert one.found == 60.0


RATED = Visit(
    site=Site(name="Ash Lodge", address="7 Fern Row", inlet="hall"),
    unit=Unit(rated_sealed=130, age_years=12, filter="foam"),
    opened=datetime(2026, 3, 4, 9, 0, tzinfo=UTC),
)


def test_the_page_names_house_unit_and_day_and_what_was_looked_at_and_answered() -> None:
    session = Session(load_rules(), RATED)
    session.record("danger-signs", "none")
    session.record("foam-look", "clogged")
    session.record("bin-seal-look", "can't tell")
    session.record_fix("foam-filter-clogged")
    session.record("works-now", "as-it-should")
    page = summarise(session)
    facts = dict(page.facts)
    assert facts["house"] == "Ash Lodge, 7 Fern Row"
    assert facts["date"] == "2026-03-04"
    assert "130 inH2O" in facts["unit"] and "foam" in facts["unit"]
    looks = session.knowledge.checks["foam-look"]
    assert f"{looks.ask} {looks.labels('clogged')}." in page.looked
    assert len(page.looked) == 2, "what nobody could tell was not seen"
    [proof] = page.proof
    assert proof.startswith(session.knowledge.checks["works-now"].ask)


def test_what_was_done_is_said_with_its_inlet_and_not_the_fault() -> None:
    session = Session(load_rules(), RATED)
    session.record("danger-signs", "none")
    session.record("sealed-inlet", 80.0)
    session.record_fix("face-gasket-leaks", inlet="study")
    session.record_fix("hose-holed", found=False)
    page = summarise(session)
    assert [one.done for one in page.done] == ["Installed a new door gasket (the study inlet)"]
    assert page.absent == (session.knowledge.faults["hose-holed"].title,)


def test_once_a_repair_is_proved_nothing_is_said_to_be_likely() -> None:
    session = mended(("sealed-inlet", 118.0), ("working-hose", 57.0), ("works-now", "restored"))
    page = summarise(session)
    assert page.sizes == ()
    assert "%" not in page.ending


def test_every_fix_says_what_was_done() -> None:
    for fault in load_rules().faults.values():
        assert fault.fix.done and not fault.fix.done.endswith("."), fault.id
        assert fault.fix.done != fault.title


def test_a_danger_that_was_looked_at_twice_is_on_the_page_once() -> None:
    session = Session(load_rules(), RATED)
    session.record("danger-signs", "burning-smell")
    session.record("danger-signs", "smoke")
    danger = session.knowledge.checks["danger-signs"]
    assert summarise(session).looked == (f"{danger.ask} {danger.labels('smoke')}.",)


def test_that_all_was_put_back_is_said_where_something_was_opened() -> None:
    unit = Unit(rated_sealed=130, rated_airflow=114, filter="bag")
    session = Session(load_rules(), Visit(unit=unit))
    session.record("danger-signs", "none")
    session.record("sealed-unit", 130)
    assert not summarise(session).all_back
    assert summarise(session).put_back
    session.record("sealed-hose", 130)
    assert summarise(session).all_back
    untouched = Session(load_rules(), Visit(unit=unit))
    untouched.record("danger-signs", "none")
    assert not summarise(untouched).all_back


def test_after_a_stop_the_page_says_what_not_to_touch_and_whom_to_call() -> None:
    session = Session(load_rules(), Visit())
    session.record("danger-signs", "smoke")
    ending = session.next_step().ending
    assert ending is not None
    words = summarise(session).ending
    assert ending.what in words
    assert ending.do_not in words
    assert words.endswith(f"Call: {ending.call}")


def test_of_two_dangers_the_page_names_both_also_once_they_are_gone() -> None:
    session = Session(load_rules(), Visit())
    session.record("danger-signs", "burning-smell + hot-plug")
    step = session.next_step()
    assert step.ending is not None
    assert len(step.because) == 2
    stops = [rule.stop for rule in load_rules().ordered_rules if rule.stop is not None]
    told = [one for one in stops if one.stop in step.ending.what]
    assert len(told) == 2
    for one in told:
        assert one.do_not in summarise(session).ending
        assert one.call in summarise(session).ending
    assert summarise(session).dangers == ()
    session.record("danger-signs", "none", at=datetime(2026, 2, 10, tzinfo=UTC))
    gone = summarise(session)
    assert [one.split(".")[0] for one in gone.dangers] == [one.stop.rstrip(".") for one in told]
    assert gone.ending == "Still open."
