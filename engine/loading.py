"""Reads folders of rule files into one checked `Knowledge`.

Folders are read in order and an entry replaces an earlier one with the same section and id, so a
shop's own folder is a difference laid over the shipped one. All errors of a load are gathered;
the first is raised and carries the others.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from graphlib import CycleError, TopologicalSorter
from importlib import resources
from pathlib import Path as FilePath
from typing import Any

from pydantic import BaseModel, ValidationError

from stillflow.engine import vocabulary
from stillflow.engine.complaints import Circumstance, Combination, Complaint
from stillflow.engine.conditions import KEYS as CONDITION_KEYS
from stillflow.engine.conditions import leaves
from stillflow.engine.errors import InputError, KnowledgeError, Place
from stillflow.engine.knowledge import (
    Access,
    Alike,
    Caution,
    Check,
    Derivation,
    Evidence,
    Fault,
    Level,
    Rule,
    Source,
    UnitClass,
    consequence_keys,
)
from stillflow.engine.located import Located, Path, explain_validation, nearest, read_yaml
from stillflow.engine.selectors import selecting
from stillflow.engine.vocabulary import FLAG, WORD, FactKind

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
    "complaints": Complaint,
    "circumstances": Circumstance,
    "combinations": Combination,
}


@dataclass(frozen=True, eq=False)
class Knowledge:
    """A loaded rule set: entries by id, in id order (levels and classes in file order)."""

    sources: Mapping[str, Source]
    cautions: Mapping[str, Caution]
    accesses: Mapping[str, Access]
    levels: tuple[Level, ...]
    classes: Mapping[str, UnitClass]
    faults: Mapping[str, Fault]
    alike: Mapping[str, Alike]
    checks: Mapping[str, Check]
    rules: Mapping[str, Rule]
    complaints: Mapping[str, Complaint]
    circumstances: Mapping[str, Circumstance]
    combinations: Mapping[str, Combination]
    places: Mapping[tuple[str, str], Place]
    digest: str

    @cached_property
    def facts(self) -> dict[str, FactKind]:
        """Every fact a condition may name."""
        return fact_kinds(self.levels, self.checks.values(), self.faults, self.rules.values())

    @cached_property
    def fault_index(self) -> dict[str, int]:
        """Column of each fault in every array over faults."""
        return {fault_id: index for index, fault_id in enumerate(self.faults)}

    @cached_property
    def evidence(self) -> dict[str, tuple[tuple[Evidence, frozenset[str]], ...]]:
        """Per rule, its evidence with the faults each piece names (exceptions taken out)."""
        named = selecting(self.faults.values())
        return {
            rule.id: tuple(
                (item, _chosen(item, named)) for item in rule.then if isinstance(item, Evidence)
            )
            for rule in self.rules.values()
        }

    @cached_property
    def ordered_rules(self) -> tuple[Rule, ...]:
        """Rules so that each finding is derived before it is used (ties by id)."""
        return tuple(self.rules[rule_id] for rule_id in dependency_order(self.rules))

    @cached_property
    def reach(self) -> dict[str, frozenset[str]]:
        """Per fact, the ids of the rules that can newly fire when it becomes known.

        Rules that use a finding count for every fact the finding can come from.
        """
        reach: dict[str, set[str]] = {}
        # Backwards, so that a finding's users are complete before the rules that derive it.
        for rule in reversed(self.ordered_rules):
            touched = {rule.id}
            for item in rule.then:
                if isinstance(item, Derivation):
                    touched |= reach.get(item.derive, set())
            for leaf in leaves(rule.when):
                reach.setdefault(leaf.fact, set()).update(touched)
        return {fact: frozenset(rule_ids) for fact, rule_ids in reach.items()}

    @cached_property
    def grounds(self) -> dict[str, frozenset[str]]:
        """Per rule, every plain fact its firing may hang on, through findings too."""
        made: dict[str, set[str]] = {}
        grounds: dict[str, frozenset[str]] = {}
        for rule in self.ordered_rules:
            used = {leaf.fact for leaf in leaves(rule.when)}
            plain = {fact for fact in used if fact not in made}
            grounds[rule.id] = frozenset(plain.union(*(made.get(fact, set()) for fact in used)))
            for item in rule.then:
                if isinstance(item, Derivation):
                    made.setdefault(item.derive, set()).update(grounds[rule.id])
        return grounds

    def rules_using(self, facts: Iterable[str]) -> list[str]:
        """Ids of the rules that these facts can help to fire, findings first."""
        touched = frozenset().union(*(self.reach.get(fact, frozenset()) for fact in facts))
        return [rule.id for rule in self.ordered_rules if rule.id in touched]


def _chosen(item: Evidence, named: Callable[[str], frozenset[str]]) -> frozenset[str]:
    chosen: frozenset[str] = frozenset().union(*map(named, item.selector))
    return chosen.difference(*map(named, item.except_))


def fact_kinds(
    levels: Iterable[Level], checks: Iterable[Check], faults: Iterable[str], rules: Iterable[Rule]
) -> dict[str, FactKind]:
    """The whole vocabulary: base facts, answers, fixes tried and findings."""
    from stillflow.engine.airflow.estimate import FACT_NAMES

    answers = {
        vocabulary.answer_fact(check.id): FactKind(WORD, check.answer_ids, check.ask)
        for check in checks
        if check.kind == "choice"
    }
    tried = {vocabulary.tried_fact(fault): FactKind(FLAG) for fault in faults}
    findings = {
        item.derive: FactKind(FLAG)
        for rule in rules
        for item in rule.then
        if isinstance(item, Derivation)
    }
    base = vocabulary.base_facts(level.id for level in levels)
    return vocabulary.merge(base, FACT_NAMES, answers, tried, findings)


def dependency_order(rules: Mapping[str, Rule]) -> list[str]:
    """Rule ids so that every finding is derived before it is used (ties by id).

    Raises:
        graphlib.CycleError: rules wait for each other; its second argument is the circle.
    """
    makers: dict[str, set[str]] = {}
    for rule in rules.values():
        for item in rule.then:
            if isinstance(item, Derivation):
                makers.setdefault(item.derive, set()).add(rule.id)
    sorter: TopologicalSorter[str] = TopologicalSorter()
    for rule_id in sorted(rules):
        used = {leaf.fact for leaf in leaves(rules[rule_id].when)}
        sorter.add(rule_id, *sorted(maker for fact in used for maker in makers.get(fact, ())))
    return list(sorter.static_order())


def shipped_folder() -> FilePath:
    """Where the rules that ship with stillflow are."""
    return FilePath(str(resources.files("stillflow.rules").joinpath("sources.yaml"))).parent


def load_rules(folders: Sequence[str | FilePath] = ()) -> Knowledge:
    """Load the shipped rules, then any further folders over them.

    Args:
        folders: extra folders, later ones winning entry by entry.

    Raises:
        KnowledgeError: the first thing wrong, with the rest in `others`.
        InputError: a folder is not there.
    """
    return _load_cached((str(shipped_folder()), *(str(folder) for folder in folders)))


@lru_cache(maxsize=4)
def _load_cached(folders: tuple[str, ...]) -> Knowledge:
    return load_folders(folders)


def load_folders(folders: Sequence[str | FilePath]) -> Knowledge:
    """Load exactly these folders, in order. Errors as `load_rules`."""
    texts: list[tuple[int, str, str]] = []
    for layer, folder in enumerate(map(FilePath, folders)):
        if not folder.is_dir():
            raise InputError("there is no such folder of rules", Place(str(folder)))
        for path in sorted(folder.rglob("*.yaml")):
            name = path.relative_to(folder.parent).as_posix()
            try:
                texts.append((layer, name, path.read_text(encoding="utf-8")))
            except UnicodeDecodeError:
                raise KnowledgeError("not a text file", Place(name), "save it as UTF-8") from None
    return load_texts(texts)


def load_texts(texts: Iterable[tuple[int, str, str]]) -> Knowledge:
    """Load rule files given as (layer, name, text). Errors as `load_rules`.

    An id may stand once in a layer; a higher layer's entry replaces a lower one's.
    """
    loader = Loader()
    for layer, name, text in texts:
        loader.read(layer, name, text)
    return loader.finish()


class Loader:
    """Gathers entries and errors file by file, then checks what refers to what."""

    def __init__(self) -> None:
        self.errors: list[KnowledgeError] = []
        self.entries: dict[str, dict[str, Any]] = {section: {} for section in SECTIONS}
        self.raw: dict[str, dict[str, Any]] = {section: {} for section in SECTIONS}
        self.where: dict[tuple[str, str], tuple[int, Located, Path]] = {}

    def fail(self, what: str, place: Place, right: str = "") -> None:
        """Note one thing wrong."""
        self.errors.append(KnowledgeError(what, place, right))

    def read(self, layer: int, name: str, text: str) -> None:
        """Take in one file; what is wrong with it is noted, not raised."""
        try:
            located = read_yaml(text, name, KnowledgeError, fast=True)
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

    def _entry(self, layer: int, located: Located, path: Path, item: Any) -> None:
        section = str(path[0])
        if not isinstance(item, dict):
            self.fail("an entry is a mapping", located.place(path), "start it with '- id:'")
            return
        model = SECTIONS[section]
        try:
            entry: Any = model.model_validate(item)
        except ValidationError as problem:
            name = str(item.get("id", f"entry {int(path[1]) + 1}"))
            for what, place, right in explain_validation(problem, located, path, _allowed_keys):
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
        self.where[key] = (layer, located, path)
        self.entries[section][entry.id] = entry
        self.raw[section][entry.id] = item

    def place(self, section: str, entry_id: str, *inside: str | int) -> Place:
        """Where an entry, or a value inside it, stands."""
        _, located, path = self.where[section, entry_id]
        return _named(located.place((*path, *inside)), path, entry_id)

    def finish(self) -> Knowledge:
        """The checked rule set, or the first error raised with the others on it."""
        if not self.errors:
            from stillflow.engine.references import References

            groups = self.entries
            facts = fact_kinds(
                groups["levels"].values(),
                groups["checks"].values(),
                groups["faults"],
                groups["rules"].values(),
            )
            References(self, facts).check()
            if not self.errors:
                try:
                    dependency_order(groups["rules"])
                except CycleError as problem:
                    circle: list[str] = problem.args[1]
                    self.fail(
                        f"these rules wait for each other's findings: {' <- '.join(circle)}",
                        self.place("rules", circle[0]),
                        "let one of them use plain facts only",
                    )
        if self.errors:
            first, *others = self.errors
            raise KnowledgeError(first.what, first.place, first.right, tuple(others))
        ordered = {
            name: {key: group[key] for key in sorted(group)} for name, group in self.entries.items()
        }
        text = json.dumps(self.raw, sort_keys=True, ensure_ascii=False, default=str)
        return Knowledge(
            **{name: ordered[name] for name in SECTIONS if name != "levels"},
            levels=tuple(self.entries["levels"].values()),
            places={key: self.place(*key) for key in self.where},
            digest=hashlib.sha256(text.encode()).hexdigest()[:16],
        )


def _named(place: Place, path: Path, name: str) -> Place:
    inside = place.key.removeprefix(f"{path[0]}.{path[1]}").lstrip(".")
    return Place(place.file, place.line, f"{name} {inside}".strip())


def _allowed_keys(path: Path) -> Iterable[str]:
    """The keys a mapping at `path` may have, for 'did you mean'."""
    from stillflow.engine.knowledge import Answer, Fix

    if "when" in path or path[-1] in ("possible_when", "asked_when"):
        return CONDITION_KEYS
    if "then" in path:
        return consequence_keys()
    if "fix" in path:
        return Fix.model_fields
    if "answers" in path:
        return Answer.model_fields
    return SECTIONS[str(path[0])].model_fields
