"""The standard orifice that working suction is read through.

The ASTM F558 / F820 airflow equation, Q = 21.844 D^2 K1 sqrt(h), with K1 a ratio of two straight
lines in r = (B - h)/B. The K1 constants are from memory; against ISO 5167 they agree within 0.6 %
at 20 to 60 inH2O and within 4.2 % at 10 to 120 inH2O.
"""

from __future__ import annotations

import numpy as np

from stillflow.engine.airflow.air import VELOCITY_CFM, Array

STANDARD_ORIFICE_IN = 0.625

_DIAMETERS = np.array([0.500, 0.625, 0.750])
_SLOPE = np.array([0.5694, 0.5692, 0.5715])
_SHIFT = np.array([0.5786, 0.5767, 0.5807])
_POLE = np.array([1.0138, 1.0104, 1.0138])


class Orifice:
    """One or many orifices in one or many barometers, ready to give flow from suction.

    Between the three diameters the equation is known for, its constants are read on a straight
    line; outside them the nearest stands (K1 hardly depends on the diameter).
    """

    def __init__(self, diameter_in: Array, barometer_inh2o: Array, density: Array) -> None:
        """Take the diameter (in), the barometer (inH2O) and the density ratio, broadcast."""
        self._slope = np.interp(diameter_in, _DIAMETERS, _SLOPE)
        self._shift = np.interp(diameter_in, _DIAMETERS, _SHIFT)
        self._pole = np.interp(diameter_in, _DIAMETERS, _POLE)
        self._scale = VELOCITY_CFM * diameter_in * diameter_in / np.sqrt(density)
        self._per_inh2o = 1.0 / barometer_inh2o

    def coefficient(self, suction_inh2o: Array) -> Array:
        """21.844 D^2 K1 / sqrt(density ratio), cfm of room air per sqrt(inH2O)."""
        r = 1.0 - suction_inh2o * self._per_inh2o
        return np.asarray(self._scale * (self._slope * r - self._shift) / (r - self._pole))


def orifice_airflow(
    suction_inh2o: Array | float,
    diameter_in: Array | float = STANDARD_ORIFICE_IN,
    barometer_inhg: float = 29.92,
) -> Array:
    """Airflow through the orifice by the ASTM F558 equation.

    The 5/8 in hole at 20, 40 and 60 inH2O; ISO 5167 (Reader-Harris/Gallagher, by `fluids`) gives
    22.6, 31.5 and 38.1 cfm:

    >>> [round(float(orifice_airflow(suction)), 1) for suction in (20, 40, 60)]
    [22.7, 31.5, 38.3]

    Args:
        suction_inh2o: suction behind the orifice, inH2O, any shape.
        diameter_in: orifice diameter, in.
        barometer_inhg: inHg.

    Returns:
        cfm of 0.075 lb/ft3 air.
    """
    suction = np.asarray(suction_inh2o, dtype=float)
    orifice = Orifice(
        np.asarray(diameter_in, dtype=float), np.asarray(barometer_inhg / 0.07355), np.asarray(1.0)
    )
    return np.asarray(orifice.coefficient(suction) * np.sqrt(suction))
