"""Replaying cases and recorded visits through a rule set."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from small_rules import SMALL, small

from stillflow.casebook.cases import read_case
from stillflow.casebook.replay import minutes_of, replay
from stillflow.engine.inference.visit import Conclusion, Event, Visit

# A hose that takes long to clear, so that nobody tries that first without a look.
RULES = small(SMALL.replace("minutes: 5, steps: [Push", "minutes: 90, steps: [Push"))

STOPPED = Conclusion(step="stop", text="There is smoke.")

CASE = """
title: The seal of the bin is torn
teaches: A leak takes sealed and working suction alike.
kind: plain
visit: {}
finds:
  {sealed-inlet: 68, working-hose: 34, hiss: hissing, seal-look: torn, works-now: weak-still}
after: {sealed-inlet: 120, working-hose: 60, hiss: quiet, seal-look: whole, works-now: restored}
expect: {fixes: [seal-torn], ends: done}
"""


def event(what: str, answer: float | str | bool) -> Event:
    at = datetime(2025, 3, 4, 9, 30, tzinfo=UTC)
    if isinstance(answer, bool):
        return Event(fix=what, done=answer, at=at)
    return Event(check=what, answer=answer, at=at)


SEAL = Visit(
    id="seal",
    events=(
        event("sealed-inlet", 60.0),
        event("seal-look", "torn"),
        event("seal-torn", True),
        event("sealed-inlet", 119.0),
        event("works-now", "restored"),
    ),
)


def test_a_case_that_goes_as_it_should_agrees() -> None:
    report = replay([read_case(CASE, "torn.yaml")], RULES)
    (row,) = report.rows
    assert (row.kind, row.name, row.agrees, row.notes) == ("case", "torn", True, ())
    assert row.expected == row.reached == "seal-torn"
    assert row.checks > 0
    assert row.minutes > 10
    assert (report.compared, report.agreeing) == (1, 1)


def test_a_case_that_does_not_says_why() -> None:
    text = CASE.replace("fixes: [seal-torn]", "fixes: [hose-clogged]")
    (row,) = replay([read_case(text, "torn.yaml")], RULES).rows
    assert row.agrees is False
    assert row.expected == "hose-clogged"
    assert row.reached.startswith("seal-torn")
    assert row.notes


def test_a_visit_agrees_if_the_rules_now_find_what_was_fixed() -> None:
    (row,) = replay([SEAL], RULES).rows
    assert (row.kind, row.name) == ("visit", "seal")
    assert (row.expected, row.reached, row.agrees) == ("seal-torn", "seal-torn", True)
    assert row.checks == 4
    # Sealed 2, look 1 behind the lid 4, fix 10 with the lid still off, lid on 1, sealed 2, try 1.
    assert row.minutes == pytest.approx(21)


def test_a_changed_rule_shows_on_the_visits_it_turns() -> None:
    changed = SMALL.replace("{for: seal-torn, strength: d", "{for: motor-worn, strength: d")
    changed = changed.replace("{against: seal-torn,", "{for: seal-torn,")
    report = replay([SEAL], small(changed))
    assert (report.rows[0].reached, report.rows[0].agrees) == ("motor-worn", False)
    assert (report.compared, report.agreeing) == (1, 0)


def test_only_the_last_fix_of_a_visit_is_judged() -> None:
    wrong_first = SEAL.model_copy(
        update={
            "events": (
                event("working-hose", 20.0),
                event("hose-clogged", True),
                event("working-hose", 20.0),
                *SEAL.events,
            )
        }
    )
    (row,) = replay([wrong_first], RULES).rows
    assert (row.expected, row.reached, row.agrees) == ("seal-torn", "seal-torn", True)


def test_a_visit_without_a_fix_has_nothing_to_compare() -> None:
    begun = SEAL.model_copy(update={"events": SEAL.events[:2]})
    report = replay([begun], RULES)
    assert (report.rows[0].expected, report.rows[0].agrees) == ("", None)
    assert report.rows[0].reached == "seal-torn"
    assert (report.compared, report.agreeing) == (0, 0)


def test_a_stopped_visit_is_compared_by_its_stop() -> None:
    stopped = SEAL.model_copy(update={"events": SEAL.events[:1], "conclusion": STOPPED})
    (row,) = replay([stopped], RULES).rows
    assert (row.expected, row.agrees) == ("stop", False)
    rule = """
  - id: too-low
    when: {fact: level.sealed.inlet, is: low}
    then: [{stop: There is smoke., call: The fire service, do_not: Do not touch it.}]
    because: It burns.
    source: common-practice
"""
    (row,) = replay([stopped], small(SMALL + rule.strip("\n") + "\n")).rows
    assert (row.reached, row.agrees) == ("stop", True)


def test_a_visit_of_other_rules_gets_a_note() -> None:
    strange = Visit(id="x", events=(event("tea-leaves", "dark"), event("seal-torn", True)))
    (row,) = replay([strange], RULES).rows
    assert row.agrees is None
    assert row.notes == (
        "events 1, check: there is no check 'tea-leaves'; known: "
        "hiss, seal-look, sealed-inlet, working-hose, working-inlet, works-now",
    )


def test_minutes_count_an_access_once_between_fixes() -> None:
    rules = small()
    look = event("seal-look", "whole")
    # In the end the lid is put on again, which takes 1.
    assert minutes_of([look, look], rules) == pytest.approx(4 + 1 + 1 + 1)
    assert minutes_of([event("seal-torn", True), look], rules) == pytest.approx(4 + 10 + 1 + 1)
    assert minutes_of([event("seal-look", "can't do here")], rules) == 0
    assert minutes_of([event("seal-torn", False)], rules) == 0


def test_every_row_has_its_checks_and_minutes_and_none_is_compared_with_nothing() -> None:
    report = replay([SEAL, Visit(id="empty")], RULES)
    assert [row.checks for row in report.rows] == [4, 0]
    assert [row.minutes for row in report.rows] == pytest.approx([21, 0])
    assert replay([], RULES).compared == 0
