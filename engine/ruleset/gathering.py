"""Entries gathered from rule files, each well formed, with where they stand and what was wrong.

What the entries say of each other is checked in `references`, once all are there.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any

from pydantic import BaseModel, ValidationError

from stillflow.engine.base import (
    Keys,
    KnowledgeError,
    Located,
    Path,
    Place,
    explain_validation,
    nearest,
    read_yaml,
)
from stillflow.engine.ruleset.complaints import Circumstance, Combination, Complaint
from stillflow.engine.ruleset.entries import (
    Access,
    Alike,
    Caution,
    Check,
    Fault,
    Level,
    Rule,
    Source,
    Turn,
    UnitClass,
)

SECTIONS: dict[str, type[BaseModel]] = {
    "sources": Source,
    "cautions": Caution,
    "accesses": Access,
    "levels": Level,
    "classes": UnitClass,
    "faults": Fault,
    "alike": Alike,
    "checks": Check,
    "rules": Rule,
    "course": Turn,
    "complaints": Complaint,
    "circumstances": Circumstance,
    "combinations": Combination,
}


_SHOWN_OF_AN_ENTRY = 20
"""Errors of one entry that are told; who has more reads the rest once these are mended."""


@dataclass(frozen=True)
class Replaced:
    """An entry that took the place of one in an earlier folder.

    Attributes:
        section: such as `faults`.
        id: of both.
        layer: of the folder it is from, counted from 0.
        place: where it stands.
        over: where the other stands.
    """

    section: str
    id: str
    layer: int
    place: Place
    over: Place


class Gathered:
    """Entries and errors, gathered file by file."""

    def __init__(self) -> None:
        self.errors: list[KnowledgeError] = []
        self.entries: dict[str, dict[str, Any]] = {section: {} for section in SECTIONS}
        self.raw: dict[str, dict[str, Any]] = {section: {} for section in SECTIONS}
        self.where: dict[tuple[str, str], tuple[int, Located, Path]] = {}
        self.files: list[tuple[int, str]] = []
        self.replaced: list[Replaced] = []

    def fail(self, what: str, place: Place, right: str = "") -> None:
        """Note one thing wrong."""
        self.errors.append(KnowledgeError(what, place, right))

    def read(self, layer: int, name: str, text: str) -> None:
        """Take in one file; what is wrong with it is noted, not raised."""
        self.files.append((layer, name))
        try:
            located = read_yaml(text, name, KnowledgeError)
        except KnowledgeError as error:
            self.errors.append(error)
            return
        if not isinstance(located.data, dict):
            self.fail("a rule file is a mapping of sections", Place(name, 1), nearest("", SECTIONS))
            return
        for section, items in located.data.items():
            place = located.place((section,))
            if section not in SECTIONS:
                self.fail(f"'{section}' is not a section", place, nearest(section, SECTIONS))
            elif not isinstance(items, list):
                self.fail(f"'{section}' must be a list", place, "start each entry with '- id:'")
            else:
                for index, item in enumerate(items):
                    self._entry(layer, located, (section, index), item)

    def _entry(self, layer: int, located: Located, path: Path, item: object) -> None:
        section = str(path[0])
        if not isinstance(item, dict):
            self.fail("an entry is a mapping", located.place(path), "start it with '- id:'")
            return
        model = SECTIONS[section]
        try:
            entry: Any = model.model_validate(item)
        except ValidationError as problem:
            name = str(item.get("id", f"entry {int(path[1]) + 1}"))
            explained = explain_validation(problem, located, path, Keys(model))
            for what, place, right in islice(explained, _SHOWN_OF_AN_ENTRY):
                self.fail(what, _named(place, path, name), right)
            return
        key = (section, entry.id)
        if key in self.where and self.where[key][0] == layer:
            _, other, other_path = self.where[key]
            first = other.place(other_path)
            self.fail(
                f"the id '{entry.id}' is used twice in {section}",
                Place(located.file, located.place(path).line, entry.id),
                f"rename one; the other is at {first.file}:{first.line}",
            )
            return
        if key in self.where:
            over = self.place(*key)
            place = _named(located.place(path), path, entry.id)
            self.replaced.append(Replaced(section, entry.id, layer, place, over))
        self.where[key] = (layer, located, path)
        self.entries[section][entry.id] = entry
        self.raw[section][entry.id] = item

    def blamed(self) -> Iterator[KnowledgeError]:
        """The errors; one in an entry that was sound before names what was laid over the rules."""
        entries = {(located.file, key[1]): key for key, (_, located, _) in self.where.items()}
        for error in self.errors:
            key = entries.get((error.place.file, error.place.key.partition(" ")[0]))
            over = [one for one in self.replaced if key and one.layer > self.where[key][0]]
            if key and over:
                words = json.dumps(self.raw[key[0]][key[1]], default=str)
                over = [one for one in over if one.id in words] or over
                names = ", ".join(str(one.place) for one in over[:_SHOWN_OF_AN_ENTRY])
                right = f"{error.right + '; ' if error.right else ''}laid over it: {names}"
                error = KnowledgeError(error.what, error.place, right)
            yield error

    def place(self, section: str, entry_id: str, *inside: str | int) -> Place:
        """Where an entry, or a value inside it, stands."""
        _, located, path = self.where[section, entry_id]
        return _named(located.place((*path, *inside)), path, entry_id)


def _named(place: Place, path: Path, name: str) -> Place:
    inside = place.key.removeprefix(f"{path[0]}.{path[1]}").lstrip(".")
    return Place(place.file, place.line, f"{name} {inside}".strip())
