"""Houses with hidden faults, callers who answer, and strengths held against physics."""

from stillflow.engine.simulate.calls import draw_calls
from stillflow.engine.simulate.weighing import (
    HOUSES,
    MISTAKEN,
    STEP,
    Held,
    Weighed,
    Weighing,
    weigh,
)
from stillflow.engine.simulate.weighing_houses import Question

__all__ = [
    "HOUSES",
    "MISTAKEN",
    "STEP",
    "Held",
    "Question",
    "Weighed",
    "Weighing",
    "draw_calls",
    "weigh",
]
