"""From what was seen to what is believed: the record, the baseline, facts, rules, likelihood.

Holds the two back ends of the rules and the arithmetic of belief; what to do next is left to
`planning` and `dialogue`.
"""

from stillflow.engine.inference.baseline import RATED_TOLERANCE, Baseline, baseline_for, class_of
from stillflow.engine.inference.facts import (
    Spot,
    judge,
    reading_facts,
    standing_facts,
    typical,
    typical_reading,
)
from stillflow.engine.inference.likelihood import (
    LikelihoodModel,
    Outlook,
    Situation,
    possible,
    spot_of,
)
from stillflow.engine.inference.production import (
    Conclusions,
    Firing,
    course_for,
    inference_for,
)
from stillflow.engine.inference.recording import checked_answer, checked_event, known_check
from stillflow.engine.inference.sizing import tolerance_of
from stillflow.engine.inference.table import rule_table
from stillflow.engine.inference.visit import (
    CANT_DO,
    CANT_TELL,
    LIMITS,
    NO_ANSWER,
    SKIPPED,
    Conclusion,
    Event,
    Gauge,
    House,
    Pair,
    Site,
    Unit,
    Visit,
    with_event,
)

__all__ = [
    "CANT_DO",
    "CANT_TELL",
    "LIMITS",
    "NO_ANSWER",
    "RATED_TOLERANCE",
    "SKIPPED",
    "Baseline",
    "Conclusion",
    "Conclusions",
    "Event",
    "Firing",
    "Gauge",
    "House",
    "LikelihoodModel",
    "Outlook",
    "Pair",
    "Site",
    "Situation",
    "Spot",
    "Unit",
    "Visit",
    "baseline_for",
    "checked_answer",
    "checked_event",
    "class_of",
    "course_for",
    "inference_for",
    "judge",
    "known_check",
    "possible",
    "reading_facts",
    "rule_table",
    "spot_of",
    "standing_facts",
    "tolerance_of",
    "typical",
    "typical_reading",
    "with_event",
]
