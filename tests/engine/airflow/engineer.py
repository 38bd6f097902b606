"""The same house worked out the way an engineer would without stillflow.

SI units, a loop over slices of tube with the air's local density, `fluids` for friction factors and
fittings, `scipy.optimize.brentq` for the balance. Shares no code with the model it checks. Used by
the tests beside it and by the benchmark.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fluids.flow_meter import discharge_coefficient_to_K
from fluids.friction import friction_factor
from scipy.optimize import brentq

INH2O = 248.642  # Pa, water at 68 degF
CFM = 0.3048**3 / 60.0
INCH, FOOT = 0.0254, 0.3048
STANDARD = 1.20138  # kg/m3, 0.075 lb/ft3
SLICES = 10


@dataclass(frozen=True)
class House:
    """One open inlet at the end of the trunk; lengths ft, bores and diameters in."""

    sealed: float
    airflow: float
    trunk_ft: float = 40.0
    trunk_k: float = 1.5
    branch_ft: float = 8.0
    branch_k: float = 1.0
    bore: float = 1.87
    hose_ft: float = 30.0
    hose_bore: float = 1.25
    hose_f: float = 0.04
    hose_k: float = 0.5
    exhaust_ft: float = 6.0
    exhaust_k: float = 1.0
    filter_linear: float = 0.01
    quadratics: float = 0.0003
    orifice: float = 0.625
    pressure: float = 101325.0
    bin_hole: float = 0.0
    trunk_hole: float = 0.0
    trunk_throat: float = math.inf


def working(house: House, station: str = "inlet") -> float:
    """Working suction at `unit`, `inlet` or `hose`, inH2O."""
    return brentq(lambda h: _gap(house, station, h, True), 1e-6, house.sealed, xtol=1e-7)


def sealed(house: House, station: str = "inlet") -> float:
    """Sealed suction, inH2O."""
    if _gap(house, station, house.sealed, False) >= 0.0:
        return house.sealed
    return brentq(lambda h: _gap(house, station, h, False), 1e-6, house.sealed, xtol=1e-7)


def _density(house: House, suction_pa: float) -> float:
    return STANDARD * house.pressure / 101325.0 * max(1.0 - suction_pa / house.pressure, 0.02)


def _tube(house: House, length: float, bore: float, k: float, dp: float, m: float) -> float:
    """March a tube slice by slice; mass flow m kg/s, suction dp in Pa."""
    d = bore * INCH
    area = math.pi / 4.0 * d * d
    re = m * d / area / 1.82e-5
    f = friction_factor(Re=re, eD=1.5e-6 / d) if re > 1.0 else 0.0
    for _ in range(SLICES):
        rho = _density(house, dp)
        dp += (f * length * FOOT / d + k) / SLICES * m * m / (2.0 * rho * area * area)
    return dp


def _loss(house: House, bore: float, k: float, dp: float, m: float) -> float:
    area = math.pi / 4.0 * (bore * INCH) ** 2
    for _ in range(SLICES):
        dp += k / SLICES * m * m / (2.0 * _density(house, dp) * area * area)
    return dp


def _hole(house: House, diameter: float, dp: float) -> float:
    """Mass flow into a sharp hole, kg/s, with the ISO 5167 expansibility at beta 0."""
    r = max(house.pressure - dp, 0.0) / house.pressure
    expansibility = 1.0 - 0.351 * (1.0 - r ** (1.0 / 1.4))
    area = math.pi / 4.0 * (diameter * INCH) ** 2
    return 0.6 * expansibility * area * math.sqrt(2.0 * _density(house, 0.0) * max(dp, 0.0))


def _gap(house: House, station: str, suction: float, open_end: bool) -> float:
    dp = suction * INH2O
    outside = _density(house, 0.0)
    m = 0.0
    if open_end:
        r = (house.pressure - dp) / house.pressure
        k1 = (0.5692 * r - 0.5767) / (r - 1.0104)
        standard = 21.844 * house.orifice**2 * k1 * math.sqrt(suction)
        m = standard * CFM * math.sqrt(STANDARD / outside) * outside
    if station == "hose":
        k = house.hose_f * house.hose_ft * 12.0 / house.hose_bore + house.hose_k
        dp = _loss(house, house.hose_bore, k, dp, m)
    if station != "unit":
        dp = _tube(house, house.branch_ft, house.bore, house.branch_k, dp, m)
        half = house.trunk_ft / 2.0, house.bore, house.trunk_k / 2.0
        dp = _tube(house, *half, dp, m)
        if math.isfinite(house.trunk_throat):
            k = discharge_coefficient_to_K(house.bore, house.trunk_throat, 0.6)
            dp = _loss(house, house.bore, k, dp, m)
        m += _hole(house, house.trunk_hole, dp)
        dp = _tube(house, *half, dp, m)
    dp = _restriction(house, 0.0, house.quadratics / 3.0, dp, m)
    m += _hole(house, house.bin_hole, dp)
    dp = _restriction(house, house.filter_linear, house.quadratics * 2.0 / 3.0, dp, m)
    w = m / outside / CFM
    thin = house.pressure / 101325.0
    made = house.sealed * thin ** (2 / 3) * (1.0 - w / (house.airflow * thin ** (-1 / 6)))
    rho, d = outside, house.bore * INCH
    area = math.pi / 4.0 * d * d
    re = m * d / area / 1.82e-5
    f = friction_factor(Re=re, eD=1.5e-6 / d) if re > 1.0 else 0.0
    exhaust = (f * house.exhaust_ft * FOOT / d + house.exhaust_k) * m * m / (2 * rho * area**2)
    return made - (dp + exhaust) / INH2O


def _restriction(house: House, linear: float, quadratic: float, dp: float, m: float) -> float:
    """Linear and quadratic drop, given for standard air, at the local volume flow."""
    for _ in range(SLICES):
        rho = _density(house, dp)
        w = m / rho / CFM
        drop = linear * w + quadratic * w * w * rho / STANDARD
        dp += drop / SLICES * INH2O
    return dp
