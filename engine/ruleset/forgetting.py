"""What names a retired entry is taken out of the others; what then says nothing goes too.

So whoever retires a fault or a check need not rewrite each rule that names it. A fact that can no
longer be known makes no comparison true (see `conditions`), and is left out accordingly.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping
from contextlib import suppress
from typing import Any

from stillflow.engine.base import answer_fact, tried_fact, vocabulary
from stillflow.engine.ruleset.complaints import Combination, Complaint
from stillflow.engine.ruleset.conditions import All, AnyOf, Condition, Leaf, Not, parts
from stillflow.engine.ruleset.entries import (
    Alike,
    Check,
    Consequence,
    Doubt,
    Evidence,
    Fault,
    Phrase,
    Rule,
    Settles,
    Turn,
    Warn,
)
from stillflow.engine.ruleset.selectors import selecting

Key = tuple[str, str]
"""Section and id of an entry."""

Entries = dict[str, dict[str, Any]]


def forget(entries: Entries, retired: Mapping[Key, Any]) -> list[Key]:
    """Take retired entries out of all that name them, until nothing does.

    Args:
        entries: those left, by section and id; what changes is put back, what goes is taken out.
        retired: the entries retired, by section and id.

    Returns:
        What went along because it said nothing any more.
    """
    gone = {key: entry for key, entry in retired.items() if key[1] not in entries[key[0]]}
    count = 0
    while len(gone) != count:
        count = len(gone)
        derived = {
            fact
            for section in ("rules", "checks")
            for entry_id, entry in entries[section].items()
            for fact in _facts((section, entry_id), entry)
        }
        unknown = {fact for key, entry in gone.items() for fact in _facts(key, entry)} - derived
        emptied = _emptied(entries["faults"].values(), gone)
        for section, group in entries.items():
            for entry_id, entry in list(group.items()):
                left = _without(entry, gone.keys(), unknown, emptied)
                if left is None:
                    gone[section, entry_id] = group.pop(entry_id)
                else:
                    group[entry_id] = left
    return sorted(gone.keys() - retired.keys())


def _facts(key: Key, entry: Any) -> Iterator[str]:
    """The facts that this entry makes known."""
    section, entry_id = key
    if section == "checks":
        yield answer_fact(entry_id)
        if entry.part:
            yield vocabulary.part_fact(entry.part)
    elif section == "faults":
        yield tried_fact(entry_id)
    elif section == "rules":
        yield from entry.derives


def _emptied(faults: Iterable[Fault], gone: Mapping[Key, Any]) -> Callable[[str], bool]:
    """Whether a word of some evidence named a fault until these went."""
    left = list(faults)
    now = selecting(left)
    before = selecting([*left, *(one for (kind, _), one in gone.items() if kind == "faults")])

    def emptied(phrase: str) -> bool:
        try:
            now(phrase)
        except ValueError:
            # A slip that named none before either is for others to tell.
            with suppress(ValueError):
                return bool(before(phrase))
        return False

    return emptied


def _without(
    entry: Any, gone: Container[Key], unknown: set[str], emptied: Callable[[str], bool]
) -> Any:
    """The entry with nothing that is gone in it; None where it then says nothing."""

    def kept(section: str, names: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(name for name in names if (section, name) not in gone)

    fields = type(entry).model_fields
    new: dict[str, Any] = {}
    if "cautions" in fields:
        new["cautions"] = kept("cautions", entry.cautions)
    if "access" in fields and ("accesses", entry.access) in gone:
        new["access"] = None
    if "confirm_first" in fields:
        new["confirm_first"] = kept("checks", entry.confirm_first)
    if "fix" in fields:
        new["fix"] = _without(entry.fix, gone, unknown, emptied)
    if fields.get("possible_when") and entry.possible_when:
        new["possible_when"] = _known(entry.possible_when, unknown)
    if isinstance(entry, Check) and entry.asked_when:
        new["asked_when"] = _known(entry.asked_when, unknown)
        if new["asked_when"] is None:
            return None
    if isinstance(entry, Rule | Turn):
        new["when"] = _known(entry.when, unknown)
        if new["when"] is None:
            return None
    if isinstance(entry, Rule):
        new["then"] = tuple(_consequences(entry, gone, emptied))
        if not new["then"]:
            return None
    if isinstance(entry, Alike):
        new["faults"] = kept("faults", entry.faults)
        if len(new["faults"]) < 2:
            return None
    if isinstance(entry, Complaint | Phrase) and ("checks", entry.check) in gone:
        return None
    if isinstance(entry, Combination):
        named = (kept("faults", entry.faults), kept("circumstances", entry.circumstances))
        if named != (entry.faults, entry.circumstances):
            return None
    changed = {name: value for name, value in new.items() if value != getattr(entry, name)}
    return entry.model_copy(update=changed) if changed else entry


def _consequences(
    rule: Rule, gone: Container[Key], emptied: Callable[[str], bool]
) -> Iterator[Consequence]:
    for item in rule.then:
        if isinstance(item, Evidence):
            names = tuple(one for one in item.selector if not emptied(one))
            if names == item.selector and not any(map(emptied, item.except_)):
                yield item
            elif names:
                side = "for_" if item.sign > 0 else "against"
                spared = tuple(one for one in item.except_ if not emptied(one))
                yield item.model_copy(update={side: names, "except_": spared})
        elif isinstance(item, Doubt):
            checks = tuple(one for one in item.doubt if ("checks", one) not in gone)
            if checks:
                yield item.model_copy(update={"doubt": checks})
        elif isinstance(item, Settles):
            if ("checks", item.settles) not in gone:
                yield item
        elif not (isinstance(item, Warn) and ("cautions", item.caution) in gone):
            yield item


def _known(condition: Condition, unknown: set[str], negated: bool = False) -> Condition | None:
    """What is left of a condition when some facts are never known; None where it never holds."""
    if isinstance(condition, Leaf):
        return None if condition.fact in unknown else condition
    if isinstance(condition, Not):
        inner = _known(condition.not_, unknown, not negated)
        return None if inner is None else Not(not_=inner)
    left = [_known(part, unknown, negated) for part in parts(condition)]
    some = [part for part in left if part is not None]
    # Under a `not`, all of them and one of them change places.
    if not some or (isinstance(condition, All) != negated and len(some) < len(left)):
        return None
    return some[0] if len(some) == 1 else type(condition)(**{_KEY[type(condition)]: tuple(some)})


_KEY: Mapping[type, str] = {All: "all", AnyOf: "any"}
