"""`stillflow rules add`: an entry asked for key by key, checked as it is typed, and written.

The file is written whole beside itself and renamed, so that there is never half of one; comments
and everything else in it stay as they are.
"""

from __future__ import annotations

import io
import json
import os
from collections.abc import Callable, Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any

import click

from stillflow.cli.options import own_rules, rules_option, user_rules
from stillflow.cli.output import say
from stillflow.cli.rule_cards import show_card
from stillflow.cli.screen import Screen
from stillflow.engine.audit import look_up
from stillflow.engine.base import KnowledgeError
from stillflow.engine.ruleset import Knowledge, amended, slips_of

Hints = Callable[[Knowledge], list[str]]

_SOURCE = ("source", "Where is that from (an id)?", lambda k: list(k.sources), "common-practice")

QUESTIONS: Mapping[str, tuple[tuple[str, str, Hints | None, str], ...]] = {
    "fault": (
        ("id", "Its id, small letters and hyphens?", None, ""),
        ("title", "What is wrong, as a sentence?", None, ""),
        ("place", "Where?", None, ""),
        ("mode", "What kind of thing is wrong?", None, ""),
        ("how_common", "How common among calls about poor suction?", None, "occasional"),
        ("effect", "What does it do to the air, such as {kind: hole, at: hose, diameter_in: "
         "[0.2, 0.6]}?", None, ""),
        ("confirm", "When is one sure, looking at it?", None, ""),
        ("fix.minutes", "Minutes to fix it?", None, ""),
        ("fix.steps", "How is it fixed, a list in [ ]?", None, ""),
        ("after", "What comes back once it is fixed?", None, ""),
        _SOURCE,
    ),
    "check": (
        ("id", "Its id, small letters and hyphens?", None, ""),
        ("kind", "choice or reading?", None, "choice"),
        ("ask", "The question?", None, ""),
        ("how", "How is it done, a list in [ ]?", None, ""),
        ("minutes", "Minutes?", None, "0.5"),
        ("mistaken", "Share of answers that are wrong?", None, "0.05"),
        ("answers", "The answers, such as [{id: whole, label: It is whole, usual: 0.95}, ...]?",
         None, ""),
        _SOURCE,
    ),
    "rule": (
        ("id", "Its id, small letters and hyphens?", None, ""),
        ("when", "When, such as {fact: answer.hose-look, is: sound}?",
         lambda k: [f"answer.{one.id}" for one in k.checks.values() if one.answers], ""),
        ("then", "Then, such as [{for: hose-holed, strength: strong}]?",
         lambda k: list(k.faults), ""),
        ("because", "Because, as you would say it to an apprentice?", None, ""),
        _SOURCE,
    ),
    "class": (
        ("id", "Its id, small letters and hyphens?", None, ""),
        ("title", "What kind of unit, in good order?", None, ""),
        ("sealed", "Sealed suction, inH2O?", None, ""),
        ("working", "Working suction through the 5/8 in orifice, inH2O?", None, ""),
        ("tolerance", "How far off either way, as a share?", None, "0.2"),
        ("age_from", "From what age, years?", None, "0"),
        _SOURCE,
    ),
}  # fmt: skip
"""Kind of entry -> its keys, the question for each, ids to offer, and what is mostly answered."""

_SECTION = {"fault": "faults", "check": "checks", "rule": "rules", "class": "classes"}
_OFFERED, _SHOWN = 8, 3
_OF_CHOICES = ("answers", "mistaken")
"""Keys of a check that a reading has none of."""


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
    below = tuple(one for one in rules if Path(one).resolve() != file.parent.resolve())
    # A folder that is begun with this entry is not there yet, or has no file in it.
    knowledge = load_rules(rules if any(file.parent.rglob("*.yaml")) else below)
    section = _SECTION[kind]
    say("Or: ? how shipped entries put it, back.")
    entry: dict[str, Any] = {}
    left = QUESTIONS[kind]
    before = []
    while left:
        if kind == "check" and entry.get("kind") == "reading" and left[0][0] in _OF_CHOICES:
            left = left[1:]
            continue
        as_it_was = deepcopy(entry), left
        if _asked(knowledge, section, entry, *left[0]):
            before.append(as_it_was)
            left = left[1:]
        elif before:
            entry, left = before.pop()
        else:
            say("  this is the first question")
    text = _with_entry(file, section, entry)
    try:
        found = amended(below, file, text)
    except KnowledgeError as error:
        for one in (error, *error.others):
            say(str(one), err=True)
        say("Nothing was written.", err=True)
        return 2
    screen = Screen()
    if kind != "class":
        for card in look_up(found, entry["id"]):
            show_card(screen, card)
    if not click.confirm(f"Write it to {file}?", default=True):
        say("Nothing was written.")
        return 0
    file.parent.mkdir(parents=True, exist_ok=True)
    beside = file.with_name(f".{file.name}.{os.getpid()}")
    try:
        beside.write_text(text, encoding="utf-8")
        beside.replace(file)
    finally:
        beside.unlink(missing_ok=True)
    say(f"Written. 'stillflow rules check --rules {file.parent}' says what it still lacks.")
    return 0


def _asked(
    knowledge: Knowledge,
    section: str,
    entry: dict[str, Any],
    key: str,
    question: str,
    hints: Hints | None,
    usual: str,
) -> bool:
    """Ask for one key until what is answered can stand there; False to go back a question."""
    if hints is not None and (known := hints(knowledge)):
        more = f", and {len(known) - _OFFERED} more" if len(known) > _OFFERED else ""
        say(f"  ids there are: {', '.join(known[:_OFFERED])}{more}")
    while True:
        given = str(click.prompt(question, default=usual or None))
        if given.strip() == "back":
            return False
        if given.strip() == "?":
            say(f"  shipped: {_shipped(knowledge, section, key)}")
            continue
        slips = slips_of(knowledge, section, entry, key, given)
        if not slips:
            return True
        for slip in slips:
            say(f"  {slip}")


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
    return "; or ".join(sorted(found, key=len)[:_SHOWN])


def _with_entry(file: Path, section: str, entry: Mapping[str, Any]) -> str:
    """The text of a file with one entry more, all else as it was."""
    from ruamel.yaml import YAML

    yaml = YAML(typ="rt")
    yaml.preserve_quotes = True
    yaml.width = 100
    yaml.indent(mapping=2, sequence=4, offset=2)
    data = yaml.load(file.read_text(encoding="utf-8")) if file.exists() else None
    begun = data is None
    data = {} if data is None else data
    data.setdefault(section, []).append(dict(entry))
    stream = io.StringIO()
    if begun:
        stream.write("# Rules of our own.\n")
    yaml.dump(data, stream)
    return stream.getvalue()
