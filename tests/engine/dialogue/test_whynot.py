"""Why it is not this fault: what speaks against and for it, what cost it most, what forbids it."""

from __future__ import annotations

import pytest
from small_rules import SMALL, small

from stillflow.engine import Session, Unit, Visit
from stillflow.engine.dialogue.trace import rounds, telling_round
from stillflow.engine.dialogue.whynot import MOST_FALLS, WhyNot, why_not


def asked(session: Session, fault_id: str) -> WhyNot:
    return why_not(session, telling_round(session), fault_id)


def begun() -> Session:
    session = Session(small())
    session.record("hiss", "can't tell")
    session.record("sealed-inlet", 120.0)
    session.record("seal-look", "whole")
    session.record("working-hose", 20.0)
    return session


def test_a_fault_stands_beside_the_likeliest_with_its_share_at_first_and_now() -> None:
    session = begun()
    column = session.knowledge.fault_index["seal-torn"]
    [one] = rounds(session)
    told = asked(session, "seal-torn")
    assert told.fault.id == "seal-torn"
    assert told.leader.id == session.next_step().faults[0].id == "hose-clogged"
    assert told.leading == pytest.approx(session.next_step().faults[0].probability)
    assert told.probability == pytest.approx(float(one.probabilities[column]))
    assert told.first == pytest.approx(float(one.asked[0].before[column]))
    assert told.first > told.probability
    assert (told.leads, told.never) == (False, "")
    assert asked(session, "hose-clogged").leads


def test_what_speaks_against_and_for_it_is_told_apart_the_strongest_first() -> None:
    session = begun()
    told = asked(session, "seal-torn")
    assert [(one.rule_id, one.sign) for one in told.against] == [("whole", -1), ("fine-sealed", -1)]
    assert told.speaks_for == ()
    told = asked(session, "hose-clogged")
    assert told.against == ()
    assert [(one.rule_id, one.sign) for one in told.speaks_for] == [("low-hose-sound-sealed", 1)]


def test_the_answers_that_cost_it_most_are_told_the_dearest_first() -> None:
    session = begun()
    falls = asked(session, "seal-torn").falls
    assert 1 < len(falls) <= MOST_FALLS
    left = [fall.after / fall.before for fall in falls]
    assert left == sorted(left)
    assert left[-1] < 0.9
    [one] = rounds(session)
    column = session.knowledge.fault_index["seal-torn"]
    by_check = {entry.check_id: entry for entry in one.asked}
    assert "hiss" not in {fall.asked.check_id for fall in falls}, "no answer costs nothing"
    for fall in falls:
        entry = by_check[fall.asked.check_id]
        assert (fall.before, fall.after) == (
            pytest.approx(float(entry.before[column])),
            pytest.approx(float(entry.after[column])),
        )


def test_no_more_than_three_answers_are_told() -> None:
    text = SMALL
    for number in range(4):
        text = text.replace(
            "rules:\n",
            f"""  - id: look-{number}
    kind: choice
    ask: What does it look like?
    how: [Look at it.]
    minutes: 1
    answers:
      - {{id: well, label: well, usual: 0.5}}
      - {{id: ill, label: ill, usual: 0.5}}
    source: common-practice
rules:
  - id: well-{number}
    when: {{fact: answer.look-{number}, is: well}}
    then: [{{against: seal-torn, strength: strong}}]
    because: It looks well.
    source: common-practice
""",
            1,
        )
    session = Session(small(text))
    for number in range(4):
        session.record(f"look-{number}", "well")
    told = asked(session, "seal-torn")
    assert len(told.falls) == MOST_FALLS == 3
    assert len(told.against) == 4


def test_before_any_answer_nothing_has_changed() -> None:
    told = asked(Session(small()), "motor-worn")
    assert told.first == told.probability > 0
    assert (told.falls, told.against, told.speaks_for) == ((), (), ())


def test_likeliest_of_equals_is_the_first_by_name() -> None:
    session = Session(small())
    by_id = {one.id: one.probability for one in session.next_step().faults}
    assert by_id["hose-clogged"] == by_id["seal-torn"]
    assert asked(session, "motor-worn").leader.id == "hose-clogged"


def test_what_cannot_be_in_this_house_says_where_it_could() -> None:
    knowledge = small(
        SMALL.replace(
            "    after: Both readings are back.\n",
            "    after: Both readings are back.\n"
            "    possible_when: {fact: unit.motors, at_least: 2}\n",
        )
    )
    one_motor = Session(knowledge, Visit(unit=Unit(motors=1)))
    assert asked(one_motor, "motor-worn").never.startswith("it can only be where ")
    assert asked(one_motor, "seal-torn").never == ""
    assert asked(Session(knowledge, Visit(unit=Unit(motors=2))), "motor-worn").never == ""
    assert asked(Session(knowledge), "motor-worn").never == ""


def test_what_was_looked_for_or_dealt_with_is_not_it_any_more() -> None:
    session = Session(small())
    session.record("hiss", "quiet")
    session.record_fix("hose-clogged", found=False)
    session.record_fix("seal-torn", done=False)
    assert asked(session, "hose-clogged").never == "it was looked for and was not there"
    assert asked(session, "seal-torn").never == "", "left undone, it may still be it"
    assert asked(session, "motor-worn").never == ""


def test_what_was_mended_is_not_it_after_that_and_may_be_it_before() -> None:
    session = Session(small())
    session.record("hiss", "quiet")
    session.record_fix("hose-clogged")
    session.record("sealed-inlet", 60.0)
    first, second = rounds(session)
    assert why_not(session, first, "hose-clogged").never == ""
    dealt = "it was dealt with before, and the suction did not come back"
    assert why_not(session, second, "hose-clogged").never == dealt
    session = Session(small())
    session.record_fix("nothing-wrong")
    session.record("hiss", "quiet")
    assert why_not(session, rounds(session)[-1], "nothing-wrong").never == ""


def test_a_fault_whose_name_comes_first_does_not_lead_for_that() -> None:
    session = Session(small())
    session.record("seal-look", "torn")
    told = asked(session, "hose-clogged")
    assert told.leader.id == "seal-torn"
    assert not told.leads
