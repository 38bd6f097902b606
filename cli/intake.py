"""The few questions before the first check: which house, which unit, what there is to measure with.

Every one may be left out with an empty line; each is kept as soon as it is given.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from stillflow.casebook.store import Overtaken
from stillflow.cli.prompt import ask
from stillflow.cli.screen import Screen
from stillflow.engine.base import InputError, SetupError, quantity
from stillflow.engine.inference import LIMITS, Visit

FILTERS = ("bag", "cartridge", "cloth", "none")


def _words(line: str) -> str:
    return line[:200]


def _number(name: str) -> Callable[[str], float]:
    unit, low, high = LIMITS[name]
    return lambda line: quantity(line, unit, "", low, high)


def _filter(line: str) -> str:
    matches = [one for one in FILTERS if one.startswith(line.lower())]
    if len(matches) != 1:
        raise InputError(f"'{line[:40]}' is not a filter", right=f"one of: {', '.join(FILTERS)}")
    return matches[0]


def _age(line: str) -> float:
    try:
        age = float(line.replace(",", "."))
    except ValueError:
        raise InputError(f"'{line[:40]}' is not a number of years", right="such as 12") from None
    if not 0 <= age <= 100:
        raise InputError(f"{age:g} years cannot be", right="between 0 and 100")
    return age


Question = tuple[str, str, str, str, Callable[[str], object]]
"""Part of the visit, field, the question, what `?` says of it, and how a line is read."""

_NAMEPLATE = "On the nameplate of the unit or in its papers; left out, the age has to do."

QUESTIONS: tuple[Question, ...] = (
    ("site", "name", "Name of the house or job", "As you will look for it later.", _words),
    ("", "complaint", "The complaint, in the customer's words", "As it was said.", _words),
    ("site", "inlet", "Which inlet is weak (such as: hall)", "As the house calls it.", _words),
    ("unit", "rated_sealed", "Rated sealed suction, inH2O", _NAMEPLATE, _number("rated_sealed")),
    ("unit", "rated_airflow", "Rated airflow, cfm", _NAMEPLATE, _number("rated_airflow")),
    ("unit", "age_years", "Age of the unit, years", "About is good enough.", _age),
    (
        "unit",
        "filter",
        "Filter: bag, cartridge, cloth or none",
        "What keeps the dust from the motor; the first letters will do.",
        _filter,
    ),
    (
        "site",
        "altitude_ft",
        "Altitude, ft",
        "Of the house above the sea; thin air makes every reading lower.",
        _number("altitude_ft"),
    ),
)

_ASKED_AGAIN: tuple[Question, ...] = (
    ("house", "tubing_ft", "Tubing from the unit to the inlet, ft", "", _number("tubing_ft")),
    ("house", "hose_ft", "Length of the hose, ft", "", _number("hose_ft")),
    ("house", "hose_bore_in", "Inside diameter of the hose, in", "", _number("hose_bore_in")),
    ("gauge", "orifice_in", "Orifice of the fitting, in", "", _number("orifice_in")),
)
"""Asked only where what is kept of them cannot be used any more."""


def ask_intake(
    screen: Screen,
    visit: Visit,
    keep: Callable[[Visit], Visit],
    refused: Iterable[tuple[str, str]] = (),
) -> Visit | None:
    """Ask what is not known yet.

    Args:
        screen: where to write.
        visit: what is known.
        keep: called with the visit after each answer; gives the visit as it is kept.
        refused: part and field of values to be asked again, whatever else is known.

    Returns:
        The visit as it is kept; None if the person stopped.

    Raises:
        EOFError: the input has ended.
    """
    again = set(refused)
    questions = [one for one in (*QUESTIONS, *_ASKED_AGAIN) if one[:2] in again]
    if not visit.described and not visit.events:
        questions = [one for one in QUESTIONS if not _known(visit, one)] + [
            one for one in questions if one in _ASKED_AGAIN
        ]
    if questions:
        screen.head("The call")
        screen.text("Press Enter to leave a question out. Or: ?   back   stop")
    at = 0
    while at < len(questions):
        part, name, words, meaning, convert = questions[at]
        known = _value(visit, questions[at])
        line = ask(f"{words} (now: {known})" if known else words).strip()
        if line.lower() == "stop":
            return None
        if line.lower() == "back":
            if at == 0:
                screen.text("This is the first question; there is nothing to go back to.")
            at = max(0, at - 1)
        elif line == "?":
            screen.text(f"{words}: {meaning}" if meaning else words)
        elif not line:
            at += 1
        else:
            try:
                value = convert(line)
                visit = keep(_with(visit, part, name, value))
                at += 1
            except Overtaken:
                raise
            except (InputError, SetupError) as error:
                screen.text(str(error))
    if not visit.described and not visit.events:
        visit = keep(visit.model_copy(update={"described": True}))
    return visit


def _known(visit: Visit, question: Question) -> bool:
    return bool(_value(visit, question))


def _value(visit: Visit, question: Question) -> object:
    part, name, *_ = question
    return getattr(getattr(visit, part) if part else visit, name)


def _with(visit: Visit, part: str, name: str, value: object) -> Visit:
    if not part:
        return visit.model_copy(update={name: value})
    changed = getattr(visit, part).model_copy(update={name: value})
    return visit.model_copy(update={part: changed})
