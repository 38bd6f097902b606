"""The customer's page: each place once, with what was read before a fix and after it."""

from __future__ import annotations

from datetime import UTC, datetime

from stillflow.engine import Session, Unit, Visit, load_rules
from stillflow.engine.inference import Event
from stillflow.engine.views.sheet import Shop, customer_sheet


def test_what_was_read_between_two_fixes_is_from_before_the_second() -> None:
    unit = Unit(rated_sealed=130, rated_airflow=114, filter="cartridge")
    session = Session(load_rules(), Visit(unit=unit))
    session.record("danger-signs", "none")
    session.record("working-utility", 50)
    session.record_fix("screen-matted")
    session.record("working-utility", 78)
    session.record("working-hose", 12)
    session.record("sealed-hose", 128)
    session.record_fix("hose-clogged")
    session.record("working-hose", 60)
    found = {one.label: (one.before, one.after) for one in customer_sheet(session, Shop()).readings}
    assert found == {
        "working at the utility inlet": (50, 78),
        "working at the hose end": (12, 60),
        # Not read again, so nothing is said of it after the last fix.
        "sealed at the hose end": (128, None),
    }


def test_a_note_from_the_office_does_not_change_the_day_of_the_page() -> None:
    on, later = (datetime(2026, month, 3, 10, tzinfo=UTC) for month in (1, 6))
    session = Session(load_rules(), Visit(opened=on))
    session.record("danger-signs", "none", at=on)
    session.record("sealed-unit", 120, at=on)
    before = customer_sheet(session, Shop())
    session.take(Event(note="rang: all is well", at=later))
    session.take(Event(part="belt", price=3.0, at=later))
    session.take(Event(strikes=4, note="not fitted", at=later))
    after = customer_sheet(session, Shop())
    assert (after.facts, after.short) == (before.facts, before.short)
    assert dict(after.facts)["Date"] == "2026-01-03"


def test_an_invoice_line_says_that_danger_ended_the_visit() -> None:
    session = Session(load_rules(), Visit())
    session.record("danger-signs", "smoke")
    assert "stopped, there is smoke. No suction was read." in customer_sheet(session, Shop()).short


def test_a_visit_that_is_open_on_record_has_not_ended() -> None:
    session = Session(load_rules(), Visit())
    session.record("danger-signs", "smoke")
    parts = {one.heading: one.lines for one in customer_sheet(session, Shop(), closed=False).parts}
    assert parts["How it ended"] == ("Still open.",)
