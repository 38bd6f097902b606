"""Entries gathered from rule files, each well formed, with where they stand and what was wrong.

What the entries say of each other is checked in `references`, once all are there. What a folder
changes and retires of earlier ones is carried out once the folder is read.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import islice
from typing import Any, Literal

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
from stillflow.engine.ruleset.changes import laid_over, said
from stillflow.engine.ruleset.complaints import Circumstance, Combination, Complaint
from stillflow.engine.ruleset.entries import (
    Access,
    Alike,
    CardStep,
    Caution,
    Check,
    Fault,
    Level,
    Phrase,
    Range,
    Rule,
    Source,
    Stand,
    Tool,
    Turn,
    UnitClass,
    Unsure,
)
from stillflow.engine.ruleset.forgetting import forget

SECTIONS: dict[str, type[BaseModel]] = {
    "sources": Source,
    "ranges": Range,
    "cautions": Caution,
    "stands": Stand,
    "accesses": Access,
    "tools": Tool,
    "levels": Level,
    "classes": UnitClass,
    "faults": Fault,
    "alike": Alike,
    "checks": Check,
    "rules": Rule,
    "course": Turn,
    "card": CardStep,
    "phrases": Phrase,
    "unsure": Unsure,
    "complaints": Complaint,
    "circumstances": Circumstance,
    "combinations": Combination,
}

_AFTERWARDS = ("change", "retire")
"""Sections that say something of entries in earlier folders."""

_SHOWN_OF_AN_ENTRY = 20
"""Errors of one entry that are told; who has more reads the rest once these are mended."""


How = Literal["replaced", "changed", "retired", "gone"]


@dataclass(frozen=True)
class Replaced:
    """An entry of an earlier folder that another took the place of, changed or retired.

    Attributes:
        section: such as `faults`.
        id: of both.
        layer: of the folder that did it, counted from 0.
        place: where it was done.
        over: where the other stands.
        how: which of the three; `gone` is what named only what was retired, and went along.
        what: for a change, the keys and values changed, such as `minutes 1.5 -> 4`.
    """

    section: str
    id: str
    layer: int
    place: Place
    over: Place
    how: How = "replaced"
    what: tuple[str, ...] = ()


@lru_cache(maxsize=256)
def _parsed(text: str, name: str) -> Located:
    """A file as plain data, which nobody changes: who writes rules loads most files many times."""
    return read_yaml(text, name, KnowledgeError)


class Gathered:
    """Entries and errors, gathered file by file."""

    def __init__(self) -> None:
        self.errors: list[KnowledgeError] = []
        self.entries: dict[str, dict[str, Any]] = {section: {} for section in SECTIONS}
        self.raw: dict[str, dict[str, Any]] = {section: {} for section in SECTIONS}
        self.where: dict[tuple[str, str], tuple[int, Located, Path]] = {}
        self.files: list[tuple[int, str]] = []
        self.replaced: list[Replaced] = []
        self._layer = 0
        self._retired: dict[tuple[str, str], Any] = {}
        self._later: list[tuple[str, Located, Path, Any]] = []

    def fail(self, what: str, place: Place, right: str = "") -> None:
        """Note one thing wrong."""
        self.errors.append(KnowledgeError(what, place, right))

    def read(self, layer: int, name: str, text: str) -> None:
        """Take in one file; what is wrong with it is noted, not raised."""
        if layer != self._layer:
            self.settle()
            self._layer = layer
        self.files.append((layer, name))
        try:
            located = _parsed(text, name)
        except KnowledgeError as error:
            self.errors.append(error)
            return
        if not isinstance(located.data, dict):
            right = "begin with 'faults:', 'checks:', 'rules:' or 'change:', and entries below it"
            self.fail("this is no rule file", Place(name, 1), right)
            return
        for section, items in located.data.items():
            place = located.place((section,))
            if section in _AFTERWARDS and items is not None:
                several = items if isinstance(items, list) else [items]
                for index, item in enumerate(several):
                    path: Path = (section, index) if several is items else (section,)
                    self._later.append((section, located, path, item))
            elif section not in SECTIONS:
                known = (*SECTIONS, *_AFTERWARDS)
                self.fail(f"'{section}' is not a section", place, nearest(section, known))
            elif not isinstance(items, list):
                self.fail(f"'{section}' must be a list", place, "start each entry with '- id:'")
            else:
                for index, item in enumerate(items):
                    self._entry(layer, located, (section, index), item)

    def settle(self) -> None:
        """Carry out what the last folder says of entries in earlier ones."""
        later, self._later = self._later, []
        for section, located, path, item in later:
            if section == "retire":
                self._retire(located, path, item)
            else:
                self._change(located, path, item)

    def _retire(self, located: Located, path: Path, item: object) -> None:
        if not isinstance(item, str) or re.search("[;,]", item):
            ids = {one for _, one in self.where}
            known = [one for one in re.findall("[a-z0-9-]+", str(item)) if one in ids]
            right = f"write [{', '.join(known or ('slider-look', 'hose-look'))}]"
            self.fail("'retire:' lists ids and nothing else", located.place(path), right)
            return
        key = self._earlier(item, located, path)
        if key is not None:
            self._note(key, located.place(path), "retired")
            self._retired[key] = self.entries[key[0]].pop(key[1])
            self._drop(key)

    def forget(self) -> None:
        """Take what was retired out of the entries that named it."""
        for key in forget(self.entries, self._retired):
            blamed = next(one for one in reversed(self.replaced) if one.how == "retired")
            self.replaced.append(
                replace(blamed, section=key[0], id=key[1], over=self.place(*key), how="gone")
            )
            self._drop(key)

    def _drop(self, key: tuple[str, str]) -> None:
        del self.raw[key[0]][key[1]]
        del self.where[key]

    def _change(self, located: Located, path: Path, item: object) -> None:
        if not (isinstance(item, dict) and isinstance(item.get("id"), str)):
            right = "write such as '- {id: slider-look, minutes: 0.5}', each with its dash"
            self.fail("a change names an entry by its id", located.place(path), right)
            return
        changed = {name: value for name, value in item.items() if name != "id"}
        key = self._earlier(item["id"], located, path, changed)
        if key is None:
            return
        section, entry_id = key
        old = self.raw[section][entry_id]
        # Whatever is wrong with the outcome stands in the change, which is where it is mended.
        lines: dict[Path, int] = {}
        new = laid_over(old, changed, located.lines, path, (section, 0), lines)
        lines[section, 0] = located.place(path).line or 1
        merged = Located(located.file, {section: [new]}, lines)
        entry = self._valid(merged, (section, 0), new)
        if entry is not None:
            self._note(key, located.place(path), "changed", said(old, new))
            self._keep(key, self._layer, merged, (section, 0), entry)

    def _earlier(
        self, name: str, located: Located, path: Path, keys: Iterable[str] = ()
    ) -> tuple[str, str] | None:
        """Section and id of the entry of an earlier folder that a change or `retire` names."""
        section, _, bare = name.rpartition("/")
        place = Place(located.file, located.place(path).line, f"{path[0]} {name}")
        found = [key for key in self.where if key[1] == bare and section in ("", key[0])]
        if len(found) > 1:
            found = [one for one in found if {*keys} <= {*Keys(SECTIONS[one[0]]).at(())}] or found
        if len(found) > 1:
            choices = " or ".join(f"{one}/{bare}" for one, _ in found)
            self.fail(f"more than one entry is called '{bare}'", place, f"write {choices}")
        elif not found:
            titled = [k for k in self.where if self.raw[k[0]][k[1]].get("title") == name]
            right = nearest(bare, (one for _, one in self.where))
            if titled:
                right = f"that is a title; its id is '{titled[0][1]}'"
            right = right or "'stillflow rules list faults' (or checks, rules) lists ids"
            self.fail(f"there is no '{name}' in the rules below", place, right)
        elif self.where[found[0]][0] == self._layer:
            there = self.place(*found[0])
            right = f"say it there: {there.file}:{there.line}"
            self.fail(f"'{name}' is written or changed in this folder already", place, right)
        else:
            return found[0]
        return None

    def _note(
        self, key: tuple[str, str], place: Place, how: How, what: tuple[str, ...] = ()
    ) -> None:
        place = Place(place.file, place.line, key[1])
        self.replaced.append(Replaced(*key, self._layer, place, self.place(*key), how, what))

    def _keep(
        self, key: tuple[str, str], layer: int, located: Located, path: Path, entry: Any
    ) -> None:
        section, entry_id = key
        self.where[key] = (layer, located, path)
        self.entries[section][entry_id] = entry
        self.raw[section][entry_id] = located.data[path[0]][path[1]]

    def _valid(self, located: Located, path: Path, item: dict[str, Any]) -> Any:
        """The entry, or None where what is wrong with it was noted."""
        model = SECTIONS[str(path[0])]
        try:
            return model.model_validate(item)
        except ValidationError as problem:
            name = str(item.get("id") or f"entry {int(path[1]) + 1}")
            explained = explain_validation(problem, located, path, Keys(model))
            for what, place, right in islice(explained, _SHOWN_OF_AN_ENTRY):
                self.fail(what, _named(place, path, name), right)
            return None

    def _entry(self, layer: int, located: Located, path: Path, item: object) -> None:
        section = str(path[0])
        if not isinstance(item, dict):
            self.fail("an entry is a mapping", located.place(path), "start it with '- id:'")
            return
        entry = self._valid(located, path, item)
        if entry is None:
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
            self._note(key, located.place(path), "replaced")
        self._keep(key, layer, located, path, entry)

    def blamed(self) -> Iterator[KnowledgeError]:
        """The errors; one in an entry that was sound before names what was laid over the rules."""
        entries = {(located.file, key[1]): key for key, (_, located, _) in self.where.items()}
        for error in self.errors:
            key = entries.get((error.place.file, error.place.key.partition(" ")[0]))
            over = [one for one in self.replaced if key and one.layer > self.where[key][0]]
            if key and over:
                words = json.dumps(self.raw[key[0]][key[1]], default=str)
                over = [one for one in over if one.id in words] or over
                if over[0].how == "retired":
                    what = f"'{over[0].id}' is retired, and {error.place} names it"
                    right = f"change '{key[1]}' as well, or leave '{over[0].id}' in"
                    yield KnowledgeError(what, over[0].place, right)
                    continue
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
