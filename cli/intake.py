"""The few questions before the first check: which house, which unit, what there is to measure with.

Every one may be left out with an empty line; each is kept as soon as it is given.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from stillflow.cli.prompt import ask
from stillflow.cli.screen import Screen
from stillflow.engine.base import InputError, quantity
from stillflow.engine.inference import Visit

FILTERS = ("bag", "cartridge", "cloth", "none")


def _words(line: str) -> str:
    return line[:200]


def _number(unit: str, name: str, low: float, high: float) -> Callable[[str], float]:
    return lambda line: quantity(line, unit, name, low, high)


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


Question = tuple[str, str, str, Callable[[str], Any]]

QUESTIONS: tuple[Question, ...] = (
    ("site", "name", "Name of the house or job", _words),
    ("", "complaint", "The complaint, in the customer's words", _words),
    ("site", "inlet", "Which inlet is weak (such as: hall)", _words),
    ("unit", "rated_sealed", "Rated sealed suction, inH2O", _number("inH2O", "", 20, 300)),
    ("unit", "rated_airflow", "Rated airflow, cfm", _number("cfm", "", 10, 500)),
    ("unit", "age_years", "Age of the unit, years", _age),
    ("unit", "filter", "Filter: bag, cartridge, cloth or none", _filter),
    ("site", "altitude_ft", "Altitude, ft", _number("foot", "", -1500, 16000)),
)


def ask_intake(screen: Screen, visit: Visit, keep: Callable[[Visit], None]) -> Visit:
    """Ask what is not known yet.

    Args:
        screen: where to write.
        visit: what is known.
        keep: called with the visit after each answer.

    Raises:
        EOFError: the input has ended.
    """
    open_questions = [one for one in QUESTIONS if not _known(visit, one)]
    if open_questions:
        screen.head("The call")
        screen.text("Press Enter to leave a question out.")
    for question in open_questions:
        part, name, words, convert = question
        while True:
            line = ask(words).strip()
            if not line:
                break
            try:
                value = convert(line)
            except InputError as error:
                screen.text(str(error))
                continue
            visit = _with(visit, part, name, value)
            keep(visit)
            break
    visit = visit.model_copy(update={"described": True})
    keep(visit)
    return visit


def _known(visit: Visit, question: Question) -> bool:
    part, name, _, _ = question
    holder = getattr(visit, part) if part else visit
    return bool(getattr(holder, name))


def _with(visit: Visit, part: str, name: str, value: Any) -> Visit:
    if not part:
        return visit.model_copy(update={name: value})
    changed = getattr(visit, part).model_copy(update={name: value})
    return visit.model_copy(update={part: changed})
