"""The airflow model: what a gauge reads along the air path, and readings run backwards to causes.

Forwards: `system` describes a house, `effects` and `faulty` what a fault does to it, `gauge` what
it reads; `houses` and `draw` do the same for many at once. Backwards: `backwards` sizes what
is wrong from readings, `atlas` and `estimate_facts` for many rows of readings. `curves` has the
lines of a chart.
"""

from stillflow.engine.airflow.air import HIGHEST_FT, LOWEST_FT
from stillflow.engine.airflow.backwards import estimate
from stillflow.engine.airflow.curves import AirflowChart, Line, Mark, airflow_chart
from stillflow.engine.airflow.draw import draw_houses, gauge_noise
from stillflow.engine.airflow.effects import (
    Effect,
    GaugeFactorEffect,
    GaugeOffsetEffect,
    HoleEffect,
    HoseSizeEffect,
    LoadingEffect,
    MotorDeadEffect,
    OrificeEffect,
    SpeedEffect,
    ThroatEffect,
    draw_sizes,
)
from stillflow.engine.airflow.estimate_facts import FACT_NAMES
from stillflow.engine.airflow.fan import Fan, fan_from_rating
from stillflow.engine.airflow.fan_fit import fan_from_pair
from stillflow.engine.airflow.faulty import apply, apply_many
from stillflow.engine.airflow.findings import Estimate, Reading
from stillflow.engine.airflow.gauge import readings, readings_table
from stillflow.engine.airflow.houses import PARALLEL, Houses
from stillflow.engine.airflow.points import GaugePoint
from stillflow.engine.airflow.system import (
    LONGEST_HOSE_FT,
    LONGEST_TUBE_FT,
    SHORTEST_HOSE_FT,
    Hose,
    Inlet,
    System,
    Tube,
)

__all__ = [
    "FACT_NAMES",
    "HIGHEST_FT",
    "LONGEST_HOSE_FT",
    "LONGEST_TUBE_FT",
    "LOWEST_FT",
    "PARALLEL",
    "SHORTEST_HOSE_FT",
    "AirflowChart",
    "Effect",
    "Estimate",
    "Fan",
    "GaugeFactorEffect",
    "GaugeOffsetEffect",
    "GaugePoint",
    "HoleEffect",
    "Hose",
    "HoseSizeEffect",
    "Houses",
    "Inlet",
    "Line",
    "LoadingEffect",
    "Mark",
    "MotorDeadEffect",
    "OrificeEffect",
    "Reading",
    "SpeedEffect",
    "System",
    "ThroatEffect",
    "Tube",
    "airflow_chart",
    "apply",
    "apply_many",
    "draw_houses",
    "draw_sizes",
    "estimate",
    "fan_from_pair",
    "fan_from_rating",
    "gauge_noise",
    "readings",
    "readings_table",
]
