"""The planner's problem as a visit poses it: faults left, minutes, accesses, and its answer."""

from __future__ import annotations

import numpy as np
import pytest
from small_rules import SMALL, small

from stillflow.engine import Session, Visit, load_rules
from stillflow.engine.dialogue.choosing import DOUBTED, NEGLIGIBLE, Planner
from stillflow.engine.dialogue.unrolled import Point
from stillflow.engine.inference import CANT_TELL
from stillflow.engine.inference.visit import Unit
from stillflow.engine.planning.problem import Problem
from stillflow.engine.ruleset.knowledge import Knowledge
from stillflow.engine.ruleset.outlay import Footing

BOTH = """when:
      all: [{fact: answer.seal-look, is: whole}, {fact: answer.hiss, is: quiet}]"""

ALL = ["hiss", "seal-look", "sealed-inlet", "working-hose", "working-inlet"]


def planner(session: Session, **options: float) -> Planner:
    return Planner(session.knowledge, session.progress.model, session.baseline, **options)


def at(session: Session, **changes: object) -> Point:
    """Where a visit stands, with some of it otherwise; probabilities by fault id."""
    shares = changes.pop("shares", None)
    progress = session.progress
    probabilities = progress.probabilities
    if isinstance(shares, dict):
        probabilities = np.array([shares.get(name, 0.0) for name in session.knowledge.faults])
    settings: dict[str, object] = {
        "situation": progress.situation,
        "probabilities": probabilities,
        "footing": progress.footing,
        "answered": progress.answered,
        "silent": progress.silent,
        "deferred": tuple(progress.deferred),
        "ahead": {},
        "last_repair": None,
    }
    return Point(**{**settings, **changes})  # type: ignore[arg-type]


def posed(
    session: Session, check_ids: list[str], **changes: object
) -> tuple[Problem, list[str], list[str]]:
    made = planner(session).pose(at(session, **changes), check_ids)
    assert made is not None
    problem, faults, checks = made
    return problem, [fault.id for fault in faults], [check.id for check in checks]


def left(session: Session, check_ids: list[str], **changes: object) -> list[str]:
    return posed(session, check_ids, **changes)[1]


def test_a_visit_is_posed_as_numbers_row_by_row() -> None:
    session = Session(small())
    problem, faults, checks = posed(session, ["seal-look", "working-hose"])
    assert faults == ["hose-clogged", "motor-worn", "seal-torn"]
    assert checks == ["seal-look", "working-hose"]
    columns = [session.knowledge.fault_index[name] for name in faults]
    kept = session.progress.probabilities[columns]
    assert problem.priors == pytest.approx(kept / kept.sum())
    # With the measuring after each: 2 at the hose end and 1 for the tool; 2 before the motor.
    assert list(problem.fix_minutes) == [5 + 3, 60 + 3 + 2, 10 + 3]
    assert list(problem.check_minutes) == [1, 2]
    assert list(problem.access) == [0, None]
    assert list(problem.fix_access) == [None, None, 0]
    assert list(problem.access_minutes) == [4 + 1]
    assert list(problem.wrong_fix_minutes) == [0, 0, 0]
    outlook = session.progress.model.outlooks(session.progress.situation, ["seal-look"])[0]
    assert problem.answers[0] == pytest.approx(outlook.likelihood[:, columns].T)


def test_what_must_be_known_before_a_fix_costs_until_it_is_answered() -> None:
    session = Session(small())
    session.record("sealed-inlet", 120.0)
    problem, faults, _ = posed(session, ALL)
    assert faults == ["hose-clogged", "motor-worn", "nothing-wrong", "seal-torn"]
    measuring = 5.0 - 2.0 + 2.0  # the hose end, the tool, and what was read before
    assert list(problem.fix_minutes) == pytest.approx(
        # Where nothing is wrong nothing is measured again.
        [5 + measuring, 60 + measuring, 3 + 2, 10 + measuring]
    )


def test_all_that_means_that_nothing_is_broken_is_one_thing_to_deal_with() -> None:
    session = Session(load_rules(), Visit(unit=Unit(rated_sealed=130.0, rated_airflow=114.0)))
    shares = {"nothing-wrong": 0.1, "label-too-good": 0.3, "hose-clogged": 0.4, "bag-full": 0.2}
    readings = ["sealed-inlet", "sealed-unit", "working-hose", "working-inlet"]
    problem, faults, checks = posed(session, ["ever-better", *readings], shares=shares)
    assert faults == ["bag-full", "hose-clogged", "label-too-good"]
    assert list(problem.priors) == pytest.approx([0.2, 0.4, 0.4])
    for check_id, answers in zip(checks, problem.answers, strict=True):
        [outlook] = session.progress.model.outlooks(session.progress.situation, [check_id])
        mine = dict(zip(session.knowledge.faults, outlook.likelihood.T, strict=True))
        together = 0.25 * mine["nothing-wrong"] + 0.75 * mine["label-too-good"]
        assert answers[2] == pytest.approx(together)
        assert answers[1] == pytest.approx(mine["hose-clogged"])


def test_a_wrong_part_and_a_wrong_call_cost_what_is_said() -> None:
    text = SMALL.replace("refer: the workshop", "refer: the workshop, if_wrong_minutes: 45")
    session = Session(small(text))
    for price in (0.0, 90.0):
        made = planner(session, wrong_part_minutes=price).pose(at(session), ALL)
        assert made is not None
        problem, faults, _ = made
        cost = dict(zip((f.id for f in faults), problem.wrong_fix_minutes, strict=True))
        assert cost["seal-torn"] == price
        assert cost["motor-worn"] == 45
        assert cost["hose-clogged"] == 0


def test_faults_too_unlikely_or_left_undone_are_not_dealt_with() -> None:
    session = Session(small())
    shares = {"hose-clogged": NEGLIGIBLE / 2, "seal-torn": 0.3, "motor-worn": 0.7}
    assert left(session, ALL, shares=shares) == ["motor-worn", "seal-torn"]
    shares["hose-clogged"] = NEGLIGIBLE * 2
    assert left(session, ALL, shares=shares) == ["hose-clogged", "motor-worn", "seal-torn"]
    assert left(session, ALL, shares=shares, deferred=("motor-worn",)) == [
        "hose-clogged",
        "seal-torn",
    ]
    alone = at(session, shares={"seal-torn": 1.0}, deferred=("seal-torn",))
    assert planner(session).pose(alone, ALL) is None
    assert planner(session).decide(alone, ALL) is None
    assert not planner(session).has_faults(alone, ALL)
    assert planner(session).has_faults(at(session), ALL)
    one = at(session, shares={"seal-torn": 1.0})
    assert planner(session).has_faults(one, ALL)


def test_nothing_is_wrong_is_never_said_on_what_cannot_be_seen() -> None:
    session = Session(small())
    shares = {"hose-clogged": 0.5, "nothing-wrong": 0.5}
    assert left(session, ["sealed-inlet"], shares=shares) == ["hose-clogged"]
    assert "nothing-wrong" in left(session, ["sealed-inlet", "working-hose"], shares=shares)
    answered = {"sealed-inlet": 120.0}
    assert "nothing-wrong" in left(session, ["working-hose"], shares=shares, answered=answered)
    # Others' confirming does not keep them off the list.
    assert left(session, [], shares={"motor-worn": 1.0}) == ["motor-worn"]


def test_what_was_seen_to_be_sound_is_mended_last_unless_it_is_likely_all_the_same() -> None:
    session = Session(small())
    session.record("seal-look", "whole")
    some = {"seal-torn": DOUBTED - 0.1, "hose-clogged": 1 - DOUBTED + 0.1}
    assert left(session, ALL, shares=some) == ["hose-clogged"]
    likely = {"seal-torn": DOUBTED + 0.1, "hose-clogged": 0.9 - DOUBTED}
    assert left(session, ALL, shares=likely) == ["hose-clogged", "seal-torn"]
    assert left(session, ALL, shares={"seal-torn": 0.2}) == ["seal-torn"]
    torn = Session(small())
    torn.record("seal-look", "torn")
    assert "seal-torn" in left(torn, ALL, shares=some)


@pytest.mark.parametrize(
    ("change", "kept"),
    [
        (("seal-torn, strength: very-strong", "seal-torn, strength: strong"), True),
        (("is: whole}", "is: whole, is_not: torn}"), False),
        (("when: {fact: answer.seal-look, is: whole}", BOTH), True),
        (("is: whole}", "is_not: torn}"), False),
    ],
)
def test_only_a_look_that_alone_speaks_very_strongly_clears_a_fault(
    change: tuple[str, str], kept: bool
) -> None:
    assert change[0] in SMALL
    session = Session(small(SMALL.replace(*change)))
    session.record("seal-look", "whole")
    session.record("hiss", "quiet")
    some = {"seal-torn": 0.2, "hose-clogged": 0.8}
    assert ("seal-torn" in left(session, ALL, shares=some)) is kept


def chosen(knowledge: Knowledge, check_ids: list[str], **changes: object) -> tuple[object, ...]:
    session = Session(knowledge)
    decision = planner(session).decide(at(session, **changes), check_ids)
    assert decision is not None
    return decision.check_id, decision.fault_id


def test_a_decision_names_its_check_or_its_fault_and_what_came_close() -> None:
    knowledge = small()
    assert chosen(knowledge, []) == (None, "hose-clogged")
    check_id, fault_id = chosen(knowledge, ["seal-look", "sealed-inlet"])
    assert check_id in ("seal-look", "sealed-inlet")
    assert fault_id is None
    session = Session(knowledge)
    decision = planner(session).decide(at(session), ["sealed-inlet"])
    assert decision is not None
    choice = decision.choice
    assert choice.expected <= choice.fixing_only
    asked = "What does the gauge show, sealed?"
    if decision.check_id is None:
        assert choice.runner_up == asked
    else:
        assert decision.check_id == "sealed-inlet"
        assert choice.runner_up == "fix: Clogged hose"
    assert choice.runner_up_expected is not None
    assert choice.runner_up_expected >= choice.expected
    alone = planner(session).decide(at(session, shares={"seal-torn": 1.0}), [])
    assert alone is not None
    assert (alone.choice.runner_up, alone.choice.runner_up_expected) == ("", None)
    # 10 for the seal, 4 and 1 for the lid, 3 for the measuring after it.
    assert alone.choice.expected == pytest.approx(18)


def test_what_stands_open_is_not_paid_for_again() -> None:
    session = Session(small())
    alone = {"seal-torn": 1.0}
    opened = planner(session).decide(
        at(session, shares=alone, footing=Footing(opened=frozenset({"lid-off"}))), []
    )
    assert opened is not None
    assert opened.choice.expected == pytest.approx(13 + 1)


def test_the_minutes_to_the_end_count_no_fix_after_the_call_is_handed_over() -> None:
    """Where nothing tells any more, a call costs the fixes tried before a senior is called."""
    knowledge = load_rules()
    session = Session(knowledge)
    shown = []
    for _ in range(40):
        step = session.next_step()
        if step.check is None or step.choice is None:
            if step.check is None:
                break
            session.record(step.check.id, "none")
            continue
        shown.append(step.choice.expected)
        session.record(step.check.id, CANT_TELL)
    dearest = max(fault.fix.minutes for fault in knowledge.faults.values())
    assert len(shown) > 10
    assert max(shown) < 5 * dearest
    assert max(shown) < 2.5 * shown[0]


def test_the_fewer_fixes_are_left_before_it_is_handed_over_the_fewer_minutes() -> None:
    session = Session(load_rules())
    minutes = []
    for unmoved in (0, 3, 4):
        decision = planner(session).decide(at(session, unmoved=unmoved), [])
        assert decision is not None
        minutes.append(decision.choice.expected)
    assert minutes == sorted(minutes, reverse=True)
    assert minutes[0] > minutes[1] > minutes[2]
