"""Airflow and air power at an opening: what comes in through the orifice, what the fan could do."""

from __future__ import annotations

import numpy as np

from stillflow.engine.airflow.air import AIR_WATTS, Array
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.network import LossPath
from stillflow.engine.airflow.path import find_path
from stillflow.engine.airflow.points import GaugePoint, columns
from stillflow.engine.airflow.system import System


def path_to(system: System, point: GaugePoint) -> LossPath:
    """The air path of one system, solved for one gauge point."""
    houses = Houses.of([system])
    return find_path(houses, columns([point], houses))


def orifice_flow(system: System, suction_inh2o: Array) -> Array:
    """Airflow through the system's orifice, cfm of room air, at suctions of shape (n,)."""
    path = path_to(system, GaugePoint("unit", "working"))
    return np.asarray(path.flow_in(suction_inh2o[:, None])[:, 0])


def possible_watts(system: System) -> float:
    """The greatest air power the unit can make at any airflow, W."""
    fan = path_to(system, GaugePoint("hose", "working")).fan
    end = float((fan.stretch * system.fan.airflow_cfm).max())
    w = np.linspace(0.0, end, 201)[None, :]
    return float((AIR_WATTS * w * fan.suction(w)).max())
