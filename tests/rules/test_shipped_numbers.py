"""Sizes and sentences of the shipped rules, held to physics and to published constants."""

from __future__ import annotations

import math

import pytest
from fluids.atmosphere import ATMOSPHERE_1976

from stillflow.engine import load_rules
from stillflow.engine.ruleset import leaves

KNOWLEDGE = load_rules()
FEET = 0.3048

# IEC 60028 (1925), international standard of resistance for annealed copper, 20 C, from memory;
# the same figures stand in NBS Handbook 100 (1966), Copper Wire Tables.
COPPER_OHM_M, COPPER_PER_K = 1.7241e-8, 0.00393
AMPERES = 12.0
"""What a 120 V unit on a 15 A circuit draws (common practice)."""


def speed_at(volts: float) -> float:
    """Share of full speed of a series motor with a fan, as source `voltage-law` has it."""
    return float((volts / 120.0) ** (2 / 3))


def volts_at(speed: float) -> float:
    return float(120.0 * speed**1.5)


def ohm_per_ft(gauge: int) -> float:
    # ASTM B258: diameter 0.005 in x 92^((36 - gauge) / 39), from memory.
    diameter_m = 0.005 * 92 ** ((36 - gauge) / 39) * 0.0254
    return COPPER_OHM_M / (math.pi / 4 * diameter_m**2) * FEET


def speeds(fault: str) -> tuple[float, float]:
    (sizes,) = KNOWLEDGE.faults[fault].effect.ranges()
    return sizes


def test_copper_wire_has_the_resistance_of_the_tables() -> None:
    # Copper Wire Tables: 16 gauge 4.016, 18 gauge 6.385 ohm per 1,000 ft at 20 C.
    assert ohm_per_ft(16) * 1000 == pytest.approx(4.016, rel=0.002)
    assert ohm_per_ft(18) * 1000 == pytest.approx(6.385, rel=0.002)


def test_an_extension_cord_costs_what_its_copper_drops() -> None:
    low, high = speeds("extension-cord")
    # There and back.
    assert speed_at(120 - AMPERES * 2 * 40 * ohm_per_ft(16)) == pytest.approx(high, abs=0.005)
    assert speed_at(120 - AMPERES * 2 * 100 * ohm_per_ft(18)) == pytest.approx(low, abs=0.015)


def test_a_sagging_supply_is_one_that_houses_have() -> None:
    low, high = map(volts_at, speeds("supply-voltage-low"))
    # Below what `confirm` says, and above what makes motors of all kinds stall.
    assert 90 < low < 100
    assert 108 < high < 112


def test_a_bad_contact_takes_no_more_than_a_plug_stands() -> None:
    low, high = speeds("supply-connection-loose")
    # A 100 W lamp in the space of a plug would melt it within minutes.
    assert (120 - volts_at(low)) * AMPERES < 100
    assert (120 - volts_at(high)) * AMPERES > 5


def test_heat_alone_costs_a_motor_little_speed() -> None:
    low, high = speeds("motor-cooling-blocked")
    for ohms in (1.0, 1.5):
        drop = AMPERES * ohms * COPPER_PER_K * 80
        assert low < speed_at(120 - drop) < high


def test_bearings_take_no_more_power_than_they_stand() -> None:
    # Flux ~ current^(1/3) as in `voltage-law`: (1 / r)^4 = r^2 + drag, torques in full fan torques.
    fan_watts = 900.0
    low, high = ((r**-4 - r**2) * r * fan_watts for r in speeds("bearings-worn"))
    assert 500 < low < 600
    assert 90 < high < 120


def test_no_motor_with_worn_brushes_runs_at_half_speed() -> None:
    assert speeds("brushes-worn")[0] >= 0.75


def thin(feet: float) -> tuple[float, float]:
    """Share of sea level: the density of room air, and a series motor's suction."""
    density = ATMOSPHERE_1976(feet * FEET).P / ATMOSPHERE_1976(0.0).P
    return density, density ** (2 / 3)


def test_what_is_said_of_thin_air_is_what_the_standard_atmosphere_has() -> None:
    density, suction = thin(5000)
    assert 1 - density == pytest.approx(1 / 6, abs=0.005)
    assert 1 - suction == pytest.approx(1 / 8, abs=0.015)
    assert "a sixth lower" in KNOWLEDGE.rules["thin-air-here"].because
    assert "an eighth less suction" in KNOWLEDGE.rules["thin-air-here"].because
    assert 1 - thin(2500)[1] == pytest.approx(0.06, abs=0.005)
    assert "2,500 ft it is some 6 %" in KNOWLEDGE.rules["low-site"].because


def test_thin_air_explains_nothing_where_nobody_feels_it_and_may_where_a_gauge_shows_it() -> None:
    (leaf,) = leaves(KNOWLEDGE.rules["low-site"].when)
    limit = leaf.below
    assert isinstance(limit, float | int)
    assert 1 - thin(limit)[1] < 0.04
    possible = KNOWLEDGE.faults["altitude-explains"].possible_when
    assert possible is not None
    (least,) = leaves(possible)
    assert least.at_least == limit


def test_what_is_only_told_is_never_decisive() -> None:
    told = {check.id for check in KNOWLEDGE.checks.values() if check.mistaken >= 0.08}
    heard = {"inlets-listen", "wall-listen", "hose-listen", "motor-sound", "danger-signs"}
    assert told - heard
    for rule in KNOWLEDGE.rules.values():
        rests_on = {leaf.fact.removeprefix("answer.") for leaf in leaves(rule.when)}
        if rests_on <= told - heard:
            for item, _ in KNOWLEDGE.evidence[rule.id]:
                assert item.strength.factor < 100, rule.id
