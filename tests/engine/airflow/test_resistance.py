"""Tubes, throats and holes against fluids, handbook tables and first principles."""

from __future__ import annotations

import math

import numpy as np
import pytest

from stillflow.engine.airflow.air import STANDARD_DENSITY, VELOCITY_CFM, VISCOSITY
from stillflow.engine.airflow.network import Loss
from stillflow.engine.airflow.resistance import (
    SMOOTH_FRICTION,
    behind,
    hole_coefficient,
    hose_coefficient,
    throat_coefficient,
    tube_coefficients,
    velocity_coefficient,
)

TUBE_ROUGHNESS_MM = 0.0015  # drawn plastic tube; handbook value, from memory


def array(value: float) -> np.ndarray:
    return np.array([value])


def drop_per_100_ft(bore: float, cfm: float) -> float:
    turbulent, quadratic = tube_coefficients(array(100.0), array(bore))
    return float(Loss(quadratic, turbulent).drop(array(cfm))[0])


@pytest.mark.parametrize(
    ("bore", "cfm", "inh2o"),
    # Colebrook for smooth tube (1.5 micrometres), inH2O per 100 ft, by `fluids`.
    [
        (1.86, 40, 4.14), (1.86, 60, 8.51), (1.86, 80, 14.23),
        (1.87, 40, 4.04), (1.87, 60, 8.30), (1.87, 80, 13.87),
        (1.88, 40, 3.94), (1.88, 60, 8.09), (1.88, 80, 13.52),
    ],
)  # fmt: skip
def test_friction_of_two_inch_tubing(bore, cfm, inh2o):
    assert drop_per_100_ft(bore, cfm) == pytest.approx(inh2o, rel=0.02)


@pytest.mark.parametrize("bore_in", [1.5, 1.87, 2.0])
def test_friction_is_that_of_colebrook_from_12_to_180_cfm(bore_in):
    from fluids.friction import Colebrook

    alpha, beta = SMOOTH_FRICTION
    for cfm in np.geomspace(12.0, 180.0, 60) * bore_in / 1.87:  # Re 10,000 to 150,000
        flow = cfm * 0.3048**3 / 60
        reynolds = 4 * STANDARD_DENSITY * flow / (math.pi * VISCOSITY * bore_in * 0.0254)
        exact = Colebrook(reynolds, TUBE_ROUGHNESS_MM / (bore_in * 25.4))
        assert alpha * reynolds**-0.25 + beta == pytest.approx(exact, rel=0.015)


def test_the_friction_pair_is_the_least_squares_fit_of_colebrook():
    from fluids.friction import Colebrook
    from scipy.optimize import lsq_linear

    reynolds = np.geomspace(1.0e4, 1.5e5, 40)
    factor = np.array([Colebrook(re, TUBE_ROUGHNESS_MM / (1.87 * 25.4)) for re in reynolds])
    terms = np.stack([reynolds**-0.25, np.ones_like(reynolds)], axis=1) / factor[:, None]
    fit = lsq_linear(terms, np.ones_like(factor), tol=1e-14)
    assert fit.x == pytest.approx(SMOOTH_FRICTION, rel=1e-8)


def test_velocity_pressure_of_standard_air():
    # V = 4005 sqrt(VP) ft/min (duct handbooks, standard air).
    diameter = 1.87
    vp = float(velocity_coefficient(array(diameter))[0]) * 60.0**2
    area_ft2 = math.pi / 4.0 * (diameter / 12.0) ** 2
    assert 60.0 / area_ft2 == pytest.approx(4005.0 * math.sqrt(vp), rel=1e-3)


@pytest.mark.parametrize("beta", [0.1, 0.3, 0.5, 0.7, 0.9])
def test_a_throat_loses_what_an_orifice_plate_loses(beta):
    from fluids.flow_meter import discharge_coefficient_to_K

    k = float(throat_coefficient(array(1.87 * beta), array(1.87))[0])
    published = discharge_coefficient_to_K(1.87, 1.87 * beta, 0.60)  # ISO 5167-2 by fluids
    assert k / float(velocity_coefficient(array(1.87))[0]) == pytest.approx(published, rel=1e-9)


def test_a_throat_as_wide_as_the_bore_or_absent_loses_nothing():
    for throat in (1.87, 2.5, math.inf):
        assert float(throat_coefficient(array(throat), array(1.87))[0]) == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("suction", "cfm"),
    # Sharp 1/4 in hole, C = 0.60 with the ISO 5167 expansibility at beta 0; worked out by hand.
    [(20, 3.62), (40, 5.05), (60, 6.11), (80, 6.95)],
)
def test_a_quarter_inch_hole(suction, cfm):
    barometer = 29.92 / 0.07355
    s = suction - suction**2 / (2 * barometer)
    assert float(hole_coefficient(array(0.25))[0]) * math.sqrt(s) == pytest.approx(cfm, abs=0.01)


def test_the_quasi_pressure_is_the_expansibility_squared():
    # ISO 5167-2 form of the expansibility at beta 0, to r = 0.80.
    barometer = 407.0
    for suction in np.linspace(1.0, 81.0, 9):
        r = 1.0 - suction / barometer
        expansibility = 1.0 - 0.351 * (1.0 - r ** (1 / 1.4))
        s = suction - suction**2 / (2 * barometer)
        assert s == pytest.approx(suction * expansibility**2, rel=1e-3)


@pytest.mark.parametrize(
    ("cfm", "low", "high"), [(30, 8.9, 11.1), (35, 12.1, 15.1), (40, 15.8, 19.7)]
)
def test_a_hose_of_usual_size(cfm, low, high):
    # 30 ft x 1.25 in at Darcy factors 0.04 and 0.05, the range that gives the trade's 10 to 20
    # inH2O (common practice); the factor is assumed.
    drops = [
        float(hose_coefficient(array(30.0), array(1.25), array(f))[0]) * cfm**2
        for f in (0.04, 0.05)
    ]
    assert drops == pytest.approx([low, high], rel=0.02)


def test_a_hole_behind_a_resistance_passes_what_both_in_a_row_would():
    hole, k, s = 2.0, 0.05, 60.0
    w = float(behind(array(hole), array(k))[0]) * math.sqrt(s)
    assert (w / hole) ** 2 + k * w**2 == pytest.approx(s)


def test_the_flow_constant_is_that_of_the_standard():
    assert VELOCITY_CFM == 21.844  # ASTM F558, from memory
