"""Rules on readings beside the airflow model: what is marked, and that the figures are right."""

from __future__ import annotations

import numpy as np
import pytest
from small_rules import SMALL, small

from stillflow.engine.simulate.weighing import Weighed, Weighing, weigh

USUAL_LOW = 0.1
"""How often a reading is low in the small rules when the fault is elsewhere."""

SAYS_NOTHING = 0.05
"""Share of readings that say nothing."""

BACKWARDS = """
  - id: backwards
    when: {fact: level.sealed.inlet, is: absurd}
    then: [{for: motor-worn, strength: decisive}]
    because: It is said.
    source: common-practice
"""
"""No worn motor reads too high."""


def weighed(text: str, houses: int = 400, seed: int = 1) -> Weighing:
    return weigh(small(text), np.random.default_rng(seed), houses)


def pair(weighing: Weighing, rule_id: str, fault_id: str) -> Weighed:
    [one] = [p for p in weighing.pairs if (p.rule_id, p.fault_id) == (rule_id, fault_id)]
    return one


def test_every_rule_on_readings_alone_is_weighed_on_each_fault_it_speaks_of() -> None:
    weighing = weighed(SMALL, 100)
    assert [(one.rule_id, one.fault_id, one.sign) for one in weighing.pairs] == [
        ("fine-sealed", "motor-worn", -1),
        ("fine-sealed", "seal-torn", -1),
        ("low-hose", "nothing-wrong", -1),
        ("low-hose-sound-sealed", "hose-clogged", 1),
        ("low-sealed", "motor-worn", 1),
        ("low-sealed", "seal-torn", 1),
    ]
    assert weighing.held.keys() == {one.rule_id for one in weighing.pairs}


def test_a_rule_as_strong_as_physics_has_it_does_not_differ() -> None:
    weighing = weighed(SMALL)
    for rule_id, fault_id in (
        ("low-sealed", "motor-worn"),
        ("low-hose-sound-sealed", "hose-clogged"),
        ("low-hose", "nothing-wrong"),
    ):
        one = pair(weighing, rule_id, fault_id)
        assert abs(one.steps) < 0.5
        assert not one.differs


def test_a_rule_that_speaks_for_what_physics_speaks_against_is_marked() -> None:
    one = pair(weighed(SMALL + BACKWARDS), "backwards", "motor-worn")
    assert one.physics == pytest.approx(SAYS_NOTHING, abs=0.01)
    assert one.declared == 100
    assert one.steps > 2
    assert one.marked


def test_a_rule_that_speaks_against_what_physics_speaks_for_is_marked() -> None:
    text = SMALL.replace(
        "then: [{for: hose-clogged, strength", "then: [{against: hose-clogged, strength"
    )
    one = pair(weighed(text), "low-hose-sound-sealed", "hose-clogged")
    assert one.sign < 0
    assert one.physics > 5
    assert one.steps > 2
    assert one.marked


def test_a_rule_much_too_weak_is_marked_as_such() -> None:
    text = SMALL.replace(
        "then: [{for: hose-clogged, strength: very-strong}]",
        "then: [{for: hose-clogged, strength: slight}]",
    )
    one = pair(weighed(text), "low-hose-sound-sealed", "hose-clogged")
    assert one.steps < -1
    assert one.marked


def test_a_written_reason_takes_the_mark_away_and_not_the_difference() -> None:
    reason = "The gauges of this shop read high."
    one = pair(weighed(f"{SMALL}{BACKWARDS}    weighed: {reason}\n"), "backwards", "motor-worn")
    assert one.differs
    assert not one.marked
    assert one.reason == reason


def test_the_same_seed_gives_the_same_and_another_seed_other_houses() -> None:
    assert weighed(SMALL, 150, seed=3) == weighed(SMALL, 150, seed=3)
    assert weighed(SMALL, 150, seed=3).pairs != weighed(SMALL, 150, seed=4).pairs


def test_a_fault_that_always_fulfils_a_condition_has_the_inverse_of_what_is_usual() -> None:
    # Fan laws: suction goes with the square of speed, so half a per cent of it is left.
    text = SMALL.replace("factor: [0.6, 0.9]", "factor: [0.06, 0.07]")
    one = pair(weighed(text), "low-sealed", "motor-worn")
    assert one.physics == pytest.approx((1 - SAYS_NOTHING) / USUAL_LOW + SAYS_NOTHING)
    never = pair(weighed(text), "fine-sealed", "motor-worn")
    assert never.physics == pytest.approx(SAYS_NOTHING)


def test_a_fault_that_often_fulfils_a_condition_counts_as_often_as_the_fan_laws_have_it() -> None:
    # Suction goes with the square of speed. The slower the motor the surer it is low: below the
    # square root of the level's edge. Speeds are drawn evenly; the same edge with every baseline.
    slowest, fastest, edge = 0.6, 1.0, 0.85
    text = SMALL.replace("factor: [0.6, 0.9]", f"factor: [{slowest}, {fastest}]").replace(
        "below: 0.85, below_class: 0.75", f"below: {edge}, below_class: {edge}"
    )
    one = pair(weighed(text, 1500), "low-sealed", "motor-worn")
    share = (edge**0.5 - slowest) / (fastest - slowest)
    expected = (1 - SAYS_NOTHING) * share / USUAL_LOW + SAYS_NOTHING
    assert one.low < expected < one.high
    assert one.high - one.low < 0.12 * expected


def test_what_is_in_effect_is_the_word_after_the_answers_add_up_to_one() -> None:
    # Low is usual in 0.1, fine in 0.85, absurd in 0.05; low speaks for a leak by 10, fine
    # against it by 10.
    low, fine, absurd = USUAL_LOW * 10, 0.85 / 10, 0.05
    one = pair(weighed(SMALL, 100), "low-sealed", "seal-torn")
    assert one.declared == pytest.approx(10)
    assert one.in_effect == pytest.approx(low / (low + fine + absurd) / USUAL_LOW)


def test_the_interval_narrows_as_houses_are_added_and_counts_them() -> None:
    few, many = (pair(weighed(SMALL, n), "low-sealed", "seal-torn") for n in (100, 900))
    assert (few.houses, many.houses) == (100, 900)
    assert few.low < few.physics < few.high
    assert (many.high - many.low) == pytest.approx((few.high - few.low) / 3, rel=0.25)


def test_how_often_a_condition_holds_over_all_faults_counts_each_as_common_as_it_is() -> None:
    # The motor always makes it low and nothing else does, but for the mistaken readings and the
    # few units that give less than their papers say.
    text = SMALL.replace("factor: [0.6, 0.9]", "factor: [0.06, 0.07]").replace(
        "{kind: hole, at: bin, diameter_in: [0.3, 0.8]}", "{kind: none}"
    )
    held = weighed(text).held["low-sealed"]
    assert held.usual == pytest.approx(USUAL_LOW)
    # Half powers of ten: seal and hose are common, the motor occasional, nothing wrong is rare.
    motor = 1.0 / (2 * 10**0.5 + 1.0 + 10**-0.5)
    expected = (1 - SAYS_NOTHING) * motor + SAYS_NOTHING * USUAL_LOW
    assert held.simulated == pytest.approx(expected, abs=0.02)


def test_a_rule_on_answers_too_is_left_out_and_says_so() -> None:
    text = (
        SMALL
        + """
  - id: heard-and-read
    when: {all: [{fact: level.sealed.inlet, is: low}, {fact: answer.hiss, is: hissing}]}
    then: [{for: leak, strength: slight}]
    because: It is said.
    source: common-practice
  - id: read-by-nobody
    when: {fact: level.sealed.hose, is: low}
    then: [{for: leak, strength: slight}]
    because: It is said.
    source: common-practice
  - id: below-every-level
    when: {fact: share.sealed.inlet, below: 0.01}
    then: [{for: leak, strength: slight}]
    because: It is said.
    source: common-practice
"""
    )
    weighing = weighed(text, 100)
    assert weighing.left_out == {
        "heard-and-read": "no reading gives answer.hiss",
        "read-by-nobody": "no reading gives level.sealed.hose",
        "below-every-level": "no reading in the middle of its level fulfils it",
    }
    assert not {one.rule_id for one in weighing.pairs} & set(weighing.left_out)
