"""What is wrong with a rule set: an audit made of small inspections.

Importing their modules registers them. `audit` runs them all over a loaded rule set; what the
loader itself refuses is put into the same form by `refused`.
"""

from __future__ import annotations

import re
from dataclasses import replace

from stillflow.engine.audit import checks, dangers, faults, rules, safety, unused  # noqa: F401
from stillflow.engine.audit.finding import INSPECTIONS, Finding, Severity
from stillflow.engine.audit.subject import Subject
from stillflow.engine.base import KnowledgeError
from stillflow.engine.ruleset import Knowledge


def audit(knowledge: Knowledge) -> tuple[Finding, ...]:
    """Everything found wrong with a rule set, in the order of its files and lines."""
    subject = Subject(knowledge)
    found = [one for inspection in INSPECTIONS for one in inspection.look(subject)]
    return tuple(_at_overlay(one, knowledge) for one in sorted(found, key=_order))


def _at_overlay(finding: Finding, knowledge: Knowledge) -> Finding:
    """A finding in one folder about an entry that a later folder laid over it names that too."""
    laid = {one.id: one.place for one in knowledge.replaced}
    for name in re.findall(r"'([a-z0-9-]+)'", finding.what):
        if name in laid and laid[name].file != finding.place.file:
            place = laid[name]
            return replace(finding, right=f"{finding.right}, or mend {place.file}:{place.line}")
    return finding


def refused(error: KnowledgeError) -> tuple[Finding, ...]:
    """What kept a rule set from loading, in the form of an audit."""
    return tuple(
        Finding(Severity.HIGH, "not-loaded", one.place, one.what, one.right)
        for one in (error, *error.others)
    )


def _order(finding: Finding) -> tuple[str, int, str, str]:
    place = finding.place
    return place.file, place.line or 0, finding.inspection, finding.what
