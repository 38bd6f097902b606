"""What is asked before the first check, and shown and changed at any time after.

Every question may be left out with an empty line; each answer is kept as soon as it is given.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from stillflow.casebook.store import Overtaken
from stillflow.cli.lines import ask
from stillflow.cli.prompt import ask_words
from stillflow.cli.screen import Screen
from stillflow.engine.base import InputError, SetupError
from stillflow.engine.dialogue import (
    DETAILS,
    OF_A_NEW_HOUSE,
    PEOPLE_ASK,
    PEOPLE_MEANING,
    Detail,
    known_words,
    people_said,
    people_words,
    tools_ask,
    tools_said,
    tools_words,
    usual_missing,
)
from stillflow.engine.inference import Visit
from stillflow.engine.ruleset import Knowledge


@dataclass(frozen=True)
class _Tools:
    """The question what is at hand, among those for the details."""

    knowledge: Knowledge
    usual = ""
    meaning = (
        "A check that needs what is missing is not offered. Say it at any prompt when it changes: "
        "no gauge, have helper."
    )

    def of(self, visit: Visit) -> tuple[str, ...]:
        return visit.missing_tools

    @property
    def ask(self) -> str:
        return tools_ask(self.knowledge)

    def taken(self, visit: Visit, line: str) -> Visit:
        missing = tools_said(self.knowledge, line, usual_missing(self.knowledge))
        return visit.model_copy(update={"missing_tools": missing})


class _People:
    """The question whose house a new one is, which street and phone, on one line."""

    usual = ""
    ask = PEOPLE_ASK
    meaning = PEOPLE_MEANING

    def of(self, visit: Visit) -> str:
        return people_words(visit)

    def taken(self, visit: Visit, line: str) -> Visit:
        if line.lower() in ("", "later", "skip"):
            return visit
        site = visit.site.model_copy(update=people_said(line))
        return visit.model_copy(update={"site": site})


_Question = Detail | _Tools | _People


def ask_intake(
    screen: Screen,
    knowledge: Knowledge,
    visit: Visit,
    keep: Callable[[Visit], Visit],
    refused: Iterable[tuple[str, str]] = (),
    named_now: bool = False,
    met: bool = False,
) -> Visit | None:
    """Ask what is not known yet.

    Args:
        screen: where to write.
        knowledge: whose tools.
        visit: what is known.
        keep: called with the visit after each answer; gives the visit as it is kept.
        refused: part and field of values to be asked again, whatever else is known.
        named_now: the house has just been named, so that `back` leads to its name.
        met: the house was asked about at an earlier visit, so that how high it lies is not asked.

    Returns:
        The visit as it is kept; None if the person stopped.

    Raises:
        EOFError: the input has ended.
    """
    questions = _questions(knowledge, visit, set(refused), met)
    if questions:
        screen.head("The call")
        screen.text("Press Enter to leave a question out. Or: ?   back   stop")
    at = 0
    if named_now:
        questions[:0] = (OF_A_NEW_HOUSE[0], _People())
        at = 1
    while at < len(questions):
        question = questions[at]
        screen.text(_asked(question, visit))
        free = _FREE.get(question.name) if isinstance(question, Detail) else None
        line = ask_words(screen, "") if free else ask().strip()
        if line.lower() == "stop":
            return None
        if line.lower() == "back":
            if at == 0:
                screen.text("This is the first question; there is nothing to go back to.")
            at = max(0, at - 1)
        elif line == "?":
            screen.text(question.meaning or question.ask)
        else:
            try:
                changed = _taken(question, visit, line)
                if changed != visit:
                    visit = keep(changed)
                if line and isinstance(question, _Tools):
                    screen.text(f"Not with you: {tools_words(knowledge, visit.missing_tools)}.")
                if line and isinstance(question, _People) and (said := people_words(visit)):
                    screen.text(f"Taken: {said}. If that is wrong: back")
                if line and free:
                    screen.text(f"Taken as {free}. If that is wrong: back")
                at += 1
                if line and question == OF_A_NEW_HOUSE[0] and not _asks_people(questions):
                    questions.insert(at, _People())
            except Overtaken:
                raise
            except (InputError, SetupError) as error:
                screen.text(str(error))
    if not visit.described and not visit.events:
        visit = keep(visit.model_copy(update={"described": True}))
    return visit


_FREE = {"name": "the name of the house", "complaint": "the customer's words"}
"""Questions that any words answer, and what is said of those that were taken."""


def _asks_people(questions: Iterable[_Question]) -> bool:
    return any(isinstance(one, _People) for one in questions)


def show_known(screen: Screen, knowledge: Knowledge, visit: Visit) -> None:
    """All that is known of the call, the house, the unit and the tools, and how to change it."""
    screen.gap()
    screen.text("Known of this call:", style="bold")
    for label, value in known_words(knowledge, visit):
        screen.item(f"{label}:", value)
    screen.text("To change it: unit sealed 125, label says 114 cfm, unit filter bag, no gauge")


def _questions(
    knowledge: Knowledge, visit: Visit, again: set[tuple[str, str]], met: bool
) -> list[_Question]:
    asked: list[_Question] = [one for one in DETAILS if (one.part, one.name) in again]
    if visit.described or visit.events:
        return asked
    for one in DETAILS:
        height = one.name == "altitude_ft"
        if one.at_first and one not in asked and not one.of(visit) and not (met and height):
            asked.append(one)
        # At the door, before the unit is seen.
        if height and knowledge.tools and not visit.missing_tools:
            asked.append(_Tools(knowledge))
    return asked


def _asked(question: _Question, visit: Visit) -> str:
    known = None if isinstance(question, _Tools) else question.of(visit)
    if known:
        return f"{question.ask} (now: {known})"
    return f"{question.ask} (usual: {question.usual})" if question.usual else question.ask


def _taken(question: _Question, visit: Visit, line: str) -> Visit:
    if isinstance(question, _Tools | _People):
        return question.taken(visit, line)
    return question.put(visit, question.read(line)) if line else visit
