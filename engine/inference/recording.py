"""What may go on record: an event checked against the rule set before it is believed.

The record itself is modelled in `visit`; what events mean is worked out in `progress`.
"""

from __future__ import annotations

from stillflow.engine.base import InputError, Place, nearest, suction
from stillflow.engine.inference.inlets import Inlets
from stillflow.engine.inference.visit import NO_ANSWER, Event, Site, Visit
from stillflow.engine.ruleset import BOTH, NONE_HERE, Check, Knowledge

_KINDS = ("check", "fix", "part", "strikes")


def checked_event(
    knowledge: Knowledge, event: Event, where: str = "", inlets: Inlets | None = None
) -> Event:
    """The event in its recorded form: readings as inH2O, a fix said to be done or not.

    Args:
        knowledge: what checks, answers and faults exist.
        event: as given.
        where: its path in the visit, for the error.
        inlets: the names that have come up before it, which its own is told by.

    Raises:
        InputError: none of a check, a fix, a part, a note and a strike, or several; an unknown
            id, an answer that cannot be, or the name of an inlet that it cannot be about.
    """
    inlets = inlets or Inlets(Site())
    given = [name for name in _KINDS if getattr(event, name) is not None]
    if len(given) > 1 or (not given and event.note is None):
        right = f"give exactly one of {', '.join(_KINDS)} and note"
        raise InputError("an event is a check or a fix", Place(key=where), right)
    if event.beside:
        return event
    if event.fix is not None:
        if event.fix not in knowledge.faults:
            place = _at(where, "fix")
            raise InputError(
                f"there is no fault '{event.fix}'", place, nearest(event.fix, knowledge.faults)
            )
        there = event.found is not False
        done = there if event.done is None else event.done and there
        event = inlets.checked(event, None, where)
        return event.model_copy(update={"done": done, "found": None if there else False})
    assert event.check is not None
    check = known_check(knowledge, event.check, where)
    answer = checked_answer(check, event.answer, where)
    return inlets.checked(event, check, where).model_copy(update={"answer": answer})


def checked_strikes(visit: Visit) -> None:
    """See that what a visit's events strike are earlier ones, and no strikes themselves.

    Raises:
        InputError: they are not.
    """
    for index, event in enumerate(visit.events):
        number = event.strikes
        if number is None:
            continue
        place = Place(key=f"events.{index}.strikes")
        if number > index or visit.events[number - 1].strikes is not None:
            right = "give the number of an earlier answer, fix, note or part"
            raise InputError(f"there is nothing to strike at {number}", place, right)
        if event.done and not _fixed(visit.events[number - 1]):
            right = "strike it as what was never so"
            raise InputError(f"no fix was made at {number} that could be undone", place, right)
        if not event.note:
            raise InputError("nothing is struck without a reason", place, "add 'note:'")


def _fixed(event: Event) -> bool:
    return event.is_fix and event.done is not False and event.found is not False


def known_check(knowledge: Knowledge, check_id: str, where: str = "") -> Check:
    """The check with an id. Errors as `checked_event`."""
    if check_id not in knowledge.checks:
        right = nearest(check_id, knowledge.checks)
        raise InputError(f"there is no check '{check_id}'", _at(where, "check"), right)
    return knowledge.checks[check_id]


def checked_answer(check: Check, answer: float | str | None, where: str = "") -> float | str:
    """An answer in its recorded form. Errors as `checked_event`."""
    place = _at(where, "answer")
    if answer is None:
        raise InputError(f"'{check.id}' has no answer", place, "add 'answer:'")
    if answer in NO_ANSWER and (answer != NONE_HERE or check.part):
        return answer
    if check.kind == "reading":
        return suction(answer, place.key if where else "the reading")
    if isinstance(answer, str) and check.several:
        # Whichever way round, it is the same two answers.
        pieces = {piece.strip() for piece in answer.split(BOTH.strip())}
        answer = BOTH.join(one for one in check.answer_ids if one in pieces) or answer
    if answer not in check.words:
        if not where:
            # A person is told in the words of the question, a file in its own.
            labels = "; ".join(one.label for one in check.answers)
            raise InputError(f"'{answer}' does not answer: {check.ask}", right=f"one of: {labels}")
        known = ", ".join([*check.answer_ids, *NO_ANSWER[:2]])
        raise InputError(f"'{answer}' is not an answer to '{check.id}'", place, f"one of: {known}")
    return answer


def _at(where: str, key: str) -> Place:
    return Place(key=f"{where}.{key}" if where else key)
