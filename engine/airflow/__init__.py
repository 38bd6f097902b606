"""The airflow model: what a gauge reads along the air path of a house, healthy or damaged.

`system` describes a house, `effects` and `faulty` what a fault does to it, `gauge` what it reads;
`houses` and `draw` do the same for many at once. `power` has the air power at an opening, `curves`
the lines of a chart. What readings say of faults is for `inference`.
"""

from stillflow.engine.airflow.air import CFM_LS, HIGHEST_FT, LOWEST_FT, air_watts, density_at
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
from stillflow.engine.airflow.fan import Fan, fan_from_rating
from stillflow.engine.airflow.fan_fit import fan_from_pair
from stillflow.engine.airflow.faulty import ANOTHER_INLET, apply, apply_many
from stillflow.engine.airflow.gauge import readings, readings_table
from stillflow.engine.airflow.houses import (
    CORNER_BEND,
    CORNER_FLOW,
    INLET_KEYS,
    PARALLEL,
    TAP,
    Houses,
)
from stillflow.engine.airflow.points import GaugePoint, Reading
from stillflow.engine.airflow.power import orifice_flow, possible_watts
from stillflow.engine.airflow.system import (
    LONGEST_HOSE_FT,
    LONGEST_TUBE_FT,
    SHORTEST_HOSE_FT,
    TUBE_BORE_IN,
    Hose,
    Inlet,
    System,
    Tube,
)

__all__ = [
    "ANOTHER_INLET",
    "CFM_LS",
    "CORNER_BEND",
    "CORNER_FLOW",
    "HIGHEST_FT",
    "INLET_KEYS",
    "LONGEST_HOSE_FT",
    "LONGEST_TUBE_FT",
    "LOWEST_FT",
    "PARALLEL",
    "SHORTEST_HOSE_FT",
    "TAP",
    "TUBE_BORE_IN",
    "AirflowChart",
    "Effect",
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
    "air_watts",
    "airflow_chart",
    "apply",
    "apply_many",
    "density_at",
    "draw_houses",
    "draw_sizes",
    "fan_from_pair",
    "fan_from_rating",
    "gauge_noise",
    "orifice_flow",
    "possible_watts",
    "readings",
    "readings_table",
]
