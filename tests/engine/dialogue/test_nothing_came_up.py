"""A fix after which no reading came up is not one that was shown to help."""

from __future__ import annotations

import pytest

from stillflow.engine import AirState, Session, Station, Unit, Visit, load_rules


def mended(share_before: float, share_after: float, fault: str = "bag-full") -> Session:
    """A call whose fix is proved, at the unit as given and elsewhere as it should be."""
    session = Session(load_rules(), Visit(unit=Unit(rated_sealed=130, rated_airflow=114)))
    expected = session.baseline.at
    session.record("danger-signs", "none")
    session.record("sealed-unit", expected(AirState.SEALED, Station.UNIT))
    session.record("working-unit", share_before * expected(AirState.WORKING, Station.UNIT))
    session.record_fix(fault)
    while (step := session.next_step()).step == "check":
        assert step.check is not None
        check = session.knowledge.checks[step.check.id]
        if check.id == "working-unit":
            session.record(check.id, share_after * expected(AirState.WORKING, Station.UNIT))
        elif check.condition is not None and check.station is not None:
            session.record(check.id, expected(check.condition, check.station))
        else:
            session.record(check.id, next(one.id for one in check.answers if one.good))
    assert step.step == "done"
    return session


@pytest.mark.parametrize(("before", "after"), [(0.97, 0.97), (0.98, 0.965), (0.95, 0.97)])
def test_where_no_reading_came_up_it_is_said_and_the_fix_is_not_proved(
    before: float, after: float
) -> None:
    ended = mended(before, after).visit.conclusion
    assert ended is not None
    assert not ended.proved
    assert "no reading came up by it" in ended.text
    assert "Restored" not in ended.text
    # The next visit is judged by what was read, but not told that this fix brought it.
    assert ended.readings
    assert {one.after for one in ended.readings} == {""}


def test_where_a_reading_came_up_the_fix_is_proved() -> None:
    ended = mended(0.7, 0.98).visit.conclusion
    assert ended is not None
    assert ended.proved
    assert ended.text.startswith("Restored.")
    assert "bag-full" in {one.after for one in ended.readings}


def test_what_a_gauge_does_not_see_is_proved_by_the_customers_tool() -> None:
    ended = mended(0.97, 0.97, "brush-not-turning").visit.conclusion
    assert ended is not None
    assert ended.proved
