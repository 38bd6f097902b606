"""How rules on readings bear on faults: sums over levels, worked again beside the model."""

from __future__ import annotations

import numpy as np
import pytest
from small_rules import SMALL, small

from stillflow.engine.base.scales import AirState, Station
from stillflow.engine.inference.baseline import baseline_for
from stillflow.engine.inference.bearings import Bearings, bearings_of, contradicts
from stillflow.engine.inference.facts import typical
from stillflow.engine.inference.gauging import GaugeModel
from stillflow.engine.inference.visit import Unit, Visit

MORE = """
  - id: far
    when: {{fact: share.sealed.inlet, below: {below}}}
    then: [{{for: leak}}]
    because: It is said.
    source: common-practice
"""


def test_one_reading_bears_as_its_level_does() -> None:
    knowledge = small()
    bearings = Bearings(knowledge)
    chance = bearings.chances((AirState.SEALED, Station.INLET))
    assert chance.sum(axis=0) == pytest.approx(1.0)
    for rule_id, level in (("low-sealed", 0), ("fine-sealed", 1)):
        found = bearings.of(knowledge.rules[rule_id])
        assert found == pytest.approx(bearings.factors(chance[level]))


def test_what_no_reading_in_the_middle_of_its_level_fulfils_has_no_bearing() -> None:
    # Low stands for 0.6 of what it should be.
    for below, bears in ((0.59, False), (0.61, True)):
        knowledge = small(SMALL + MORE.format(below=below))
        assert (Bearings(knowledge).of(knowledge.rules["far"]) is not None) is bears


def test_two_readings_are_taken_along_the_air_path_one_after_the_other() -> None:
    knowledge = small()
    rating = baseline_for(Visit(), knowledge).system.fan
    unit = Unit(rated_sealed=rating.sealed_inh2o, rated_airflow=rating.airflow_cfm)
    baseline = baseline_for(Visit(unit=unit), knowledge)
    gauge = GaugeModel(knowledge, baseline, Visit(unit=unit))
    inlet, hose = (AirState.SEALED, Station.INLET), (AirState.WORKING, Station.HOSE)
    # The hose end is low and the inlet fine or absurd.
    chance = 0.0
    for index, level in enumerate(knowledge.levels):
        if level.id != "low":
            value = typical(level, wide=False) * baseline.at(*inlet)
            chance += gauge.levels({}, inlet)[index] * gauge.levels({inlet: value}, hose)[0]
    common = np.array([fault.how_common.weight for fault in knowledge.faults.values()])
    expected = []
    for index in range(len(common)):
        often, seen = np.delete(common, index), np.delete(chance, index)
        expected.append(chance[index] / (often @ seen / often.sum()))
    found = Bearings(knowledge).of(knowledge.rules["low-hose-sound-sealed"])
    assert found == pytest.approx(expected)
    assert found[knowledge.fault_index["hose-clogged"]] > 2


def test_half_a_step_of_the_scale_contradicts_nobody() -> None:
    step = 10**0.25
    for factor, sign, wrong in (
        (1 / step * 1.01, 1, False),
        (1 / step * 0.99, 1, True),
        (step * 0.99, -1, False),
        (step * 1.01, -1, True),
        (100.0, 1, False),
        (0.01, -1, False),
    ):
        assert contradicts(sign, factor) is wrong


def test_a_rule_set_without_levels_or_units_has_no_house_to_read_in() -> None:
    start, end = SMALL.index("classes:"), SMALL.index("faults:")
    assert bearings_of(small(SMALL[:start] + SMALL[end:])) is None
    assert bearings_of(small()) is not None
