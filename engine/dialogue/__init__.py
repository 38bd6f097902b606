"""A visit as it runs: what has been answered, what may be asked, what comes next, and why.

The words come from the rules; who shows them, and where they are kept, is left to the caller.
"""

from stillflow.engine.dialogue.answers import given
from stillflow.engine.dialogue.carried import REACH, Carried, CarriedNode, carried
from stillflow.engine.dialogue.changes import change_words, taken_words
from stillflow.engine.dialogue.explain import Meaning
from stillflow.engine.dialogue.intake import (
    DETAILS,
    OF_A_NEW_HOUSE,
    Detail,
    detail_said,
    known_words,
    missing_said,
    tools_ask,
    tools_said,
    tools_words,
    unit_words,
    usual_missing,
)
from stillflow.engine.dialogue.measured import Measured
from stillflow.engine.dialogue.places import done_words, titled
from stillflow.engine.dialogue.progress import Asked
from stillflow.engine.dialogue.session import Believed, Session
from stillflow.engine.dialogue.shortway import RARE, ShortWay, short_way
from stillflow.engine.dialogue.steps import (
    AnswerOption,
    CheckStep,
    FaultShare,
    FixStep,
    NextStep,
    PutBackStep,
    StepKind,
)
from stillflow.engine.dialogue.summary import Summary, summarise
from stillflow.engine.dialogue.talk import ahead_words, read_with, reminder_words, why_words
from stillflow.engine.dialogue.trace import (
    Contribution,
    Round,
    contributions,
    loudest_against,
    loudness,
    rounds,
    ruled_out,
    stops,
    telling_round,
)
from stillflow.engine.dialogue.unrolled import LIVE, NOT_THERE, Act, past_safety, visit_tree
from stillflow.engine.dialogue.voice import Said
from stillflow.engine.dialogue.whynot import why_not

__all__ = [
    "DETAILS",
    "LIVE",
    "NOT_THERE",
    "OF_A_NEW_HOUSE",
    "RARE",
    "REACH",
    "Act",
    "AnswerOption",
    "Asked",
    "Believed",
    "Carried",
    "CarriedNode",
    "CheckStep",
    "Contribution",
    "Detail",
    "FaultShare",
    "FixStep",
    "Meaning",
    "Measured",
    "NextStep",
    "PutBackStep",
    "Round",
    "Said",
    "Session",
    "ShortWay",
    "StepKind",
    "Summary",
    "ahead_words",
    "carried",
    "change_words",
    "contributions",
    "detail_said",
    "done_words",
    "given",
    "known_words",
    "loudest_against",
    "loudness",
    "missing_said",
    "past_safety",
    "read_with",
    "reminder_words",
    "rounds",
    "ruled_out",
    "short_way",
    "stops",
    "summarise",
    "taken_words",
    "telling_round",
    "titled",
    "tools_ask",
    "tools_said",
    "tools_words",
    "unit_words",
    "usual_missing",
    "visit_tree",
    "why_not",
    "why_words",
]
