"""Inspections of what the other entries lean on: sources, cautions, accesses and findings."""

from __future__ import annotations

from collections.abc import Iterator

from stillflow.engine.audit.finding import Severity, Slips, inspection
from stillflow.engine.audit.subject import Subject
from stillflow.engine.ruleset import Entry, Evidence, Knowledge, Warn, leaves

_PUBLISHED = ("standard", "law", "handbook", "paper")


@inspection(Severity.LOW)
def unused_source(subject: Subject) -> Slips:
    """A source that nothing points at."""
    knowledge = subject.knowledge
    used = {entry.source for _, entry in entries_of(knowledge)}
    used |= {name for source in knowledge.sources.values() for name in source.rests_on}
    for rule in knowledge.rules.values():
        used |= {i.source for i in rule.then if isinstance(i, Evidence) and i.source}
    for name in sorted(knowledge.sources.keys() - used):
        what = "nothing points at this source"
        yield "sources", name, what, "drop it, or name it where it is used"


@inspection(Severity.LOW)
def unused_caution(subject: Subject) -> Slips:
    """A caution that is never shown."""
    knowledge = subject.knowledge
    shown = [check.cautions for check in knowledge.checks.values()]
    shown += [access.cautions for access in knowledge.accesses.values()]
    shown += [fault.fix.cautions for fault in knowledge.faults.values()]
    used = {name for cautions in shown for name in cautions}
    for rule in knowledge.rules.values():
        used |= {item.caution for item in rule.then if isinstance(item, Warn)}
    for name in sorted(knowledge.cautions.keys() - used):
        what = "this caution is never shown"
        yield ("cautions", name, what, "name it where the danger is, or drop it")


@inspection(Severity.LOW)
def unused_access(subject: Subject) -> Slips:
    """An access that no check or fix opens."""
    knowledge = subject.knowledge
    used = {check.access for check in knowledge.checks.values()}
    used |= {fault.fix.access for fault in knowledge.faults.values()}
    used |= {name for access in knowledge.accesses.values() for name in access.also}
    for name in sorted(knowledge.accesses.keys() - used):
        what = "no check or fix opens it"
        yield "accesses", name, what, "name it where it is opened, or drop"


@inspection(Severity.LOW)
def unused_finding(subject: Subject) -> Slips:
    """A finding that is derived and never used."""
    rules = subject.knowledge.rules.values()
    used = {leaf.fact for rule in rules for leaf in leaves(rule.when)}
    for rule in rules:
        for finding in rule.derives:
            if finding not in used:
                what = f"no rule uses '{finding}'"
                yield ("rules", rule.id, what, "use it in a condition, or do not derive")


@inspection(Severity.MEDIUM)
def source_not_to_be_found(subject: Subject) -> Slips:
    """A published source with neither number nor year nor clause, so nobody can look it up."""
    for source in subject.knowledge.sources.values():
        if source.kind in _PUBLISHED and not (source.number or source.year or source.clause):
            what = f"a {source.kind} without number, year or clause cannot be looked up"
            right = "add what you know of it, or use kind: memory"
            yield "sources", source.id, what, right


@inspection(Severity.MEDIUM)
def memory_unsaid(subject: Subject) -> Slips:
    """An entry that rests on memory and does not say so, or says so and does not."""
    knowledge = subject.knowledge
    for section, entry in entries_of(knowledge):
        remembered = knowledge.sources[entry.source].remembered
        if remembered and not entry.from_memory:
            what = f"'{entry.source}' was remembered and not read again, and the entry hides it"
            yield section, entry.id, what, "add 'from_memory: true', or name what was read"
        elif entry.from_memory and not remembered:
            what = f"it says it rests on memory, and '{entry.source}' does not"
            yield section, entry.id, what, "drop 'from_memory:', or name source: from-memory"


def entries_of(knowledge: Knowledge) -> Iterator[tuple[str, Entry]]:
    """Every entry that has a source, with the section it stands in."""
    for level in knowledge.levels:
        yield "levels", level
    for section in _SECTIONS:
        for entry in getattr(knowledge, section).values():
            yield section, entry


_SECTIONS = (
    "cautions",
    "stands",
    "accesses",
    "tools",
    "classes",
    "faults",
    "alike",
    "checks",
    "rules",
    "course",
    "card",
    "complaints",
    "circumstances",
    "combinations",
)
