"""Inspections of what the other entries lean on: sources, cautions, accesses and findings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from stillflow.engine.audit.finding import Finding, Inspection, Severity
from stillflow.engine.audit.subject import Subject
from stillflow.engine.ruleset import Derivation, Entry, Evidence, Knowledge, Warn, leaves

_PUBLISHED = ("standard", "law", "handbook", "paper")


class UnusedSource(Inspection):
    """Looks for entries and evidence that name each source."""

    name = "unused-source"
    finds = "A source that nothing points at."
    severity = Severity.LOW

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Sources without a claim."""
        knowledge = subject.knowledge
        used = {entry.source for entry in _entries(knowledge)}
        used |= {name for source in knowledge.sources.values() for name in source.rests_on}
        for rule in knowledge.rules.values():
            used |= {i.source for i in rule.then if isinstance(i, Evidence) and i.source}
        for name in sorted(knowledge.sources.keys() - used):
            what = "nothing points at this source"
            yield self.found(subject, "sources", name, what, "drop it, or name it where it is used")


class UnusedCaution(Inspection):
    """Looks for steps, accesses and rules that show each caution."""

    name = "unused-caution"
    finds = "A caution that is never shown."
    severity = Severity.LOW

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Cautions without a step."""
        knowledge = subject.knowledge
        shown = [check.cautions for check in knowledge.checks.values()]
        shown += [access.cautions for access in knowledge.accesses.values()]
        shown += [fault.fix.cautions for fault in knowledge.faults.values()]
        used = {name for cautions in shown for name in cautions}
        for rule in knowledge.rules.values():
            used |= {item.caution for item in rule.then if isinstance(item, Warn)}
        for name in sorted(knowledge.cautions.keys() - used):
            what = "this caution is never shown"
            yield self.found(
                subject, "cautions", name, what, "name it where the danger is, or drop it"
            )


class UnusedAccess(Inspection):
    """Looks for checks and fixes behind each access."""

    name = "unused-access"
    finds = "An access that no check or fix opens."
    severity = Severity.LOW

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Accesses that lead nowhere."""
        knowledge = subject.knowledge
        used = {check.access for check in knowledge.checks.values()}
        used |= {fault.fix.access for fault in knowledge.faults.values()}
        for name in sorted(knowledge.accesses.keys() - used):
            what = "no check or fix opens it"
            yield self.found(subject, "accesses", name, what, "name it where it is opened, or drop")


class UnusedFinding(Inspection):
    """Looks for rules that use each finding."""

    name = "unused-finding"
    finds = "A finding that is derived and never used."
    severity = Severity.LOW

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Findings that come to nothing."""
        rules = subject.knowledge.rules.values()
        used = {leaf.fact for rule in rules for leaf in leaves(rule.when)}
        for rule in rules:
            for item in rule.then:
                if isinstance(item, Derivation) and item.derive not in used:
                    what = f"no rule uses '{item.derive}'"
                    yield self.found(
                        subject, "rules", rule.id, what, "use it in a condition, or do not derive"
                    )


class SourceNotToBeFound(Inspection):
    """Looks for a number, a year or a clause in each published source."""

    name = "source-not-to-be-found"
    finds = "A published source with neither number nor year nor clause, so nobody can look it up."
    severity = Severity.MEDIUM

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Sources that only look like sources."""
        for source in subject.knowledge.sources.values():
            if source.kind in _PUBLISHED and not (source.number or source.year or source.clause):
                what = f"a {source.kind} without number, year or clause cannot be looked up"
                right = "add what you know of it, or use kind: memory"
                yield self.found(subject, "sources", source.id, what, right)


def _entries(knowledge: Knowledge) -> Iterable[Entry]:
    yield from knowledge.levels
    for group in (
        knowledge.cautions,
        knowledge.accesses,
        knowledge.classes,
        knowledge.faults,
        knowledge.alike,
        knowledge.checks,
        knowledge.rules,
        knowledge.complaints,
        knowledge.circumstances,
        knowledge.combinations,
    ):
        yield from group.values()
