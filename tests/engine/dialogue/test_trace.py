"""What happened round by round: who spoke, what was ruled out, and when a visit is over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_rules import SMALL, small

from stillflow.engine import Session
from stillflow.engine.dialogue.trace import (
    FALLEN,
    Contribution,
    contributions,
    loudest_against,
    rounds,
    ruled_out,
    stops,
    telling_round,
)

STOP = """
  - id: burnt
    when: {fact: answer.seal-look, is: torn}
    then:
      - {stop: The seal has burnt., call: an electrician, do_not: Do not run it.}
    because: It smells.
    source: common-practice
"""


def mended() -> Session:
    """A torn seal mended in vain, then a clogged hose mended and proved."""
    session = Session(small())
    session.record("sealed-inlet", 60.0)
    session.record("seal-look", "torn")
    session.record_fix("seal-torn")
    session.record("sealed-inlet", 120.0)
    session.record("working-hose", 20.0)
    session.record("works-now", "weak-still")
    session.record_fix("hose-clogged")
    return session


def test_a_round_ends_with_each_fix_and_holds_what_was_known_at_its_end() -> None:
    session = mended()
    one, two = rounds(session)
    assert [round_.number for round_ in (one, two)] == [0, 1]
    assert [asked.check_id for asked in one.asked] == ["sealed-inlet", "seal-look"]
    assert [asked.check_id for asked in two.asked] == ["sealed-inlet", "working-hose", "works-now"]
    assert one.repair is not None
    assert two.repair is not None
    assert (one.repair.fault_id, two.repair.fault_id) == ("seal-torn", "hose-clogged")
    assert [firing.rule_id for firing in one.firings] == ["low-sealed", "torn"]
    assert one.facts["answer.seal-look"] == "torn"
    assert "finding.short" not in one.facts
    assert "tried.seal-torn" not in one.facts
    assert two.facts["tried.seal-torn"] is True
    assert np.array_equal(one.probabilities, one.repair.probabilities)


def test_a_round_in_which_nothing_happened_yet_is_shown_only_at_the_start() -> None:
    knowledge = small()
    [empty] = rounds(Session(knowledge))
    assert (empty.asked, empty.repair, empty.over) == ((), None, False)
    session = mended()
    assert len(rounds(session)) == 2
    session.record("working-hose", 60.0)
    last = rounds(session)[-1]
    assert (last.number, last.repair, len(last.asked)) == (2, None, 1)


def test_only_the_last_round_of_a_visit_that_has_ended_is_over() -> None:
    session = mended()
    session.record("working-hose", 60.0)
    assert [one.over for one in rounds(session)] == [False, False, False]
    session.record("sealed-inlet", 120.0)
    session.record("works-now", "restored")
    assert session.next_step().step == "done"
    assert [one.over for one in rounds(session)] == [False, False, True]


def test_a_visit_handed_to_others_is_not_over_for_what_it_found() -> None:
    session = Session(small())
    session.record("sealed-inlet", 60.0)
    session.record_fix("motor-worn", done=False)
    assert session.next_step().ending is not None
    [one] = rounds(session)
    assert (one.over, one.repair) == (False, None)


def test_a_stop_is_over_and_is_named_with_its_rule() -> None:
    session = Session(small(SMALL + STOP))
    assert stops(session, rounds(session)[0]) == {}
    session.record("seal-look", "torn")
    [one] = rounds(session)
    assert one.over
    assert {name: item.stop for name, item in stops(session, one).items()} == {
        "burnt": "The seal has burnt."
    }


def test_the_telling_round_is_the_one_before_the_last_fix() -> None:
    session = mended()
    session.record("working-hose", 60.0)
    assert telling_round(session).number == 1
    session = Session(small())
    session.record("hiss", "quiet")
    assert telling_round(session).number == 0


def test_every_word_of_a_rule_that_fired_counts_once_for_each_fault_it_names() -> None:
    session = Session(small())
    session.record("sealed-inlet", 120.0)
    [one] = rounds(session)
    assert contributions(session, one) == [
        Contribution("fine-sealed", -1, "computed", "motor-worn"),
        Contribution("fine-sealed", -1, "computed", "seal-torn"),
    ]
    motor = session.knowledge.faults["motor-worn"]
    assert contributions(session, one, motor) == [
        Contribution("fine-sealed", -1, "computed", "motor-worn")
    ]


def test_the_loudest_against_a_fault_is_the_strongest_then_the_first_by_name() -> None:
    session = Session(small())
    session.record("sealed-inlet", 120.0)
    session.record("seal-look", "whole")
    [one] = rounds(session)
    assert loudest_against(session, one, "seal-torn") == Contribution(
        "whole", -1, "very-strong", "seal-torn"
    )
    assert loudest_against(session, one, "hose-clogged") is None
    both = small(
        SMALL.replace(
            "{against: seal-torn, strength: very-strong}", "{against: seal-torn, strength: strong}"
        )
    )
    session = Session(both)
    session.record("sealed-inlet", 120.0)
    session.record("seal-look", "whole")
    found = loudest_against(session, rounds(session)[0], "seal-torn")
    assert found is not None
    assert found.rule_id == "fine-sealed"


def test_ruled_out_is_what_fell_tenfold_by_something_that_speaks_against_it() -> None:
    session = Session(small())
    session.record("sealed-inlet", 120.0)
    session.record("seal-look", "whole")
    [one] = rounds(session)
    columns = session.knowledge.fault_index
    first = one.asked[0].before
    fallen = {
        name
        for name, column in columns.items()
        if one.probabilities[column] <= first[column] / FALLEN
    }
    assert "seal-torn" in fallen
    out = ruled_out(session, one)
    assert set(out) == {name for name in fallen if loudest_against(session, one, name)}
    assert out["seal-torn"].rule_id == "whole"


@pytest.mark.parametrize(("times", "is_out"), [(9.9, False), (10.1, True)])
def test_ten_times_less_likely_is_where_ruled_out_begins(times: float, is_out: bool) -> None:
    session = Session(small())
    session.record("sealed-inlet", 120.0)
    [one] = rounds(session)
    first = one.asked[0].before
    seal, motor = (session.knowledge.fault_index[n] for n in ("seal-torn", "motor-worn"))
    now = first.copy()
    now[seal], now[motor] = first[seal] / times, first[motor] / 20
    out = ruled_out(session, replace(one, probabilities=now))
    # The likelier one at first stands first.
    assert first[seal] > first[motor]
    assert list(out) == (["seal-torn", "motor-worn"] if is_out else ["motor-worn"])


def test_what_was_never_possible_is_not_ruled_out() -> None:
    session = Session(small())
    session.record_fix("motor-worn", found=False)
    session.record("sealed-inlet", 120.0)
    [one] = rounds(session)
    assert one.asked[0].before[session.knowledge.fault_index["motor-worn"]] == 0.0
    assert "motor-worn" not in ruled_out(session, one)


def test_a_fix_left_undone_before_another_that_was_proved_leaves_the_visit_over() -> None:
    session = Session(small())
    session.record_fix("hose-clogged", done=False)
    session.record("seal-look", "torn")
    session.record_fix("seal-torn")
    while (check := session.next_step().check) is not None:
        good = {"sealed-inlet": 120.0, "working-hose": 60.0, "works-now": "restored"}
        session.record(check.id, good[check.id])
    assert session.next_step().step == "done"
    assert rounds(session)[-1].over
