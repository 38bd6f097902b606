"""Houses with hidden faults, callers who answer, and rules and readings held against physics."""

from stillflow.engine.simulate.calls import (
    SimulatedCall,
    draw_calls,
    fault_weights,
    fired_alone,
    same_fix,
)
from stillflow.engine.simulate.extremes import Extreme, at_extremes, visit_for
from stillflow.engine.simulate.houses import draw_callers
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
    "Extreme",
    "Foretold",
    "SimulatedCall",
    "Weighed",
    "Weighing",
    "at_extremes",
    "draw_callers",
    "draw_calls",
    "fault_weights",
    "fired_alone",
    "foretold",
    "same_fix",
    "visit_for",
    "weigh",
]
