"""An entry that is being written: what is wrong with it so far, and the rules with it in them."""

from __future__ import annotations

from collections.abc import Sequence
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


def slips_of(
    knowledge: Knowledge, section: str, entry: dict[str, Any], key: str, text: str
) -> list[str]:
    """Put a value, written as YAML, at a key of an entry; say what is wrong with it there.

    Args:
        knowledge: the rules it will stand among.
        section: of the entry, such as `faults`.
        entry: as far as it is written; takes the value if nothing is wrong with it.
        key: such as `title` or `fix.minutes`.
        text: the value.

    Returns:
        What is wrong and what would be right, a line each; empty if nothing is.
    """
    try:
        value = read_yaml(f"value: {text}\n", "", KnowledgeError).data["value"]
    except KnowledgeError as error:
        value = text
        if text[:1] in "[{":
            return [f"{error.what}; {error.right}"]
    if key == "id" and value in getattr(knowledge, section):
        return [f"'{value}' is the id of an entry already; choose another"]
    if key == "source" and value not in knowledge.sources:
        return [f"there is no source '{value}'; {nearest(str(value), knowledge.sources)}"]
    outer, _, inner = key.rpartition(".")
    tried = {**entry}
    holder = tried
    if outer:
        holder = tried[outer] = {**entry.get(outer, {})}
    holder[inner] = value
    model = SECTIONS[section]
    try:
        model.model_validate(tried)
    except ValidationError as problem:
        located = Located("", {section: [tried]}, {})
        explained = explain_validation(problem, located, (section, 0), Keys(model))
        here = f"{section}.0.{key}"
        slips = [
            f"{what}; {right}"
            for what, place, right in explained
            if place.key == here or place.key.startswith(f"{here}.")
        ]
        if slips:
            return slips
    entry.clear()
    entry.update(tried)
    return []


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
