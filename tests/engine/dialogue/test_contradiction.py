"""Readings that contradict each other are explained where they are asked again."""

from __future__ import annotations

from small_rules import small

from stillflow.engine import Session, Unit, Visit, load_rules
from stillflow.engine.inference.visit import Gauge

RATED = Visit(unit=Unit(rated_sealed=120, rated_airflow=110))


def test_sealed_below_working_is_said_with_both_numbers_and_what_cannot_be() -> None:
    session = Session(small(), RATED)
    session.record("working-inlet", 45.0)
    session.record("sealed-inlet", 40.0)
    step = session.next_step()
    assert "sealed 40 is below working 45, which cannot be" in step.contradiction
    assert "written down wrongly" in step.contradiction
    assert step.check is not None
    assert step.read_before == {"sealed-inlet": 40.0, "working-inlet": 45.0}[step.check.id]


def test_who_says_that_one_reading_was_right_is_asked_the_other_and_told_why() -> None:
    session = Session(small(), RATED)
    session.record("working-inlet", 45.0)
    session.record("sealed-inlet", 40.0)
    step = session.next_step()
    assert step.check is not None and step.read_before is not None
    first, value = step.check.id, step.read_before
    session.record(first, value)
    step = session.next_step()
    assert step.check is not None
    assert {first, step.check.id} == {"sealed-inlet", "working-inlet"}
    assert f"{value:.0f} stands, so" in step.contradiction
    session.record(step.check.id, 90.0 if step.check.id == "sealed-inlet" else 30.0)
    assert session.next_step().contradiction == ""
    assert set(session.progress.answered) == {"sealed-inlet", "working-inlet"}


def test_a_reading_above_what_the_unit_can_make_names_the_label_too() -> None:
    session = Session(load_rules(), RATED)
    session.record("danger-signs", "none")
    session.record("sealed-inlet", 200.0)
    assert "label" in session.next_step().contradiction


def test_what_was_read_before_is_what_the_gauge_showed() -> None:
    session = Session(small(), RATED.model_copy(update={"gauge": Gauge(zero=2.0)}))
    session.record("working-inlet", 47.0)
    session.record("sealed-inlet", 42.0)
    step = session.next_step()
    assert step.check is not None
    assert step.read_before == {"sealed-inlet": 42.0, "working-inlet": 47.0}[step.check.id]


def test_with_air_entering_no_unit_pulls_as_much_as_sealed() -> None:
    session = Session(load_rules(), RATED)
    session.record("danger-signs", "none")
    session.record("sealed-inlet", 90.0)
    session.record("working-inlet", 89.0)
    step = session.next_step()
    assert "sealed 90 is hardly more than working 89, which cannot be" in step.contradiction
    assert step.check is not None
    assert step.check.id in ("sealed-inlet", "working-inlet")


def test_where_the_gauge_shows_nothing_it_is_asked_whether_the_unit_runs() -> None:
    session = Session(load_rules(), RATED)
    session.record("danger-signs", "none")
    session.record("sealed-inlet", 0.0)
    step = session.next_step()
    assert "see that the unit runs" in step.contradiction
    assert step.check is not None
    assert step.check.id == "sealed-inlet"
    # Read once more it is believed.
    session.record("sealed-inlet", 0.0)
    assert session.progress.answered["sealed-inlet"] == 0.0
