"""Where a visit stands, on one screen."""

from __future__ import annotations

from small_rules import small

from stillflow.engine import Session, Unit, Visit, load_rules
from stillflow.engine.inference.visit import Event
from stillflow.engine.views.standing import note_words, whereabouts

RATED = Visit(unit=Unit(rated_sealed=120, rated_airflow=110))


def test_readings_stand_beside_what_was_expected_with_their_share() -> None:
    session = Session(small(), RATED)
    session.record("sealed-inlet", 60.0)
    at = whereabouts(session)
    [(label, found, expected, share)] = at.readings
    assert (label, found) == ("sealed at the inlet", 60.0)
    assert share == f"{100 * found / expected:.0f} %"
    assert at.verdict
    assert at.answers == 1
    assert at.minutes == 2.0


def test_before_anything_is_read_nothing_is_said_to_be_likely() -> None:
    assert whereabouts(Session(small(), RATED)).verdict == ""


def test_what_is_ruled_out_open_and_undone_is_named() -> None:
    session = Session(small(), RATED)
    session.record("seal-look", "whole")
    session.record("hiss", "skipped")
    session.record_fix("hose-clogged", done=False)
    at = whereabouts(session)
    assert "Torn seal" in at.ruled_out
    assert at.open == ("Lid off the unit",)
    assert at.undone == ("fix left: Clogged hose", "put off: Does anything hiss?")


def test_what_was_taken_from_the_complaint_or_settled_is_known() -> None:
    session = Session(load_rules(), Visit(complaint="It came slowly."))
    known = " ".join(whereabouts(session).known)
    assert '"came slowly": How did it begin?' in known
    assert "Was this system ever better" in known


def test_what_stopped_a_visit_is_named_once_it_is_lifted() -> None:
    session = Session(load_rules(), Visit())
    session.record("danger-signs", "hot-plug")
    assert whereabouts(session).lifted == ()
    session.record("danger-signs", "none")
    [lifted] = whereabouts(session).lifted
    assert lifted.startswith("The plug or outlet is too hot to hold. Call: A licensed electrician")
    session.undo()
    assert whereabouts(session).lifted == ()


def test_what_the_complaint_stopped_is_named_once_it_is_lifted() -> None:
    session = Session(load_rules(), Visit(complaint="There is a burning smell."))
    assert session.is_stopped
    session.record("danger-signs", "none")
    assert [words[:26] for words in whereabouts(session).lifted] == ["There is a burning smell. "]


def test_notes_parts_and_prices_are_told_in_order() -> None:
    session = Session(small())
    session.take(Event(note="key at the neighbour's"))
    session.take(Event(part="gasket", count=2, price=12.5))
    session.take(Event(part="hose", price=80))
    session.take(Event(strikes=3, note="it was not needed"))
    assert note_words(session) == ("key at the neighbour's", "part: 2 x gasket at 12.50")
    assert whereabouts(session).answers == 0


def test_what_needs_no_putting_back_is_not_open() -> None:
    session = Session(load_rules(), Visit())
    for check, answer in (("danger-signs", "none"), ("hose-look", "sound")):
        session.record(check, answer)
    assert session.progress.footing.opened
    assert whereabouts(session).open == ()
