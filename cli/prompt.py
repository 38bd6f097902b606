"""What a person types at the prompt of a visit, understood.

Turns a line into a command or an answer; acting on it is `visit`'s business.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime

from stillflow.cli.lines import ask
from stillflow.cli.screen import Screen
from stillflow.engine import Session
from stillflow.engine.base import InputError, Station, nearest, small_first
from stillflow.engine.dialogue import AnswerOption, CheckStep, FixStep, NextStep
from stillflow.engine.inference import CANT_DO, CANT_TELL, SKIPPED, Event
from stillflow.engine.ruleset import BOTH, NONE_HERE, Knowledge

HINT = "Or ? why, back, skip, can't tell, can't do here, where, note, unit, danger, stop"

_COMMANDS = {
    "?": "how",
    "how": "how",
    "help": "how",
    "h": "how",
    "why": "why",
    "back": "back",
    "undo": "back",
    "unit": "unit",
    "where": "where",
    "notes": "notes",
    "note": "notes",
    "danger": "danger",
    "stop": "stop",
    "quit": "stop",
    "exit": "stop",
}

_WITHOUT = {
    "skip": SKIPPED,
    "skipped": SKIPPED,
    "there is none": NONE_HERE,
    "can't tell": CANT_TELL,
    "cant tell": CANT_TELL,
    "can not tell": CANT_TELL,
    "don't know": CANT_TELL,
    "dont know": CANT_TELL,
    "can't do here": CANT_DO,
    "cant do here": CANT_DO,
    "can't do": CANT_DO,
    "cant do": CANT_DO,
    "can't": CANT_DO,
    "cant": CANT_DO,
}


@dataclass(frozen=True)
class Typed:
    """A command (`how`, `why`, `back`, `stop`) or an answer; exactly one is set.

    `inlet` is the name given with an answer, as in `92 at landing`.
    """

    command: str | None = None
    answer: str | None = None
    inlet: str | None = None


WHICH_INLET = "Which inlet? Its name, such as landing"

FIX_ANSWERS = {"yes": "yes", "no": "no (leave it)", "not there": "not there"}
"""What may be said of a fix, and how it is offered."""


def two_of(check: CheckStep) -> str:
    """The numbers of two answers that can both be true, as an example."""
    together = [str(number) for number, one in enumerate(check.answers, 1) if not one.alone]
    return " and ".join(together[:2])


def fix_question(fix: FixStep) -> str:
    """What is asked of a fix."""
    return "Was it done?" if fix.refer else "Done?"


def event_for(step: NextStep, answer: str, at: datetime | None, inlet: str | None = None) -> Event:
    """What goes on record for an answer to a step.

    Args:
        step: a check or a fix.
        answer: to a check its answer; to a fix one of `FIX_ANSWERS`.
        at: when, UTC.
        inlet: name of the one it is about, if that was said.
    """
    if step.check is not None:
        return Event(check=step.check.id, answer=answer, at=at, inlet=inlet)
    assert step.fix is not None
    return fix_event(step.fix.fault, answer, at).model_copy(update={"inlet": inlet})


def fix_event(fault: str, answer: str, at: datetime | None) -> Event:
    """What goes on record for one of `FIX_ANSWERS`."""
    found = False if answer == "not there" else None
    return Event(fix=fault, done=answer == "yes", found=found, at=at)


_READING_AT = re.compile(r"(sealed|working)\s+(\S.*?)\s+at\s+(\S.*)", re.IGNORECASE)


def reading_said(session: Session, line: str, at: datetime | None) -> Event | None:
    """A reading that nobody asked for, as in `sealed 92 at study`; None for no such."""
    found = _READING_AT.fullmatch(line.strip())
    if found is None:
        return None
    state, answer, name = found.groups()
    inlets = session.progress.inlets
    here = inlets.here and inlets.known_as(name) == inlets.here
    place = _station(name)
    station = place or (Station.INLET if here else Station.OTHER)
    for check in session.knowledge.checks.values():
        if (check.station, check.condition) == (station, state.lower()):
            return Event(check=check.id, answer=answer, at=at, inlet=None if place else name)
    return None


_FIX_SAID = re.compile(r"(done|fixed|not there)\b\s*[:,]?\s+(\S.*)", re.IGNORECASE)


def fix_said(session: Session, line: str, at: datetime | None) -> Event | None:
    """A fix that nobody proposed, as in `done: hose clogged`; None for no such.

    Raises:
        InputError: no fault goes by these words, several do, or one that they say a part of.
    """
    found = _FIX_SAID.fullmatch(line.strip())
    if found is None:
        return None
    fitting = faults_named(session.knowledge, found[2])
    if len(fitting) > 1:
        few = ", ".join(fitting[:4]) + (" ..." if len(fitting) > 4 else "")
        right = f"name one, such as {found[1].lower()}: {fitting[0]}"
        raise InputError(f"{len(fitting)} faults go by '{found[2][:40]}': {few}", right=right)
    name, said = fitting[0], _words(found[2])
    if not all(any(word.startswith(one) for one in said) for word in name.split("-")):
        # A word or two may fit a fault that nobody thought of.
        title = small_first(session.knowledge.faults[name].title)
        right = f"if so, {found[1].lower()}: {name}"
        raise InputError(f"'{found[2][:40]}' may be: {title}", right=right)
    answer = "not there" if found[1].lower() == "not there" else "yes"
    return fix_event(name, answer, at)


def faults_named(knowledge: Knowledge, words: str) -> list[str]:
    """Ids of the faults that go by these words, at least one.

    Raises:
        InputError: none does.
    """
    said, faults = _plain(words), knowledge.faults
    named = {
        one.id: {*one.id.split("-"), *_words(f"{one.title} {one.fix.done}")}
        for one in faults.values()
    }
    parts = [word for word in _words(said) if word not in _SMALL] or [said]
    fitting = [said] if said in faults else []
    fitting = fitting or [
        name
        for name, words in named.items()
        if all(any(word.startswith(part) for word in words) for part in parts)
    ]
    if not fitting:
        raise InputError(f"no fault goes by '{words[:40]}'", right=nearest(said, faults))
    return fitting


_SMALL = frozenset(["a", "an", "and", "at", "in", "is", "of", "on", "or", "the", "to", "with"])


def _words(text: str) -> list[str]:
    return re.findall(r"[a-z0-9']+", text.casefold())


def _station(name: str) -> Station | None:
    """The place along the air path that goes by these words, which are no inlet's name."""
    plain = _plain(name).removeprefix("the ")
    alike = {one.words.removeprefix("the "): one for one in Station}
    return (alike | {one.value: one for one in Station}).get(plain)


def understand(line: str, step: CheckStep) -> Typed:
    """A line typed at a check.

    Raises:
        InputError: it is none of the answers; readings are left to the session to judge.
    """
    text = _plain(line)
    if text in _COMMANDS:
        return Typed(command=_COMMANDS[text])
    if text in _WITHOUT and (_WITHOUT[text] != NONE_HERE or step.part):
        return Typed(answer=_WITHOUT[text])
    if not text:
        raise InputError("nothing typed", right="type an answer, or one of the words below")
    said, named, inlet = line.strip().partition(" at ")
    name = inlet.strip() if named else None
    if step.kind == "reading":
        place = _station(name or "")
        if place is not None and place is not step.station:
            right = f"{step.condition} {said.strip()} at {place.words}, if it was read there"
            raise InputError(f"this asks for {step.station and step.station.words}", right=right)
        return Typed(answer=said.strip(), inlet=None if place else name)
    pair = _PAIR.fullmatch(text) if step.several else None
    if pair:
        both = sorted({_choice(number, step.answers) for number in pair.groups()})
        return Typed(answer=BOTH.join(both))
    with suppress(InputError):
        return Typed(answer=_choice(text, step.answers))
    return Typed(answer=_choice(_plain(said), step.answers), inlet=name)


def answer_words(step: CheckStep, answer: str) -> str:
    """An answer to a check, or two that are both true, as the question calls it."""
    labels = {one.id: one.label for one in step.answers}
    return " / ".join(labels.get(one, one) for one in answer.split(BOTH))


_PAIR = re.compile(r"(\d{1,2}) ?(?:and|,|\+|&| ) ?(\d{1,2})")
"""Two answers that are both true."""


def understand_fix(line: str) -> Typed:
    """A line typed at a fix: yes, no (as what cannot be done here), not there, or a command.

    Raises:
        InputError: neither.
    """
    text = _plain(line)
    if text in _COMMANDS:
        return Typed(command=_COMMANDS[text])
    if text in ("yes", "y", "done"):
        return Typed(answer="yes")
    if text in ("no", "n") or _WITHOUT.get(text) in (SKIPPED, CANT_DO):
        return Typed(answer="no")
    if text in ("not there", "nothing there", "absent"):
        return Typed(answer="not there")
    right = "yes, no, can't do here, not there, why, back or stop"
    raise InputError(f"'{line.strip()[:40]}' is not an answer", right=right)


_READ = re.compile(r"(?:sealed|working)\s+[\d.,]+\b.*", re.IGNORECASE)


def ask_words(screen: Screen, question: str) -> str:
    """A line of free words; what is a command or a reading counts as them only if it comes twice.

    Raises:
        EOFError: the input has ended.
    """
    before = ""
    while True:
        line = ask(question).strip()
        text = _plain(line)
        command = text in _COMMANDS or text in _WITHOUT or text == "not so"
        own = text in ("", "?", "back", "stop")
        if own or line == before or not (command or _READ.fullmatch(line)):
            return line
        screen.text(
            f"'{line[:40]}' is understood from the first check on, and not here. Answer the "
            "question, or type it once more if that is the answer."
        )
        before = line


def ask_inlet(names: Sequence[str]) -> str | None:
    """Which inlet is meant: a name, or the number of a known one; None if it has no name.

    Args:
        names: those that may be meant, the likeliest first.

    Raises:
        EOFError: the input has ended.
    """
    known = "".join(f"   {number} {name}" for number, name in enumerate(names, 1))
    line = ask(f"{WHICH_INLET}; Enter if it has none.{known}").strip()
    if line.isascii() and line.isdigit() and 1 <= int(line) <= len(names):
        return names[int(line) - 1]
    return line[:200] or None


def _plain(line: str) -> str:
    return " ".join(line.strip().lower().replace("’", "'").split())


def _choice(text: str, options: Sequence[AnswerOption]) -> str:
    if text.isascii() and text.isdigit() and len(text) < 4 and 1 <= int(text) <= len(options):
        return options[int(text) - 1].id
    exact = [one.id for one in options if text in (one.id, one.label.lower().rstrip("."))]
    if exact:
        return exact[0]
    starts = [
        one.id for one in options if one.id.startswith(text) or one.label.lower().startswith(text)
    ]
    if len(starts) == 1:
        return starts[0]
    numbers = ", ".join(str(number) for number in range(1, len(options) + 1))
    raise InputError(f"'{text[:40]}' is not one of the answers", right=f"type {numbers}, or ?")
