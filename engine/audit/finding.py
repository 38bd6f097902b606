"""A finding of the audit, and what makes a function an inspection."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum

from stillflow.engine.audit.subject import Subject
from stillflow.engine.base import Place


class Severity(StrEnum):
    """How bad a finding is, by what comes of it."""

    LOW = "low"
    """The rules are harder to read."""

    MEDIUM = "medium"
    """Somebody may be misled."""

    HIGH = "high"
    """It will misbehave, or somebody may be hurt."""


@dataclass(frozen=True)
class Finding:
    """One thing wrong with a rule set.

    Attributes:
        severity: how bad.
        inspection: name of the inspection that found it.
        place: file, line and id.
        what: what is wrong.
        right: what would be right.
    """

    severity: Severity
    inspection: str
    place: Place
    what: str
    right: str

    def __str__(self) -> str:
        words = f"{self.what}; {self.right}" if self.right else self.what
        return f"{self.place}: {words} [{self.severity}, {self.inspection}]"


Slip = tuple[str, str, str, str]
"""Section and id of the entry that is wrong, what is wrong, and what would be right."""

Slips = Iterator[Slip]

Looks = Callable[[Subject], Slips]


@dataclass(frozen=True)
class Inspection:
    """Looks for one kind of slip.

    Attributes:
        name: a short name, with hyphens.
        finds: what it finds, in one sentence.
        severity: of all that it finds.
        slips: what it finds in a rule set.
    """

    name: str
    finds: str
    severity: Severity
    slips: Looks

    def look(self, subject: Subject) -> Iterator[Finding]:
        """What it finds in a rule set, and where that stands."""
        for section, entry_id, what, right in self.slips(subject):
            place = subject.place(section, entry_id)
            yield Finding(self.severity, self.name, place, what, right)


INSPECTIONS: list[Inspection] = []
"""Every inspection, once the modules that hold them are imported."""


def inspection(severity: Severity) -> Callable[[Looks], Looks]:
    """Make a function an inspection: its name the name, its docstring what it finds."""

    def register(slips: Looks) -> Looks:
        name = slips.__name__.replace("_", "-")
        INSPECTIONS.append(Inspection(name, slips.__doc__ or "", severity, slips))
        return slips

    return register
