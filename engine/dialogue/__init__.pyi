from .answers import given
from .carrying import REACH, Carried, CarriedNode, carried
from .changes import change_words, taken_words
from .explain import Meaning
from .intake import (
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
from .measured import Measured
from .places import done_words, titled
from .progress import Asked
from .session import Believed, Session
from .shortway import RARE, ShortWay, short_way
from .steps import (
    AnswerOption,
    CheckStep,
    FaultShare,
    FixStep,
    NextStep,
    PutBackStep,
    StepKind,
)
from .summary import Summary, summarise
from .talk import ahead_words, read_with, reminder_words, why_words
from .trace import (
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
from .unrolled import LIVE, NOT_THERE, Act, past_safety, visit_tree
from .voice import Said
from .whynot import why_not

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
