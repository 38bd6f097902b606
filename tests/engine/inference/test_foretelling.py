"""Tails of a reading: the live density summed up, beside what is foretold of the levels."""

from __future__ import annotations

import numpy as np
import pytest
from small_rules import small

from stillflow.engine.base.scales import AirState, Station
from stillflow.engine.inference.baseline import baseline_for
from stillflow.engine.inference.foretelling import between, tail_of
from stillflow.engine.inference.gauging import GaugeModel
from stillflow.engine.inference.visit import Unit, Visit

KNOWLEDGE = small()
INLET, HOSE = (AirState.SEALED, Station.INLET), (AirState.WORKING, Station.HOSE)
BELIEF = np.array([0.4, 0.1, 0.2, 0.3])


@pytest.fixture(params=["rated", "class"])
def visit(request: pytest.FixtureRequest) -> Visit:
    rated = Unit(rated_sealed=130, rated_airflow=114)
    return Visit(unit=rated) if request.param == "rated" else Visit()


def test_between_the_edges_of_a_level_lies_what_is_foretold_of_it(visit: Visit) -> None:
    baseline = baseline_for(visit, KNOWLEDGE)
    gauge = GaugeModel(KNOWLEDGE, baseline, visit)
    low, high = ((one.below_class if baseline.wide else one.below) for one in KNOWLEDGE.levels[:2])
    for before in ({}, {INLET: 0.7 * baseline.at(*INLET)}):
        expected = baseline.at(*HOSE)
        summed = between(gauge, expected, before, HOSE, low * expected, high * expected)
        assert summed == pytest.approx(gauge.levels(before, HOSE)[1], abs=1e-4)


def test_a_tail_is_what_lies_farther_out_twice(visit: Visit) -> None:
    baseline = baseline_for(visit, KNOWLEDGE)
    gauge = GaugeModel(KNOWLEDGE, baseline, visit)
    expected = baseline.at(*HOSE)
    for share in (0.05, 0.3, 0.8, 0.97, 1.03, 1.2, 1.5):
        low, high = (between(gauge, expected, {}, HOSE, a * expected, b * expected) @ BELIEF
                     for a, b in ((0.0, share), (share, 3.0)))  # fmt: skip
        # Below a suction of nothing lies the rest of the normal distributions.
        nothing = 1.0 - low - high
        outside = min(low + nothing, high)
        tail = tail_of(gauge, baseline, KNOWLEDGE.levels, {}, HOSE, share * expected, BELIEF)
        assert tail == pytest.approx(2.0 * outside, abs=1e-3)
