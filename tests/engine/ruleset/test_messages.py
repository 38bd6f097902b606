"""What a rule file is refused for is said to somebody who writes YAML and no program."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from pydantic_core import InitErrorDetails
from pydantic_core._pydantic_core import list_all_errors
from small_rules import SMALL

from stillflow.engine.audit.inspections import audit
from stillflow.engine.base.errors import KnowledgeError
from stillflow.engine.base.located import Keys, read_yaml
from stillflow.engine.base.refusals import explain_validation
from stillflow.engine.ruleset.gathering import SECTIONS
from stillflow.engine.ruleset.loading import load_texts

HERE = Path(__file__).parent
SHOP = (HERE / "shop.yaml").read_text(encoding="utf-8")

JARGON = re.compile(
    r"\bNone\b|(?i:tuple|dict|mapping|instance|input should|valid (string|number|integer|list)|"
    r"pars(e|able)\b|discriminator|pattern|\btag\b|\btoken|scalar|block end|<|float|\bint\b|"
    r"boolean|\bstr\b|attribute|pydantic|type=|after validation|keyword|\bitems?\b|finite|enum)"
)
"""Words of programs and of parsers."""


class Mistake(NamedTuple):
    name: str
    old: str
    new: str
    says: str


def mistakes() -> Iterator[Mistake]:
    text = (HERE / "mistakes.txt").read_text(encoding="utf-8")
    for block in text.split("\n\n")[1:]:
        lines: dict[str, list[str]] = {"*": [], "-": [], "+": [], "=": []}
        for line in block.strip("\n").split("\n"):
            lines[line[0]].append(line[2:].replace("⇥", "\t").replace("␇", "\x07"))
        yield Mistake(*("\n".join(lines[mark]) for mark in "*-+="))


MISTAKES = list(mistakes())


def said(text: str) -> str:
    """The first line about the folder laid over the small rules: refused, or found by the audit."""
    try:
        knowledge = load_texts([(0, "small.yaml", SMALL), (1, "shop.yaml", text)])
    except KnowledgeError as error:
        return str(error)
    found = [one for one in audit(knowledge) if one.inspection != "unused-source"]
    return next((str(one) for one in found if one.place.file == "shop.yaml"), "nothing")


def test_the_folder_in_which_the_mistakes_are_made_has_none() -> None:
    assert said(SHOP) == "nothing"
    assert len(MISTAKES) >= 60
    assert len({one.name for one in MISTAKES}) == len(MISTAKES)


@pytest.mark.parametrize("mistake", MISTAKES, ids=[one.name for one in MISTAKES])
def test_each_mistake_is_told_with_file_line_key_and_remedy(mistake: Mistake) -> None:
    assert mistake.old in SHOP
    old = mistake.old if mistake.new else f"{mistake.old}\n"
    message = said(SHOP.replace(old, mistake.new, 1))
    assert message == mistake.says
    assert re.match(r"shop\.yaml:\d+[:,]", message)
    assert "; " in message, "a remedy"
    assert not JARGON.search(re.sub(r"'[^']*'", "", message))


def test_the_line_named_is_one_of_those_that_were_touched_or_the_entry_above() -> None:
    for mistake in MISTAKES:
        first = SHOP.count("\n", 0, SHOP.index(mistake.old)) + 1
        named = int(re.match(r"shop\.yaml:(\d+)", mistake.says)[1])  # type: ignore[index]
        touched = range(first - 1, first + mistake.new.count("\n") + 2)
        entry = max(
            n
            for n, line in enumerate(SHOP.split("\n"), 1)
            if n <= first and re.match(r"  - id|\S", line)
        )
        assert named in touched or named == entry, mistake.name


PLAIN: list[Any] = [None, True, 0, 7, -3.5, 1e9, "", "x", "5 min", "0,2", [], ["a"], {}, {"a": 1}]


def spots(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    yield path
    steps: Any = value.items() if isinstance(value, dict) else ()
    for step, inner in enumerate(value) if isinstance(value, list) else steps:
        yield from spots(inner, (*path, step))


DATA = read_yaml(SHOP, "shop.yaml", KnowledgeError).data
ENTRIES = [(name, item) for name, group in DATA.items() if name in SECTIONS for item in group]
SPOTS = [(name, item, spot) for name, item in ENTRIES for spot in spots(item) if spot]


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(SPOTS), st.sampled_from(PLAIN))
def test_no_word_of_a_program_comes_through_whatever_stands_where(
    spot: tuple[str, Any, tuple[str | int, ...]], value: Any
) -> None:
    section, item, path = spot
    entry = copy.deepcopy(item)
    inner = entry
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    located = read_yaml("x: 1\n", "x.yaml", KnowledgeError)
    located = type(located)("x.yaml", {section: [entry]}, {(): 1})
    try:
        SECTIONS[section].model_validate(entry)
    except ValidationError as problem:
        told = list(explain_validation(problem, located, (section, 0), Keys(SECTIONS[section])))
        assert told
        for what, place, right in told:
            assert what
            assert right
            assert not JARGON.search(re.sub(r"'[^']*'", "", f"{place.key} {what}; {right}"))


OURS = ("value_error", "assertion_error")
"""Their words are those of our own models."""


@pytest.mark.parametrize(
    "error",
    [one for one in list_all_errors() if one["type"] not in OURS],
    ids=lambda one: str(one["type"]),
)
def test_no_kind_of_refusal_that_there_is_comes_through_in_its_own_words(error: Any) -> None:
    context = error["example_context"] or {}
    details: InitErrorDetails = {
        "type": error["type"],
        "loc": ("because",),
        "input": "x",
        "ctx": context,
    }
    problem = ValidationError.from_exception_data("any", [details])
    located = read_yaml("rules: [{because: x}]\n", "x.yaml", KnowledgeError)
    told = list(explain_validation(problem, located, ("rules", 0), Keys(SECTIONS["rules"])))
    for what, _, right in told:
        assert not JARGON.search(re.sub(r"'[^']*'", "", f"{what}; {right}"))
        assert right
