"""Air and units: pressure at altitude, density of room air, air power, the laws in `s`.

Holds the constants every other airflow module uses. How air moves through things is in
`resistance` and `orifice`.

The quasi-pressure s: room air at barometer B (inH2O) expands to (B - h)/B of its density at a
suction h. With volume flow w counted in cfm of room air, a quadratic loss is
dh/dx = k w^2 B/(B - h), whose integral is linear in

    s(h) = h - h^2 / (2 B),

so that s rises by k w^2 through a loss and a small hole passes c sqrt(s), whatever the suction.
For a sharp hole this is within 0.1 % of the expansibility 1 - 0.351 (1 - r^(1/1.4)) squared
(ISO 5167-2 form) down to r = 0.80.
"""

from __future__ import annotations

import numpy as np

from stillflow.engine.base import Floats

Array = Floats

INHG_PA = 3386.389
"""One conventional inch of mercury, Pa (NIST SP 811 B.8)."""

CFM_M3S = 0.3048**3 / 60.0
"""One cubic foot per minute, m3/s (exact)."""

CFM_LS = CFM_M3S * 1000.0
"""One cubic foot per minute, L/s."""

AIR_WATTS = 0.117354
"""Air power, W per cfm and inH2O (ASTM F558, from memory; re-derived 0.117346 at 68 degF)."""

VELOCITY_CFM = 21.844
"""Flow through a bore of 1 in at a velocity pressure of 1 inH2O, cfm of 0.075 lb/ft3 air.

(pi/4) d^2 sqrt(2 dp / rho); ASTM F558 (from memory; re-derived 21.8436 at 68 degF water).
"""

STANDARD_DENSITY = 1.20138
"""0.075 lb/ft3 in kg/m3."""

VISCOSITY = 1.82e-5
"""Of room air, Pa s."""

STANDARD_PRESSURE_PA = 101325.0
STANDARD_RANKINE = 459.67 + 70.0
LOWEST_FT, HIGHEST_FT = -1500.0, 15000.0


EARTH_RADIUS_M = 6356766.0
"""Radius that turns height into geopotential height, m (US Standard Atmosphere 1976)."""

SEA_LEVEL_KELVIN = 288.15
LAPSE_K_M = 0.0065
LAPSE_EXPONENT = 9.80665 * 0.0289644 / (8.31432 * LAPSE_K_M)
"""g M / (R L) of the troposphere, dimensionless (5.2559)."""


def pressure_at(altitude_ft: Array | float) -> Array:
    """Barometric pressure at an altitude, by the standard atmosphere's troposphere.

    P = 101325 Pa (1 - L H / T0)^(g M / (R L)) with T0 = 288.15 K, L = 6.5 K/km and the
    geopotential height H = r z / (r + z): US Standard Atmosphere 1976, as ISO 2533 (formula and
    constants from memory; the tests hold them to the published table and to `fluids`).

    >>> [round(float(pressure_at(feet))) for feet in (0, 1000, 5280)]  # Pa; a mile is 5,280 ft
    [101325, 97717, 83432]

    Args:
        altitude_ft: feet above sea level, any shape, -1500 to 15000.

    Returns:
        Pascal, the same shape.
    """
    metres = np.asarray(altitude_ft) * 0.3048
    height = EARTH_RADIUS_M * metres / (EARTH_RADIUS_M + metres)
    pascal: Array = (
        STANDARD_PRESSURE_PA * (1.0 - LAPSE_K_M * height / SEA_LEVEL_KELVIN) ** LAPSE_EXPONENT
    )
    return pascal


def density_ratio(pressure_pa: Array, temperature_f: Array) -> Array:
    """Density of room air over that at 29.92 inHg and 70 degF (dimensionless).

    Ideal gas: (P / 101325 Pa) (529.67 / (t + 459.67)). Indoors the air is at room temperature, so
    it is pressure that thins it, not the standard atmosphere's colder density. Moisture (under
    1 %) is left out. At 70 degF a mile up, where ISO 2533 has a pressure of 0.82341 of sea level's:

    >>> round(float(density_ratio(pressure_at(5280), np.asarray(70.0))), 4)
    0.8234
    """
    return (pressure_pa / STANDARD_PRESSURE_PA) * (STANDARD_RANKINE / (temperature_f + 459.67))


def density_at(altitude_ft: float) -> float:
    """Density of room air at 70 degF at an altitude (ft) over that at sea level, dimensionless."""
    return float(density_ratio(pressure_at(altitude_ft), np.asarray(70.0)))


def air_watts(airflow_cfm: float, suction_inh2o: float) -> float:
    """Air power of a flow at a suction, W: 0.117354 Q h (ASTM F558).

    >>> round(air_watts(57.25, 65.0))  # cfm, inH2O: half of 114.5 cfm at half of 130 inH2O
    437
    """
    return AIR_WATTS * airflow_cfm * suction_inh2o
