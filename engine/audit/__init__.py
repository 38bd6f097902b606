"""What is wrong with a rule set, who uses what, and an entry as a technician reads it."""

from stillflow.engine.audit.cards import (
    Card,
    CheckCard,
    EvidenceCard,
    FaultCard,
    RuleCard,
    SourceCard,
    Voice,
)
from stillflow.engine.audit.coverage import cover, page
from stillflow.engine.audit.finding import INSPECTIONS, Finding, Severity
from stillflow.engine.audit.grounds import Grounds, Sign, grounds_of
from stillflow.engine.audit.inspections import audit, refused
from stillflow.engine.audit.lookup import look_up
from stillflow.engine.audit.trial import Near, Trial, tried

__all__ = [
    "INSPECTIONS",
    "Card",
    "CheckCard",
    "EvidenceCard",
    "FaultCard",
    "Finding",
    "Grounds",
    "Near",
    "RuleCard",
    "Severity",
    "Sign",
    "SourceCard",
    "Trial",
    "Voice",
    "audit",
    "cover",
    "grounds_of",
    "look_up",
    "page",
    "refused",
    "tried",
]
