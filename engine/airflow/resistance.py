"""What holds air back and what lets it in: tubes, hoses, fittings, throats, holes.

Each law is given as a coefficient on the flow w (cfm of room air) in the quasi-pressure s of
`air`: a loss adds k w^2 + a w^1.75 + l w to s, a hole passes c sqrt(s). The standard orifice is in
`orifice`; how they are strung together is in `network`.
"""

from __future__ import annotations

import numpy as np

from stillflow.engine.airflow.air import CFM_M3S, STANDARD_DENSITY, VELOCITY_CFM, VISCOSITY, Array

HOLE_COEFFICIENT = 0.60
"""Discharge coefficient of a sharp hole or throat (dimensionless; handbook value, from memory)."""

SIDE_FLOW_CFM = 20.0
"""Flow at which the friction of a dead-end run behind a leak is taken as quadratic."""


def velocity_coefficient(diameter_in: Array) -> Array:
    """Velocity pressure per flow squared, inH2O/cfm2, in a bore: (1 / (21.844 d^2))^2."""
    inverse: Array = 1.0 / (VELOCITY_CFM * diameter_in * diameter_in)
    return inverse * inverse


SMOOTH_FRICTION = (0.2831457346742862, 0.0021949057555896634)
"""The pair (alpha, beta) of the Darcy factor f = alpha Re^-0.25 + beta of drawn plastic tube.

Least squares, relative to f, on the Colebrook equation
1/sqrt(f) = -2 log10(e/(3.7 D) + 2.51/(Re sqrt(f))) with a roughness e of 0.0015 mm (handbook value,
from memory) at 40 Re from 10,000 to 150,000 in a bore D of 1.87 in (12 to 180 cfm): within 1.4 %.
The tests make the fit anew with `fluids` and scipy.
"""

_REYNOLDS = 4.0 * STANDARD_DENSITY * CFM_M3S / (np.pi * VISCOSITY * 0.0254)


def tube_coefficients(length_ft: Array, bore_in: Array) -> tuple[Array, Array]:
    """Friction of a smooth tube as (a, k): s rises by a w^1.75 + k w^2.

    Darcy-Weisbach f (L/D) with f by `SMOOTH_FRICTION` and Re = 4 rho w / (pi D mu), which does not
    change along the tube.

    60 cfm through 100 ft of 1.87 in tube; Colebrook, by `fluids`, gives 8.30 inH2O:

    >>> a, k = tube_coefficients(np.asarray(100.0), np.asarray(1.87))
    >>> round(float(a * 60**1.75 + k * 60**2), 1)
    8.4

    Args:
        length_ft: length, ft, any shape.
        bore_in: bore, in, broadcast against it.

    Returns:
        a in inH2O/cfm^1.75 and k in inH2O/cfm^2, for air of 0.075 lb/ft3.
    """
    alpha, beta = SMOOTH_FRICTION
    per_factor = velocity_coefficient(bore_in) * length_ft * 12.0 / bore_in
    return per_factor * alpha * (bore_in / _REYNOLDS) ** 0.25, per_factor * beta


def hose_coefficient(length_ft: Array, bore_in: Array, friction_factor: Array) -> Array:
    """Friction of a corrugated hose, k in inH2O/cfm2, fully rough: f (L/D) velocity pressure.

    30 ft of 1.25 in hose take 10 to 20 inH2O at 30 to 40 cfm (common practice):

    >>> k = hose_coefficient(np.asarray(30.0), np.asarray(1.25), np.asarray(0.045))
    >>> [round(float(k * airflow**2)) for airflow in (30, 40)]
    [10, 18]
    """
    return friction_factor * length_ft * 12.0 / bore_in * velocity_coefficient(bore_in)


def throat_coefficient(throat_in: Array, bore_in: Array) -> Array:
    """Lasting loss of a sharp throat in a bore, k in inH2O/cfm2; 0 from the full bore upwards.

    ISO 5167-2 pressure loss of an orifice plate:
    K = (sqrt(1 - beta^4 (1 - C^2)) / (C beta^2) - 1)^2 on the velocity in the bore, C = 0.60.
    """
    beta_2 = np.minimum(throat_in / bore_in, 1.0) ** 2
    square = HOLE_COEFFICIENT * HOLE_COEFFICIENT
    root = np.sqrt(1.0 - beta_2 * beta_2 * (1.0 - square)) / (HOLE_COEFFICIENT * beta_2) - 1.0
    return np.asarray(root * root * velocity_coefficient(bore_in))


def hole_coefficient(diameter_in: Array) -> Array:
    """Flow of a sharp hole, c in cfm/sqrt(inH2O): 21.844 C d^2, C = 0.60.

    A leak of 1/4 in under 60 inH2O, as quasi-pressure s; with ISO 5167's expansibility 6.11 cfm:

    >>> s = 60.0 - 60.0**2 / (2 * 29.92 / 0.073556)
    >>> round(float(hole_coefficient(np.asarray(0.25))) * s**0.5, 2)
    6.11
    """
    return VELOCITY_CFM * HOLE_COEFFICIENT * diameter_in * diameter_in


def behind(hole: Array, resistance: Array) -> Array:
    """A hole c at the far end of a dead-end run of quadratic resistance k: c / sqrt(1 + c^2 k)."""
    return hole / np.sqrt(1.0 + hole * hole * resistance)


def as_quadratic(a: Array) -> Array:
    """A w^1.75 loss as a quadratic one of the same drop at 20 cfm, for dead-end runs."""
    return np.asarray(a * SIDE_FLOW_CFM**-0.25)
