"""`stillflow rules add`: an entry asked for key by key, checked as it is typed, and written.

The file is written whole beside itself and renamed, so that there is never half of one; comments
and everything else in it stay as they are.
"""

from __future__ import annotations

import io
import json
import os
from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from pathlib import Path
from typing import Any, NamedTuple

import click

from stillflow.cli.options import own_rules, rules_option, user_rules
from stillflow.cli.output import say
from stillflow.cli.rule_cards import show_card
from stillflow.cli.screen import Screen
from stillflow.engine.audit import look_up
from stillflow.engine.base import InputError, KnowledgeError
from stillflow.engine.ruleset import Knowledge, amended, effects_there_are, slips_of

Hints = Callable[[Knowledge], list[str]]


class Question(NamedTuple):
    """One key of an entry and how it is asked for.

    Attributes:
        key: such as `fix.minutes`.
        words: the question.
        form: `words` or `value` (a number, or YAML) on one line, or `lines`, a sentence each.
        usual: what is mostly answered.
        such: what may be typed, where that is YAML.
        hints: ids to offer, and what may be said of each after a colon.
        listing: what lists those ids with their titles.
    """

    key: str
    words: str
    form: str = "words"
    usual: str = ""
    such: str = ""
    hints: Hints | None = None
    listing: str = ""


_ID = Question("id", "Its id, small letters and hyphens?")
_SOURCE = Question(
    "source",
    "Where is that from (an id)?",
    usual="common-practice",
    hints=lambda k: [f"{one.id}: {one.title}" for one in k.sources.values()],
    listing="sources",
)

QUESTIONS: Mapping[str, tuple[Question, ...]] = {
    "fault": (
        _ID,
        Question("title", "What is wrong, as a sentence?"),
        Question("place", "Where?"),
        Question("mode", "What kind of thing is wrong?"),
        Question("how_common", "How common among calls about poor suction?", usual="occasional"),
        Question("effect", "What does it do to the air?", "value",
                 such="kind: hole, at: hose, diameter_in: [0.2, 0.6]"),
        Question("confirm", "When is one sure, looking at it?"),
        Question("fix.minutes", "Minutes to fix it?", "value"),
        Question("fix.steps", "How is it fixed?", "lines"),
        Question("after", "What comes back once it is fixed?"),
        _SOURCE,
    ),
    "check": (
        _ID,
        Question("kind", "choice or reading?", usual="choice"),
        Question("ask", "The question?"),
        Question("how", "How is it done?", "lines"),
        Question("minutes", "Minutes?", "value", "0.5"),
        Question("station", "Read where?"),
        Question("condition", "sealed or working?"),
        Question("mistaken", "Share of answers that are wrong?", "value", "0.05"),
        Question("answers", "The answers, with how often each is seen when all is well there?",
                 "value", such="[{id: whole, label: It is whole, usual: 0.95}, {id: split, label: "
                 "It is split, usual: 0.05}]"),
        _SOURCE,
    ),
    "rule": (
        _ID,
        Question("when", "When?", "value", such="fact: answer.hose-look, is: sound",
                 hints=lambda k: [f"answer.{one.id}: {', '.join(one.answer_ids)}"
                                  for one in k.checks.values() if one.answers], listing="checks"),
        Question("then", "Then?", "value", such="[{for: hose-holed, strength: strong}]",
                 hints=lambda k: [f"{one.id}: {one.title}" for one in k.faults.values()],
                 listing="faults"),
        Question("because", "Because, as you would say it to an apprentice?"),
        _SOURCE,
    ),
    "class": (
        _ID,
        Question("title", "What kind of unit, in good order?"),
        Question("sealed", "Sealed suction, inH2O?", "value"),
        Question("working", "Working suction through the 5/8 in orifice, inH2O?", "value"),
        Question("tolerance", "How far off either way, as a share?", "value", "0.2"),
        Question("age_from", "From what age, years?", "value", "0"),
        _SOURCE,
    ),
}  # fmt: skip
"""Kind of entry -> what is asked for it, in order."""

_SECTION = {"fault": "faults", "check": "checks", "rule": "rules", "class": "classes"}
_OFFERED, _SHOWN, _WORDS_SHOWN = 8, 3, 24
_NOT_OF = {"reading": ("answers", "mistaken"), "choice": ("station", "condition")}
"""Keys that a kind of check has none of."""


@click.command("add")
@click.argument("kind", type=click.Choice(list(QUESTIONS)))
@click.option("--to", type=click.Path(), metavar="FILE", help="the file  [default: own.yaml of "
              "the last folder of your own rules]")  # fmt: skip
@rules_option
def add(kind: str, to: str | None, rules: tuple[str, ...]) -> int:
    """Ask for a new fault, check, rule or class, and write it into a file of your own.

    Each answer is checked as it is given; what cannot stand is asked again. The entry is shown as a
    technician reads it before anything is written.
    """
    from stillflow.engine import load_rules

    folder = Path(next(iter((rules or own_rules())[-1:]), user_rules()))
    file = Path(to) if to else folder / "own.yaml"
    if file.suffix != ".yaml":
        raise InputError(f"{file} would not be read as rules", right="name a file such as own.yaml")
    below = tuple(one for one in rules if Path(one).resolve() != file.parent.resolve())
    # A folder that is begun with this entry is not there yet, or has no file in it.
    knowledge = load_rules(rules if any(file.parent.rglob("*.yaml")) else below)
    if file.exists():  # What is wrong in it is said before anything is typed.
        amended(below, file, file.read_text(encoding="utf-8"))
    section = _SECTION[kind]

    def standing(entry: Mapping[str, Any]) -> Knowledge:
        return amended(below, file, _with_entry(file, section, entry))

    say("Or: ? how shipped entries put it, back.")
    entry: dict[str, Any] = {}
    try:
        _ask_all(knowledge, kind, entry, standing)
        found = standing(entry)
        screen = Screen()
        if kind != "class":
            for card in look_up(found, entry["id"]):
                show_card(screen, card)
        if not click.confirm(f"Write it to {file}?", default=True):
            say("Nothing was written.")
            return 0
        _write(file, _with_entry(file, section, entry))
    except (click.Abort, OSError, KnowledgeError):
        say("\nNothing was written.", err=True)
        if entry:
            say("What was typed, to paste into a file of rules:", err=True)
            say(_dumped({section: [entry]}), err=True, end="")
        raise
    say(f"Written. 'stillflow rules check --rules {file.parent}' says what it still lacks.")
    return 0


def _write(file: Path, text: str) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    beside = file.with_name(f".{file.name}.{os.getpid()}")
    try:
        beside.write_text(text, encoding="utf-8")
        beside.replace(file)
    finally:
        beside.unlink(missing_ok=True)


def _ask_all(
    knowledge: Knowledge,
    kind: str,
    entry: dict[str, Any],
    standing: Callable[[dict[str, Any]], Knowledge],
) -> None:
    """Fill an entry, question by question, there and back."""
    left = QUESTIONS[kind]
    before = []
    while left:
        if left[0].key in _NOT_OF.get(entry.get("kind", ""), ()):
            left = left[1:]
            continue
        as_it_was = deepcopy(entry), left
        if _asked(knowledge, _SECTION[kind], entry, left[0], standing):
            before.append(as_it_was)
            left = left[1:]
        elif before:
            earlier, left = before.pop()
            entry.clear()
            entry.update(earlier)
        else:
            say("  this is the first question")


def _asked(
    knowledge: Knowledge,
    section: str,
    entry: dict[str, Any],
    question: Question,
    standing: Callable[[dict[str, Any]], Knowledge],
) -> bool:
    """Ask for one key until what is answered can stand there; False to go back a question."""
    hints = question.hints(knowledge) if question.hints else []
    if hints:
        more = f", and {len(hints) - _OFFERED} more (?)" if len(hints) > _OFFERED else ""
        ids = (one.partition(":")[0] for one in hints[:_OFFERED])
        say(f"  ids there are: {', '.join(ids)}{more}")
    if question.such:
        say(f"  such as: {question.such}")
    while True:
        given = _lines(question) if question.form == "lines" else _line(question)
        if given == "back":
            return False
        if given == "?":
            _show_shipped(knowledge, section, question, hints)
            continue
        if not given:
            say("  this is needed; ? shows how shipped entries put it, back goes a question back")
            continue
        plain = question.form == "words"
        slips = slips_of(knowledge, section, entry, question.key, given, standing, plain)
        if not slips:
            return True
        for slip in slips:
            say(f"  {slip}")
        if question.such:
            say(f"  type such as: {question.such}")


def _line(question: Question) -> str:
    usual = question.usual
    return str(click.prompt(question.words, default=usual, show_default=bool(usual))).strip()


def _lines(question: Question) -> str | list[str]:
    """Sentences, one a line, until an empty one; or the word that was typed in place of one."""
    say(f"{question.words} One sentence a line; an empty line ends.")
    given: list[str] = []
    while line := _line(Question("", f"  {len(given) + 1}")):
        if line in ("back", "?"):
            return line
        given.append(line)
    return given


def _show_shipped(
    knowledge: Knowledge, section: str, question: Question, hints: Sequence[str]
) -> None:
    """How shipped entries put it: every id, every kind of effect, or a few of the values."""
    screen = Screen()
    if question.key == "effect":
        with screen.sheet():
            for typed, words in effects_there_are(knowledge):
                screen.item("-", typed, 2)
                screen.text(words, 6)
    elif hints:
        with screen.sheet():
            screen.items(hints)
            screen.text(f"'stillflow rules list {question.listing}' lists them with their titles.")
    else:
        say(f"  shipped: {_shipped(knowledge, section, question.key)}")


def _shipped(knowledge: Knowledge, section: str, key: str) -> str:
    """What a few entries have at a key, as it would be typed."""
    found: list[str] = []
    for one in getattr(knowledge, section).values():
        value: Any = one.model_dump(mode="json", exclude_defaults=True, warnings=False)
        for part in key.split("."):
            value = value.get(part)
        words = value if isinstance(value, str) else json.dumps(value)
        if value is not None and words not in found:
            found.append(words)
    # Of words to choose from all are of use, of sentences a few.
    few = _SHOWN if any(" " in one for one in found) else _WORDS_SHOWN
    return "; or ".join(sorted(found, key=len)[:few])


def _with_entry(file: Path, section: str, entry: Mapping[str, Any]) -> str:
    """The text of a file with one entry more, all else as it was."""
    yaml = _yaml()
    data = yaml.load(file.read_text(encoding="utf-8")) if file.exists() else None
    begun = data is None
    data = {} if data is None else data
    data.setdefault(section, []).append(dict(entry))
    return ("# Rules of our own.\n" if begun else "") + _dumped(data)


def _yaml() -> Any:
    from ruamel.yaml import YAML

    yaml = YAML(typ="rt")
    yaml.preserve_quotes = True
    yaml.width = 100
    yaml.indent(mapping=2, sequence=4, offset=2)
    return yaml


def _dumped(data: Any) -> str:
    stream = io.StringIO()
    _yaml().dump(data, stream)
    return stream.getvalue()
