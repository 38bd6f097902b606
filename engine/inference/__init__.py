"""From what was seen to what is believed: the record, the baseline, facts, rules, likelihood.

Holds the two back ends of the rules and the arithmetic of belief; what to do next is left to
`planning` and `dialogue`.
"""

from stillflow.engine.inference.baseline import (
    HOUSE_TOLERANCE,
    RATED_TOLERANCE,
    Baseline,
    baseline_for,
    class_of,
    tolerance_of,
)
from stillflow.engine.inference.bearings import Bearings, bearings_of, contradicts
from stillflow.engine.inference.drift import Drift, drift
from stillflow.engine.inference.earlier import ago, comparable, earlier_words, inches
from stillflow.engine.inference.facts import (
    Spot,
    judge,
    reading_facts,
    standing_facts,
    typical,
    typical_reading,
)
from stillflow.engine.inference.foretelling import tail_of
from stillflow.engine.inference.inlets import At, Further, Inlets, inlet_words, key_of, name_of
from stillflow.engine.inference.likelihood import (
    LikelihoodModel,
    Outlook,
    Situation,
    possible,
    spot_of,
)
from stillflow.engine.inference.losses import SPOTS, readings_at_spots
from stillflow.engine.inference.production import (
    Conclusions,
    Firing,
    course_for,
    inference_for,
)
from stillflow.engine.inference.recording import (
    checked_answer,
    checked_event,
    checked_strikes,
    known_check,
)
from stillflow.engine.inference.sizing import Candidate, Sizes, found_system
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
    GoodReading,
    House,
    NamedInlet,
    Pair,
    Site,
    Unit,
    Visit,
    with_event,
)

__all__ = [
    "CANT_DO",
    "CANT_TELL",
    "HOUSE_TOLERANCE",
    "LIMITS",
    "NO_ANSWER",
    "RATED_TOLERANCE",
    "SKIPPED",
    "SPOTS",
    "At",
    "Baseline",
    "Bearings",
    "Candidate",
    "Conclusion",
    "Conclusions",
    "Drift",
    "Event",
    "Firing",
    "Further",
    "Gauge",
    "GoodReading",
    "House",
    "Inlets",
    "LikelihoodModel",
    "NamedInlet",
    "Outlook",
    "Pair",
    "Site",
    "Situation",
    "Sizes",
    "Spot",
    "Unit",
    "Visit",
    "ago",
    "baseline_for",
    "bearings_of",
    "checked_answer",
    "checked_event",
    "checked_strikes",
    "class_of",
    "comparable",
    "contradicts",
    "course_for",
    "drift",
    "earlier_words",
    "found_system",
    "inches",
    "inference_for",
    "inlet_words",
    "judge",
    "key_of",
    "known_check",
    "name_of",
    "possible",
    "reading_facts",
    "readings_at_spots",
    "rule_table",
    "spot_of",
    "standing_facts",
    "tail_of",
    "tolerance_of",
    "typical",
    "typical_reading",
    "with_event",
]
