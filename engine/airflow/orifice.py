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

    The 5/8 in hole at 20, 40 and 60 inH2O; ISO 5167 (Reader-Harris/Gallagher, by `fluids`) gives
    22.6, 31.5 and 38.1 cfm:

    >>> suction = np.array([20.0, 40.0, 60.0])
    >>> hole = Orifice(np.array(0.625), np.array(406.8), np.array(1.0))  # in, inH2O, ratio
    >>> (hole.coefficient(suction) * np.sqrt(suction)).round(1).tolist()
    [22.7, 31.5, 38.3]
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
