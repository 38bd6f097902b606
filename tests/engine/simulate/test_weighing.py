"""Rules on readings beside model and simulated houses; readings beside what is foretold."""

from __future__ import annotations

import numpy as np
import pytest
from small_rules import SMALL, small

from stillflow.engine.base.errors import InputError
from stillflow.engine.base.scales import Strength
from stillflow.engine.inference.bearings import Bearings
from stillflow.engine.inference.visit import Event, Gauge, Unit, Visit
from stillflow.engine.simulate.weighing import Weighed, Weighing, foretold, weigh

BACKWARDS = """
  - id: backwards
    when: {fact: level.sealed.inlet, is: fine}
    then: [{for: motor-worn}]
    because: It is said.
    source: common-practice
"""
"""A worn motor makes it low."""

VISIT = Visit(unit=Unit(rated_sealed=130, rated_airflow=114))


def weighed(text: str, houses: int = 200, seed: int = 1) -> Weighing:
    return weigh(small(text), np.random.default_rng(seed), houses)


def pair(weighing: Weighing, rule_id: str, fault_id: str) -> Weighed:
    [one] = [p for p in weighing.pairs if (p.rule_id, p.fault_id) == (rule_id, fault_id)]
    return one


def read(*events: tuple[str, float | str], visit: Visit = VISIT) -> Visit:
    taken = tuple(Event(check=check, answer=answer) for check, answer in events)
    return visit.model_copy(update={"events": taken})


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
    assert not any(one.contradicted for one in weighing.pairs)


def test_what_the_model_makes_of_a_rule_is_what_the_check_goes_by() -> None:
    knowledge = small()
    bearings = Bearings(knowledge)
    for one in weighed(SMALL, 100).pairs:
        factors = bearings.of(knowledge.rules[one.rule_id])
        assert factors is not None
        assert one.by_model == pytest.approx(factors[knowledge.fault_index[one.fault_id]])


def test_in_houses_a_fault_that_alone_fulfils_a_condition_makes_it_many_times_likelier() -> None:
    # Suction goes with the square of speed, so half a per cent of it is left; nothing else acts.
    text = SMALL.replace("factor: [0.6, 0.9]", "factor: [0.06, 0.07]").replace(
        "{kind: hole, at: bin, diameter_in: [0.3, 0.8]}", "{kind: none}"
    )
    always, never = (
        pair(weighed(text), rule, "motor-worn") for rule in ("low-sealed", "fine-sealed")
    )
    # Of 50 houses with the motor all are low, and a quarter of one more; of the others few.
    assert always.by_houses > 10
    assert 0.0 < never.by_houses < 0.05


def test_a_rule_that_speaks_for_what_physics_speaks_against_is_marked() -> None:
    one = pair(weighed(SMALL + BACKWARDS), "backwards", "motor-worn")
    assert max(one.by_model, one.by_houses) < 0.5
    assert one.marked


def test_a_rule_that_speaks_against_what_physics_speaks_for_is_marked() -> None:
    text = SMALL.replace("then: [{for: hose-clogged}]", "then: [{against: hose-clogged}]")
    one = pair(weighed(text), "low-hose-sound-sealed", "hose-clogged")
    assert min(one.by_model, one.by_houses) > 2
    assert one.marked


def test_a_written_reason_takes_the_mark_away_and_not_the_difference() -> None:
    reason = "The motors of this shop surge."
    text = f"{SMALL}{BACKWARDS}    weighed: {reason}\n".replace(
        "{for: motor-worn}]\n", "{for: motor-worn, strength: strong}]\n"
    )
    one = pair(weighed(text, 100), "backwards", "motor-worn")
    assert (one.strength, one.reason) == (Strength.STRONG, reason)
    assert one.contradicted
    assert not one.marked


@pytest.mark.parametrize(
    ("by_model", "by_houses", "contradicted"),
    [(0.3, 0.3, True), (0.3, 1.5, False), (1.5, 0.3, False), (0.9, 0.9, False)],
)
def test_a_direction_is_contradicted_by_model_and_houses_together(
    by_model: float, by_houses: float, contradicted: bool
) -> None:
    for sign in (1, -1):
        factors = by_model**sign, by_houses**sign
        one = Weighed("rule", "fault", sign, Strength.COMPUTED, *factors, "")
        assert one.contradicted is contradicted


def test_the_same_seed_gives_the_same_and_another_seed_other_houses() -> None:
    assert weighed(SMALL, 100, seed=3) == weighed(SMALL, 100, seed=3)
    assert weighed(SMALL, 100, seed=3).pairs != weighed(SMALL, 100, seed=4).pairs


def test_a_rule_that_no_reading_decides_is_left_out_and_says_so() -> None:
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
    then: [{for: leak}]
    because: It is said.
    source: common-practice
  - id: below-every-level
    when: {fact: share.sealed.inlet, below: 0.01}
    then: [{for: leak}]
    because: It is said.
    source: common-practice
"""
    )
    weighing = weighed(text, 100)
    assert weighing.left_out == {
        "heard-and-read": "no reading gives answer.hiss",
        "read-by-nobody": "no reading gives reading.sealed.hose",
        "below-every-level": "no reading in the middle of its level fulfils it",
    }
    assert not {one.rule_id for one in weighing.pairs} & set(weighing.left_out)


def test_a_reading_that_no_fault_explains_is_far_out_and_others_are_not() -> None:
    # Sealed is short by half, as a leak makes it; then a hose end that has more than the inlet.
    knowledge = small()
    for hose, explained in ((35.0, True), (85.0, False)):
        sealed, working = foretold(knowledge, read(("sealed-inlet", 65.0), ("working-hose", hose)))
        assert (sealed.check_id, sealed.value) == ("sealed-inlet", 65.0)
        assert not sealed.unexplained
        assert working.unexplained is not explained


def test_what_was_seen_before_is_part_of_what_is_foretold() -> None:
    # A seal that was seen torn foretells that sealed suction is short.
    knowledge = small()
    [plain] = foretold(knowledge, read(("sealed-inlet", 127.0)))
    [after] = foretold(knowledge, read(("seal-look", "torn"), ("sealed-inlet", 127.0)))
    assert after.tail < plain.tail / 2


def test_the_gauges_zero_is_taken_off_what_it_showed() -> None:
    knowledge = small()
    off = VISIT.model_copy(update={"gauge": Gauge(zero=3.0)})
    [plain] = foretold(knowledge, read(("sealed-inlet", 90.0)))
    [zeroed] = foretold(knowledge, read(("sealed-inlet", 93.0), visit=off))
    assert zeroed == plain


def test_readings_set_aside_taken_twice_or_after_a_fix_are_left_out() -> None:
    knowledge = small()
    twice = read(("sealed-inlet", 65.0), ("sealed-inlet", 66.0), ("hiss", "quiet"))
    assert [one.value for one in foretold(knowledge, twice)] == [65.0]
    # Sealed is never below working at one place; the one that showed it is not believed.
    against = read(("sealed-inlet", 40.0), ("working-inlet", 70.0))
    assert [one.value for one in foretold(knowledge, against)] == [40.0]
    silent = read(("sealed-inlet", "can't do here"), ("working-hose", 70.0))
    assert [one.check_id for one in foretold(knowledge, silent)] == ["working-hose"]
    fixed = read(("sealed-inlet", 65.0))
    events = (*fixed.events, Event(fix="seal-torn"), Event(check="working-hose", answer=70.0))
    fixed = fixed.model_copy(update={"events": events})
    assert [one.check_id for one in foretold(knowledge, fixed)] == ["sealed-inlet"]


def test_a_visit_of_other_rules_says_which_event_they_do_not_have() -> None:
    with pytest.raises(InputError, match="sealed-attic"):
        foretold(small(), read(("sealed-inlet", 65.0), ("sealed-attic", 65.0)))
