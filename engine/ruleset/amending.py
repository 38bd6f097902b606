"""An entry that is being written: what is wrong with it so far, and the rules with it in them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from stillflow.engine.base import (
    Keys,
    KnowledgeError,
    Located,
    explain_validation,
    nearest,
    read_yaml,
)
from stillflow.engine.ruleset.gathering import SECTIONS
from stillflow.engine.ruleset.knowledge import Knowledge
from stillflow.engine.ruleset.loading import load_texts, shipped_folder, texts_of

_BLOCK_WORDS = (
    ("write 'key: value' lines, indented below it", "write {key: value, key: value}"),
    (", or one '- ' line for each", ""),
)
"""What is said of a file, and what can be done where there is one line only."""

_BY_KIND = ("answers", "station", "condition")
"""Keys of a check that only one kind of it has, and must have."""


def slips_of(
    knowledge: Knowledge,
    section: str,
    entry: dict[str, Any],
    key: str,
    given: str | list[str],
    standing: Callable[[dict[str, Any]], Knowledge],
    plain: bool = False,
) -> list[str]:
    """Put a value at a key of an entry; say what is wrong with it there, also beside the others.

    Args:
        knowledge: the rules it will stand among.
        section: of the entry, such as `faults`.
        entry: as far as it is written; takes the value if nothing is wrong with it.
        key: such as `title` or `fix.minutes`.
        given: the value, written as YAML, or a list of sentences.
        standing: the rules with an entry in them; raises KnowledgeError where that cannot be.
        plain: whether it is a sentence or a word, and no YAML.

    Returns:
        What is wrong and what would be right, a line each; empty if nothing is.
    """
    if any(ord(letter) < 32 or 127 <= ord(letter) < 160 for letter in "".join(given)):
        return ["a character that cannot be printed is in it; type it again without"]
    value: Any = given
    if isinstance(given, str) and not (plain and given[:1] not in "\"'"):
        try:
            value = _read(given)
        except KnowledgeError as error:
            if not plain and given[:1] in "[{":
                return [f"{error.what}; {error.right}"]
        if plain and not isinstance(value, str):
            value = given
    if key == "id" and value in getattr(knowledge, section):
        return [f"'{value}' is the id of an entry already; choose another"]
    if key == "source" and value not in knowledge.sources:
        return [f"there is no source '{value}'; {nearest(str(value), knowledge.sources)}"]
    if key == "ask" and entry.get("kind") == "choice" and not str(value).endswith("?"):
        return ["a question ends with '?'; type it so"]
    outer, _, inner = key.rpartition(".")
    tried = {**entry}
    holder = tried
    if outer:
        holder = tried[outer] = {**entry.get(outer, {})}
    holder[inner] = value
    whole = _filled(knowledge, section, tried)
    slips = [
        f"{what}; {right}" if right else what
        for what, at, right in _wrong(section, whole, standing)
        if at == key
        or at.startswith(f"{key}.")
        # What only shows between keys counts once all that it names has been typed.
        or (not at and {key, *_named_in(what, whole)} <= {*tried} and key in _named_in(what, whole))
    ]
    for block, line in _BLOCK_WORDS:
        slips = [slip.replace(block, line) for slip in slips]
    if not slips:
        entry.clear()
        entry.update(tried)
    return slips


def _read(text: str) -> Any:
    """A value as YAML has it; `key: value, key: value` needs no braces on a line of its own."""
    if re.match(r"[a-z_]+: ", text):
        text = f"{{{text}}}"
    return read_yaml(f"value: {text}\n", "", KnowledgeError).data["value"]


def _filled(knowledge: Knowledge, section: str, entry: Mapping[str, Any]) -> dict[str, Any]:
    """An entry with what it must have and has not yet, as a shipped one of its kind has it."""
    model = SECTIONS[section]
    shipped = getattr(knowledge, section).values()
    alike = (one for one in shipped if getattr(one, "kind", None) == entry.get("kind"))
    sample = next(alike, next(iter(shipped)))
    dumped = sample.model_dump(mode="json", by_alias=True, exclude_defaults=True, warnings=False)
    must = {name for name, field in model.model_fields.items() if field.is_required()}
    filled = {key: dumped[key] for key in dumped if key in must or key in _BY_KIND} | {**entry}
    if "fix" in entry:
        filled["fix"] = {key: dumped["fix"][key] for key in ("minutes", "steps")} | entry["fix"]
    if "id" not in entry:
        filled["id"] = "not-named-yet"
    return filled


def _wrong(
    section: str, entry: dict[str, Any], standing: Callable[[dict[str, Any]], Knowledge]
) -> Iterator[tuple[str, str, str]]:
    """What is wrong with an entry: what, at which key, what would be right."""
    model = SECTIONS[section]
    try:
        model.model_validate(entry)
    except ValidationError as problem:
        located = Located("", {section: [entry]}, {})
        for what, place, right in explain_validation(problem, located, (section, 0), Keys(model)):
            yield what, place.key.removeprefix(f"{section}.0").removeprefix("."), right
        return
    try:
        standing(entry)
    except KnowledgeError as error:
        for one in (error, *error.others):
            name, _, at = one.place.key.partition(" ")
            if name == entry["id"]:
                yield one.what, at, one.right


def _named_in(what: str, entry: Mapping[str, Any]) -> set[str]:
    return {*re.findall("[a-z_]+", what)} & {*entry}


def amended(below: Sequence[str | Path], file: Path, text: str) -> Knowledge:
    """The rules with a file of one folder as it would be.

    Args:
        below: folders over the shipped rules, the file's own not among them.
        file: which; it need not be there yet.
        text: what it would hold.

    Raises:
        KnowledgeError: they could not be loaded.
    """
    texts = texts_of([shipped_folder(), *below])
    layer = len(below) + 1
    if any(file.parent.rglob("*.yaml")):
        own = [(layer, name, one) for _, name, one in texts_of([file.parent])]
        texts += [one for one in own if one[1] != f"{file.parent.name}/{file.name}"]
    return load_texts([*texts, (layer, f"{file.parent.name}/{file.name}", text)])
