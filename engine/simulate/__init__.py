"""Houses with hidden faults, callers who answer, and rules and readings held against physics."""

from stillflow.engine.simulate.calls import draw_calls
from stillflow.engine.simulate.weighing import (
    FAR_OUT,
    HOUSES,
    Foretold,
    Weighed,
    Weighing,
    foretold,
    weigh,
)

__all__ = [
    "FAR_OUT",
    "HOUSES",
    "Foretold",
    "Weighed",
    "Weighing",
    "draw_calls",
    "foretold",
    "weigh",
]
