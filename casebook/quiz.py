"""A quiz from a worked case: at every step, what is known, and "what would you do next, and why?".

The way is the one the rules take today, so the answers and their reasons are those of `why`.
"""

from __future__ import annotations

from stillflow.casebook.cases import Case, PlayedTurn, play
from stillflow.engine.base import Model, capital_first, minutes
from stillflow.engine.dialogue import unit_words
from stillflow.engine.ruleset import Knowledge

QUESTION = "What would you do next, and why?"


class QuizPage(Model):
    """One step of a case.

    Attributes:
        number: from 1.
        known: what was found before it, in order.
        doing: what is done next.
        why: why that and nothing else, a sentence each.
        found: what it showed.
    """

    number: int
    known: tuple[str, ...]
    doing: str
    why: tuple[str, ...]
    found: str


class Quiz(Model):
    """A case as a quiz: what is told at first, its steps, and what there was to learn.

    A case's name tells what was wrong, so before the end only its house is named.
    """

    name: str
    house: str = ""
    complaint: str
    unit: str
    pages: tuple[QuizPage, ...]
    ending: str
    teaches: str


def quiz_of(case: Case, knowledge: Knowledge) -> Quiz:
    """Make a quiz of a worked case.

    Raises:
        InputError: the case names a check, answer or fault that the rules do not have.
    """
    played = play(case, knowledge)
    known: list[str] = []
    pages = []
    for number, turn in enumerate(played.turns, 1):
        found = _found(turn)
        doing = turn.step.check.ask if turn.step.check else ""
        if turn.step.fix is not None:
            doing = f"Fix: {turn.step.fix.title}."
        # That a check is worth its minutes is said of every one; of this one, what speaks for it.
        why = tuple(dict.fromkeys(turn.step.because or (turn.step.why_now,)))
        if turn.step.choice is not None:
            why = (*why, f"From here about {minutes(turn.step.choice.expected)} to a verified fix.")
        pages.append(
            QuizPage(
                number=number,
                known=tuple(known),
                doing=doing,
                why=tuple(one for one in why if one),
                found=found,
            )
        )
        known.append(f"{doing} {found}")
    ending = played.last.ending
    return Quiz(
        name=case.name,
        house=case.visit.site.name,
        complaint=case.visit.complaint,
        unit=unit_words(case.visit.unit) or "nothing is known of it",
        pages=tuple(pages),
        ending=ending.what if ending else "",
        teaches=case.teaches,
    )


def _found(turn: PlayedTurn) -> str:
    if isinstance(turn.answer, bool):
        return "Done." if turn.answer else "Left to others."
    if isinstance(turn.answer, float):
        return f"{turn.answer:.0f} inH2O."
    labels = {one.id: one.label for one in turn.step.check.answers} if turn.step.check else {}
    label = labels.get(turn.answer, turn.answer)
    return f"{capital_first(label)}."
