from .air import CFM_LS, HIGHEST_FT, LOWEST_FT, air_watts, density_at
from .curves import AirflowChart, Line, Mark, airflow_chart
from .draw import draw_houses, gauge_noise
from .effects import (
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
from .fan import Fan, fan_from_rating
from .fan_fit import fan_from_pair
from .faulty import ANOTHER_INLET, apply, apply_many
from .gauge import readings, readings_table
from .houses import (
    CORNER_BEND,
    CORNER_FLOW,
    INLET_KEYS,
    PARALLEL,
    TAP,
    Houses,
)
from .points import GaugePoint, Reading
from .power import orifice_flow, possible_watts
from .system import (
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
