"""Air and units against published values."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from stillflow.engine.airflow.air import (
    AIR_WATTS,
    CFM_LS,
    CFM_M3S,
    HIGHEST_FT,
    INHG_PA,
    LOWEST_FT,
    VELOCITY_CFM,
    density_ratio,
    pressure_at,
)
from stillflow.engine.base import INH2O_68F_PA, INH2O_CONVENTIONAL_PA, units


def test_an_inch_of_water_is_that_of_68_degree_water():
    # Derived: 998.207 kg/m3 x 9.80665 x 0.0254; between NIST SP 811 (B.8) values for 60 degF water
    # (248.84 Pa) and lighter water above.
    assert pytest.approx(248.642, abs=0.01) == INH2O_68F_PA
    assert INH2O_68F_PA < 248.84  # NIST SP 811 B.8, 60 degF
    assert INH2O_68F_PA < 249.082  # NIST SP 811 B.8, 39.2 degF


def test_inches_of_mercury_are_conventional():
    assert pytest.approx(3386.389, abs=0.001) == INHG_PA  # NIST SP 811 B.8
    # ASTM F558's 0.07355 inHg per inH2O (from memory) is this ratio within 0.2 %.
    assert pytest.approx(0.07355, rel=2e-3) == INH2O_68F_PA / INHG_PA


def test_flow_units_are_exact():
    assert pytest.approx(4.719474e-4, rel=1e-6) == CFM_M3S  # exact, 0.3048^3/60
    assert pytest.approx(0.4719474, rel=1e-6) == CFM_LS


def test_the_standards_constants_are_rederived():
    # ASTM F558 constants (from memory) from first principles at 68 degF water.
    assert pytest.approx(AIR_WATTS, rel=1e-4) == CFM_M3S * INH2O_68F_PA
    velocity = np.sqrt(2.0 * INH2O_68F_PA / 1.20138)
    flow = np.pi / 4.0 * 0.0254**2 * velocity / CFM_M3S
    assert flow == pytest.approx(VELOCITY_CFM, rel=1e-4)


@pytest.mark.parametrize(
    ("feet", "pascal"),
    # ISO 2533 / US Standard Atmosphere 1976, as tabled.
    [(0, 101325.0), (1000, 97716.7), (2000, 94213.6), (5280, 83431.8), (8000, 75271.2)],
)
def test_pressure_falls_with_altitude_as_in_the_standard_atmosphere(feet, pascal):
    assert float(pressure_at(feet)) == pytest.approx(pascal, rel=1e-4)


def test_pressure_is_that_of_fluids_over_the_whole_range():
    from fluids.atmosphere import ATMOSPHERE_1976

    feet = np.linspace(LOWEST_FT, HIGHEST_FT, 400)
    exact = [ATMOSPHERE_1976(float(z) * 0.3048).P for z in feet]
    assert pressure_at(feet) == pytest.approx(exact, rel=1e-12)


def test_indoor_density_follows_pressure_not_the_standard_atmosphere():
    ratio = float(density_ratio(pressure_at(5280.0), np.asarray(70.0)))
    assert ratio == pytest.approx(0.82341, rel=1e-4)  # P/P0, ISO 2533
    assert ratio < 0.85442 - 0.02  # the standard atmosphere's own density ratio, ISO 2533


def test_warm_air_is_thinner():
    cold, warm = (float(density_ratio(np.asarray(101325.0), np.asarray(t))) for t in (50.0, 90.0))
    assert cold / warm == pytest.approx((90 + 459.67) / (50 + 459.67))


def test_no_number_of_pascals_in_an_inch_of_water_stands_outside_the_units() -> None:
    written = re.compile(r"\b24[89]\.\d|998\.2")
    for path in Path(units.__file__).parents[1].rglob("*.py"):
        if path.name != "units.py":
            lines = path.read_text().splitlines()
            assert not [line for line in lines if written.search(line)], path


def test_the_two_inches_of_water_are_those_published() -> None:
    assert INH2O_CONVENTIONAL_PA == 249.0889  # NIST SP 811 (2008), table B.8
    assert pytest.approx(1000.0 * 9.80665 * 0.0254, rel=2e-6) == INH2O_CONVENTIONAL_PA
    assert pytest.approx(1000.0 / 998.207, rel=2e-6) == INH2O_CONVENTIONAL_PA / INH2O_68F_PA
