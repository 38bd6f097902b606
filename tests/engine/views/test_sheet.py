"""The customer's page: each place once, with what was read before a fix and after it."""

from __future__ import annotations

from stillflow.engine import Session, Unit, Visit, load_rules
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
