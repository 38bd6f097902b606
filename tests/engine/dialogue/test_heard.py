"""Answers that need not be asked: taken from the complaint, implied, or about what is not there."""

from __future__ import annotations

import numpy as np
import pytest
from small_rules import DANGER, SMALL, small

from stillflow.engine import Session, Visit, load_rules
from stillflow.engine.base import InputError, KnowledgeError

PHRASES = """
phrases:
  - {id: says-hiss, says: [it hisses], check: hiss, answer: hissing, source: common-practice}
unsure:
  - {id: denied, words: ["not"], source: common-practice}
"""
SETTLES = """
  - id: torn-hisses
    when: {fact: answer.seal-look, is: torn}
    then: [{settles: hiss, as: hissing}]
    because: What is torn hisses.
    source: common-practice
"""
LACKS = SMALL.replace(
    "    access: lid-off\n    answers:", "    access: lid-off\n    part: seal\n    answers:"
).replace(
    "    effect: {kind: hole, at: bin",
    "    possible_when: {fact: has.seal, is: true}\n    effect: {kind: hole, at: bin",
)
SEVERAL = SMALL.replace(
    "    again_after_fix: true\n    answers:\n      - {id: hissing",
    "    again_after_fix: true\n    several: true\n    answers:\n"
    "      - {id: rattling, label: it rattles, usual: 0.1}\n      - {id: hissing",
).replace("label: it is quiet, usual: 0.8", "label: it is quiet, usual: 0.7, alone: true")


def test_what_the_complaint_says_is_believed_as_if_it_had_been_answered() -> None:
    knowledge = small(SMALL + PHRASES)
    taken = Session(knowledge, Visit(complaint="It hisses."))
    asked = Session(knowledge)
    asked.record("hiss", "hissing")
    assert taken.progress.answered == {"hiss": "hissing"}
    assert np.allclose(taken.progress.probabilities, asked.progress.probabilities)
    assert taken.events == ()
    assert [one.number for one in taken.progress.asked] == [0]


def test_what_was_taken_can_be_taken_back_and_be_answered_otherwise() -> None:
    knowledge = small(SMALL + PHRASES)
    visit = Visit(complaint="It hisses.")
    back = Session(knowledge, visit.model_copy(update={"not_taken": ("hiss",)}))
    assert back.progress.answered == {}
    other = Session(knowledge, visit)
    other.record("hiss", "quiet")
    assert other.progress.answered == {"hiss": "quiet"}
    assert other.progress.heard == {}


def test_an_answer_settles_another_question_without_weighing_twice() -> None:
    knowledge = small(SMALL + SETTLES)
    session, plain = Session(knowledge), Session(small())
    for one in (session, plain):
        one.record("seal-look", "torn")
    assert session.progress.settled == {"hiss": ("torn-hisses", "hissing")}
    assert "hiss" in session.progress.closed
    assert np.allclose(session.progress.probabilities, plain.progress.probabilities)
    session.undo()
    assert "hiss" not in session.progress.closed


def test_a_question_that_was_settled_can_be_answered_after_all() -> None:
    session = Session(small(SMALL + SETTLES))
    session.record("seal-look", "torn")
    session.record("hiss", "quiet")
    assert session.progress.answered["hiss"] == "quiet"
    assert session.progress.settled == {}


def test_a_part_that_is_not_there_takes_what_is_about_it_off_the_list() -> None:
    session = Session(small(LACKS))
    column = session.knowledge.fault_index["seal-torn"]
    before = session.progress.probabilities[column]
    session.record("seal-look", "there is none")
    assert session.progress.probabilities[column] == 0.0
    assert "seal-look" in session.progress.closed
    session.record("seal-look", "whole")
    assert 0.0 < session.progress.probabilities[column] < before


def test_only_what_can_be_lacking_is_answered_with_there_is_none() -> None:
    with pytest.raises(InputError):
        Session(small()).record("seal-look", "there is none")
    step = Session(small(LACKS)).next_step()
    assert step.check is not None


def test_two_answers_that_are_both_true_are_believed_one_after_the_other() -> None:
    knowledge = small(SEVERAL)
    session = Session(knowledge)
    session.record("hiss", "hissing + rattling")
    assert session.progress.answered == {"hiss": "rattling + hissing"}
    model = session._model
    start = Session(knowledge).progress
    check = knowledge.checks["hiss"]
    each = [model.likelihood(start.situation, check, answer) for answer in ("rattling", "hissing")]
    expected = start.probabilities * each[0] * each[1]
    assert np.allclose(session.progress.probabilities, expected / expected.sum())


def test_a_rule_on_either_of_two_answers_fires_in_both_back_ends() -> None:
    session = Session(small(SEVERAL))
    session.record("sealed-inlet", 40.0)
    session.record("hiss", "rattling + hissing")
    by_experta = {firing.rule_id for firing in session.conclude().firings}
    by_table = set(session._model.fired(session.progress.situation))
    assert "hiss-when-short" in by_experta
    assert by_experta == by_table


@pytest.mark.parametrize("answer", ["hissing + quiet", "hissing + hissing + rattling + quiet"])
def test_an_answer_that_stands_alone_is_not_one_of_two(answer: str) -> None:
    with pytest.raises(InputError):
        Session(small(SEVERAL)).record("hiss", answer)


def test_what_nobody_can_tell_of_dangers_is_asked_again_before_the_unit_runs() -> None:
    knowledge = small(SMALL.replace("checks:", f"checks:{DANGER}", 1))
    session = Session(knowledge)
    session.record("danger", "can't tell")
    step = session.next_step()
    seen = []
    while step.check is not None and step.check.kind == "choice" and step.turn == "ask":
        assert not knowledge.checks[step.check.id].again_after_fix
        seen.append(step.check.id)
        session.record(step.check.id, "can't tell")
        step = session.next_step()
    assert step.turn == "danger-again"
    assert step.check is not None and step.check.id == "danger"
    session.record("danger", "none")
    assert session.next_step().turn != "danger-again"


def test_who_cannot_tell_of_dangers_twice_does_not_run_the_unit() -> None:
    knowledge = small(SMALL.replace("checks:", f"checks:{DANGER}", 1))
    session = Session(knowledge)
    session.record("danger", "can't tell")
    session.record("danger", "skipped")
    step = session.next_step()
    assert (step.step, step.turn) == ("refer", "danger-unknown")
    session.record("danger", "none")
    assert session.next_step().ending is None


@pytest.mark.parametrize(
    "wrong",
    [
        SMALL + PHRASES.replace("answer: hissing", "answer: hizzing"),
        SMALL + PHRASES.replace("check: hiss", "check: hizz"),
        SMALL + SETTLES.replace("as: hissing", "as: hizzing"),
        SMALL + SETTLES.replace("settles: hiss", "settles: hizz"),
    ],
)
def test_a_phrase_or_an_implication_that_leads_nowhere_is_refused(wrong: str) -> None:
    with pytest.raises(KnowledgeError):
        small(wrong)


def test_how_it_began_settles_whether_it_was_ever_better() -> None:
    session = Session(load_rules(), Visit(complaint="It came slowly."))
    assert session.progress.settled["ever-better"][1] == "was-better"
