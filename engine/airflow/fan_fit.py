"""The fan line that explains a pair of readings, found by marching them back to the fan.

Apart from `fan`, which a system is made of: this needs the whole path in front of the fan.
"""

from __future__ import annotations

import numpy as np

from stillflow.engine.airflow.fan import MOST_CFM, Fan
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.path import find_path
from stillflow.engine.airflow.points import GaugePoint, columns
from stillflow.engine.airflow.system import System
from stillflow.engine.base import InputError


def fan_from_pair(
    sealed_inh2o: float,
    working_inh2o: float,
    house: System | None = None,
    station: str = "inlet",
) -> Fan:
    """The straight fan line that gives a pair of readings at a station of a house.

    Both readings are marched from the open end to the fan (`network`); the line goes through the
    two points arrived at, and is brought to standard air and full speed.

    Args:
        sealed_inh2o: sealed reading, inH2O.
        working_inh2o: working reading through the house's orifice, inH2O.
        house: everything but the fan line; its fan tells motors and speed only. Without it, an
            ordinary healthy house at sea level.
        station: where both were read.

    Raises:
        InputError: working not below sealed, or no fan could give the pair.
    """
    if not 0.0 < working_inh2o < sealed_inh2o:
        raise InputError(
            f"working {working_inh2o:g} inH2O with sealed {sealed_inh2o:g} inH2O",
            right="working is above zero and below sealed",
        )
    plain = Fan(sealed_inh2o=sealed_inh2o, airflow_cfm=100.0)
    system = System(fan=plain) if house is None else house
    houses = Houses.of([system])
    points = [GaugePoint(station, condition) for condition in ("sealed", "working")]
    path = find_path(houses, columns(points, houses))
    shown = np.array([[sealed_inh2o, working_inh2o]]) - system.gauge.offset_inh2o
    w, s = path.march(np.sqrt(np.maximum(shown / system.gauge.factor, 0.0)))
    inside = path.barometer * (1.0 - np.sqrt(np.maximum(1.0 - 2.0 * s / path.barometer, 0.0)))
    made = (inside + path.fan.exhaust.drop(w)) / path.fan.head
    (q1, q2), (h1, h2) = (w / path.fan.stretch)[0], made[0]
    slope = (h2 - h1) / (q2 - q1)
    top = h1 - slope * q1
    if not slope < 0.0 or -top / slope > MOST_CFM:
        raise InputError(
            f"no fan gives {sealed_inh2o:g} {points[0]} and {working_inh2o:g} {points[1]}: "
            "that little is lost to the airflow only if the way in is blocked"
        )
    return system.fan.model_copy(
        update={"sealed_inh2o": float(top), "airflow_cfm": float(-top / slope), "between": ()}
    )
