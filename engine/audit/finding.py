"""A finding of the audit, and what every inspection has in common."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar

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


class Inspection(ABC):
    """Looks for one kind of slip.

    Attributes:
        name: a short name, with hyphens.
        finds: what it finds, in one sentence.
        severity: of all that it finds.
    """

    name: ClassVar[str]
    finds: ClassVar[str]
    severity: ClassVar[Severity]

    @abstractmethod
    def look(self, subject: Subject) -> Iterator[Finding]:
        """What it finds in a rule set."""

    def found(
        self, subject: Subject, section: str, entry_id: str, what: str, right: str
    ) -> Finding:
        """A finding about one entry."""
        place = subject.knowledge.places[section, entry_id]
        return Finding(self.severity, self.name, place, what, right)
