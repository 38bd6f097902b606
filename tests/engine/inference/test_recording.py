"""What may go on record, and in what form."""

from __future__ import annotations

import pytest
from small_rules import small

from stillflow.engine import load_rules
from stillflow.engine.base.errors import InputError
from stillflow.engine.inference.recording import checked_answer, checked_event, known_check
from stillflow.engine.inference.visit import CANT_DO, CANT_TELL, SKIPPED, Event
from stillflow.engine.ruleset import NONE_HERE, Check

KNOWLEDGE = small()
READING, CHOICE = KNOWLEDGE.checks["sealed-inlet"], KNOWLEDGE.checks["hiss"]


def test_a_reading_is_kept_in_inches_of_water() -> None:
    # 22.4 kPa over the conventional inch of 249.0889 Pa: NIST SP 811 (2008), table B.8.
    event = checked_event(KNOWLEDGE, Event(check="sealed-inlet", answer="22.4 kPa"))
    assert event.answer == pytest.approx(22400 / 249.0889)
    assert checked_answer(READING, 90) == 90.0


@pytest.mark.parametrize("word", [CANT_TELL, CANT_DO, SKIPPED])
def test_no_answer_is_an_answer_to_every_check(word: str) -> None:
    assert checked_answer(READING, word) == word
    assert checked_answer(CHOICE, word) == word


@pytest.mark.parametrize(
    ("event", "what", "where", "right"),
    [
        (Event(), "a check or a fix", "events.3", "exactly one"),
        (Event(check="hiss", fix="seal-torn"), "a check or a fix", "events.3", "exactly one"),
        (Event(check="his", answer="quiet"), "no check 'his'", "events.3.check", "hiss"),
        (Event(fix="seal-tron"), "no fault 'seal-tron'", "events.3.fix", "seal-torn"),
        (Event(check="hiss"), "'hiss' has no answer", "events.3.answer", "answer:"),
        (Event(check="hiss", answer="loud"), "'loud' is not an answer", "events.3.answer",
         "hissing, quiet, can't tell, can't do here"),
        (Event(check="sealed-inlet", answer="much"), "'much' is not a number", "events.3.answer",
         "90"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_told_with_its_place(
    event: Event, what: str, where: str, right: str
) -> None:
    with pytest.raises(InputError) as told:
        checked_event(KNOWLEDGE, event, "events.3")
    assert what in told.value.what
    assert told.value.place.key == where
    assert right in told.value.right


def test_without_a_place_in_a_file_the_question_is_named_in_its_words() -> None:
    with pytest.raises(InputError) as told:
        checked_answer(CHOICE, "loud")
    assert CHOICE.ask in told.value.what
    assert all(answer.label in told.value.right for answer in CHOICE.answers)
    with pytest.raises(InputError) as told:
        known_check(KNOWLEDGE, "his")
    assert told.value.place.key == "check"


@pytest.mark.parametrize(
    ("given", "done", "found"),
    [
        ({}, True, None),
        ({"done": True}, True, None),
        ({"done": False}, False, None),
        ({"found": False}, False, False),
        ({"done": True, "found": False}, False, False),
        ({"done": False, "found": True}, False, None),
        ({"found": True}, True, None),
    ],
)
def test_a_fix_is_done_unless_it_was_left_or_its_fault_was_not_there(
    given: dict[str, bool], done: bool, found: bool | None
) -> None:
    event = checked_event(KNOWLEDGE, Event(fix="seal-torn", **given))
    assert (event.done, event.found) == (done, found)
    assert event.is_fix


@pytest.mark.parametrize("check", load_rules().checks.values(), ids=lambda one: one.id)
@pytest.mark.parametrize("wrong", ["rubbish", "there is none", "-5"])
def test_a_wrong_answer_is_refused_without_any_id(check: Check, wrong: str) -> None:
    if wrong == NONE_HERE and check.part:
        return
    with pytest.raises(InputError) as refused:
        checked_answer(check, wrong)
    ids = {check.id, *(one for one in check.answer_ids if "-" in one)}
    assert not [one for one in ids if one in str(refused.value)]
    assert check.ask in str(refused.value) or check.kind == "reading"
