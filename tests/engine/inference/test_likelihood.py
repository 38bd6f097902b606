"""Belief: evidence multiplies as declared, and look-ahead agrees exactly with what then happens."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import simpson
from small_rules import SMALL, small

from stillflow.engine.base.arrays import Floats
from stillflow.engine.base.scales import AirState, Station, Strength
from stillflow.engine.dialogue.session import Session
from stillflow.engine.inference.baseline import baseline_for
from stillflow.engine.inference.facts import typical
from stillflow.engine.inference.inlets import Further
from stillflow.engine.inference.likelihood import LikelihoodModel, Situation, spot_of
from stillflow.engine.inference.losses import OFFSET_INH2O
from stillflow.engine.inference.table import rule_table
from stillflow.engine.inference.visit import Unit, Visit
from stillflow.engine.ruleset.entries import Check
from stillflow.engine.ruleset.knowledge import Knowledge
from stillflow.engine.ruleset.loading import load_rules


def model_of(knowledge: Knowledge, visit: Visit) -> LikelihoodModel:
    return LikelihoodModel(knowledge, rule_table(knowledge), baseline_for(visit, knowledge), visit)


def test_strengths_are_half_powers_of_ten() -> None:
    # Jeffreys, Theory of Probability (3rd ed. 1961), appendix B: grades at half powers of ten.
    steps = [Strength.SUBSTANTIAL, Strength.STRONG, Strength.VERY_STRONG, Strength.DECISIVE]
    assert [round(one.factor, 6) for one in steps] == pytest.approx([10**0.5, 10, 10**1.5, 100])
    assert 1 < Strength.SLIGHT.factor < Strength.SUBSTANTIAL.factor


def test_one_look_moves_the_belief_as_worked_by_hand() -> None:
    # Torn: usual .1 times 100 for the torn seal, usual .9 over 10^1.5 for a whole one.
    knowledge = small()
    session = Session(knowledge)
    session.record("seal-look", "torn")
    torn = 0.1 * 100 / (0.1 * 100 + 0.9 / 10**1.5)
    weights = {"seal-torn": 10**0.5 * torn, "hose-clogged": 10**0.5 * 0.1}
    weights |= {"motor-worn": 1.0 * 0.1, "nothing-wrong": 10**-0.5 * 0.1}
    expected = weights["seal-torn"] / sum(weights.values())
    found = {fault.id: fault.probability for fault in session.next_step().faults}
    assert found["seal-torn"] == pytest.approx(expected)


def test_an_answer_that_may_be_mistaken_moves_the_belief_less_as_worked_by_hand() -> None:
    # As above, but one answer in ten is the other one of the two.
    text = SMALL.replace("id: seal-look\n", "id: seal-look\n    mistaken: 0.1\n", 1)
    assert text != SMALL
    session = Session(small(text))
    session.record("seal-look", "torn")
    torn = 0.1 * 100 / (0.1 * 100 + 0.9 / 10**1.5)
    given = {"torn": 0.9 * torn + 0.1 * (1 - torn), "elsewhere": 0.9 * 0.1 + 0.1 * 0.9}
    weights = {"seal-torn": 10**0.5 * given["torn"], "hose-clogged": 10**0.5 * given["elsewhere"]}
    weights |= {"motor-worn": given["elsewhere"], "nothing-wrong": 10**-0.5 * given["elsewhere"]}
    expected = weights["seal-torn"] / sum(weights.values())
    found = {fault.id: fault.probability for fault in session.next_step().faults}
    assert found["seal-torn"] == pytest.approx(expected)


@pytest.mark.parametrize("knowledge", [small(), load_rules()], ids=["small", "shipped"])
@settings(max_examples=10, deadline=None)
@given(data=st.data())
def test_look_ahead_agrees_with_the_live_belief(knowledge: Knowledge, data: st.DataObject) -> None:
    """An answer counts as foretold; a reading's level is foretold as its density adds up to."""
    visit = Visit(unit=Unit(rated_sealed=130, rated_airflow=114))
    baseline = baseline_for(visit, knowledge)
    model = model_of(knowledge, visit)
    session = Session(knowledge, visit)
    checks = sorted(knowledge.checks)
    for check_id in data.draw(st.lists(st.sampled_from(checks), max_size=4, unique=True)):
        check = knowledge.checks[check_id]
        before = session.progress.situation
        [outlook] = model.outlooks(before, [check_id])
        assert outlook.likelihood.sum(axis=0) == pytest.approx(1.0)
        index = data.draw(st.integers(0, len(outlook.answers) - 1))
        if check.kind == "choice":
            answer: float | str = outlook.answers[index]
            live = model.likelihood(before, check, answer)
            np.testing.assert_allclose(live, outlook.likelihood[index], rtol=1e-12)
        else:
            expected = baseline.at(*spot_of(check))
            answer = typical(knowledge.levels[index], baseline.wide) * expected
            edges = [0.0, *(one.below for one in knowledge.levels if one.below), np.inf]
            shares = edges[index], edges[index + 1]
            summed = added_up(model, before, check, shares, expected)
            np.testing.assert_allclose(summed, outlook.likelihood[index], rtol=2e-3, atol=1e-6)
        session.record(check_id, answer)
        if session.progress.again:
            return


def added_up(
    model: LikelihoodModel,
    before: Situation,
    check: Check,
    shares: tuple[float, float],
    expected: float,
) -> Floats:
    """The live density of a reading from one share of expected to another, by Simpson's rule."""
    low, high = (np.log((s * expected + OFFSET_INH2O) / (expected + OFFSET_INH2O)) for s in shares)
    # No gauge shows less than nothing, but the model's normal distributions go on there.
    low, high = (low - 1.5 if shares[0] == 0.0 else low), min(high, 1.0)
    places = np.linspace(low, high, 2 * round((high - low) / 0.02) + 9)
    # Just inside, so that the ends lie in this level.
    values = np.exp(np.clip(places, low + 1e-9, high - 1e-9)) * (expected + OFFSET_INH2O)
    density = [model.likelihood(before, check, one) for one in values - OFFSET_INH2O]
    return np.asarray(simpson(np.array(density), x=places, axis=0))


def test_a_reading_is_weighed_as_it_was_read_and_not_as_its_level() -> None:
    knowledge = small()
    visit = Visit()
    model, check = model_of(knowledge, visit), knowledge.checks["sealed-inlet"]
    situation = Situation(model.standing(visit))
    ratio = model.likelihood(situation, check, 85.0) / model.likelihood(situation, check, 60.0)
    motor, nothing = (knowledge.fault_index[one] for one in ("motor-worn", "nothing-wrong"))
    # Both are low; the nearer to what the class should read, the less a motor need be worn.
    assert ratio[nothing] > 2 * ratio[motor]


def test_a_fault_that_cannot_be_here_has_no_weight() -> None:
    knowledge = load_rules()
    bagless = Session(knowledge, Visit(unit=Unit(filter="cartridge"))).next_step()
    shares = {fault.id: fault.probability for fault in bagless.faults}
    assert shares["bag-full"] == 0
    assert shares["cartridge-clogged"] > 0


def test_probabilities_add_up_to_one() -> None:
    step = Session(load_rules()).next_step()
    assert sum(fault.probability for fault in step.faults) == pytest.approx(1)
    assert sum(step.modes.values()) == pytest.approx(1)


def test_outlooks_are_the_same_whether_remembered_or_worked_out_anew() -> None:
    knowledge = small()
    situation = Situation(model_of(knowledge, Visit()).standing(Visit()))
    asked = ["hiss", "seal-look", "sealed-inlet"]
    model = model_of(knowledge, Visit())
    first, again = model.outlooks(situation, asked), model.outlooks(situation, asked)
    for one, other in zip(first, again, strict=True):
        assert one is other
    assert [one.check_id for one in first] == asked
    assert model.outlooks(situation, []) == []
    # Another answer changes what shares a rule with it, and nothing else.
    low = situation.with_reading((AirState.SEALED, Station.INLET), 60.0)
    hiss, seal = model.outlooks(low, ["hiss", "seal-look"])
    assert hiss is not first[0]
    assert seal is first[1]


def test_a_reading_at_a_further_inlet_changes_what_others_are_expected_to_be() -> None:
    knowledge = load_rules()
    visit = Visit(unit=Unit(rated_sealed=130.0, rated_airflow=114.0))
    model = model_of(knowledge, visit)
    before = Situation({}, {(AirState.WORKING, Station.INLET): 45.0})
    after = before.with_reading((AirState.WORKING, Further(2, "study", "study")), 78.0)
    [first] = model.outlooks(before, ["working-other"])
    [then] = model.outlooks(after, ["working-other"])
    [fresh] = model_of(knowledge, visit).outlooks(after, ["working-other"])
    assert not np.allclose(first.likelihood, then.likelihood, atol=0.01)
    assert np.allclose(then.likelihood, fresh.likelihood)
