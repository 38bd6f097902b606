"""What was measured, fix by fix, beside what was read at the same place before."""

from __future__ import annotations

import pytest
from small_rules import small

from stillflow.engine import Session
from stillflow.engine.dialogue.measured import Measured, measured_by_round, outcome_words
from stillflow.engine.inference.visit import CANT_TELL, SKIPPED


def by_round(session: Session) -> list[list[tuple[str, float, float | None]]]:
    found = measured_by_round(session.knowledge, session.baseline, session.progress)
    return [[(one.label, one.found, one.before) for one in part] for part in found]


def twice_mended() -> Session:
    """Sealed 60, then 90 after one fix, then 119 after the next."""
    session = Session(small())
    session.record("sealed-inlet", 60.0)
    session.record("seal-look", "torn")
    session.record_fix("seal-torn")
    session.record("sealed-inlet", 90.0)
    session.record("working-hose", 20.0)
    session.record_fix("hose-clogged")
    session.record("sealed-inlet", 119.0)
    return session


def test_each_reading_stands_beside_the_first_at_its_place() -> None:
    assert by_round(twice_mended()) == [
        [("sealed at the inlet", 60.0, None)],
        [("sealed at the inlet", 90.0, 60.0), ("working at the hose end", 20.0, None)],
        # Before all fixes, not before the last.
        [("sealed at the inlet", 119.0, 60.0)],
    ]


def test_what_this_system_should_read_stands_beside_it() -> None:
    session = twice_mended()
    [*_, [last]] = measured_by_round(session.knowledge, session.baseline, session.progress)
    assert isinstance(last, Measured)
    assert last.expected == pytest.approx(120.0)


def test_of_one_read_twice_the_last_counts_and_what_was_not_read_does_not() -> None:
    session = Session(small())
    session.record("sealed-inlet", 60.0)
    session.record("sealed-inlet", 70.0)
    session.record("working-hose", CANT_TELL)
    session.record("hiss", SKIPPED)
    assert by_round(session) == [[("sealed at the inlet", 70.0, None)]]


def test_a_fix_left_undone_parts_nothing() -> None:
    session = Session(small())
    session.record("sealed-inlet", 60.0)
    session.record_fix("motor-worn", done=False)
    assert len(by_round(session)) == 1


def test_what_a_fix_came_to_is_said_with_what_was_answered_after_it() -> None:
    session = twice_mended()
    session.record("works-now", "restored")
    said = outcome_words(session.knowledge, session.baseline, session.progress)
    assert said == (
        "Read after it: sealed at the inlet 119 inH2O (60 before, 120 expected)."
        " Does it clean as it should now? it does."
    )


def test_where_nothing_was_read_after_a_fix_that_is_said() -> None:
    session = Session(small())
    session.record("seal-look", "torn")
    session.record_fix("seal-torn")
    # An answer that proves nothing is no part of the proof.
    session.record("hiss", "quiet")
    said = outcome_words(session.knowledge, session.baseline, session.progress)
    assert said == "No suction was read after it."


def test_a_place_not_read_before_is_said_to_be_so() -> None:
    session = Session(small())
    session.record("seal-look", "torn")
    session.record_fix("seal-torn")
    session.record("sealed-inlet", 119.0)
    said = outcome_words(session.knowledge, session.baseline, session.progress)
    assert said.endswith("sealed at the inlet 119 inH2O (not read before, 120 expected).")
