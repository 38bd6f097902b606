"""Facts tried on the rules, and all there is for and against a fault."""

from __future__ import annotations

import numpy as np
import pytest
from broken_rules import TIDY, rule, twins
from hypothesis import given
from hypothesis import strategies as st
from small_rules import small

from stillflow.engine.audit.grounds import SURE, grounds_of
from stillflow.engine.audit.trial import tried
from stillflow.engine.base.errors import InputError
from stillflow.engine.inference import LikelihoodModel, Situation, baseline_for, rule_table
from stillflow.engine.ruleset import load_rules
from stillflow.engine.simulate import visit_for


def test_an_answer_and_a_reading_fire_what_they_fire_on_a_visit() -> None:
    trial = tried(small(TIDY), ["seal-look=torn", "sealed-inlet=60"])
    assert trial.facts["answer.seal-look"] == "torn"
    assert trial.facts["level.sealed.inlet"] == "low"
    assert {"torn", "low-sealed"} <= {card.id for card in trial.fired}


BOTH = "{all: [{fact: answer.seal-look, is: torn}, {fact: level.sealed.inlet, is: low}]}"


def test_what_nearly_fires_is_told_with_what_is_missing_for_it() -> None:
    knowledge = small(rule(BOTH, "{for: seal-torn, strength: slight}"))
    [near] = [one for one in tried(knowledge, ["seal-look=torn"]).nearly if one.rule == "extra"]
    assert near.missing == ("sealed suction at the inlet is low",)
    assert near.met == 1


def test_a_number_just_short_is_near_and_another_answer_is_not() -> None:
    knowledge = small(
        rule("{fact: share.sealed.inlet, below: 0.5}", "{derive: finding.very-short}")
    )
    nearly = tried(knowledge, ["share.sealed.inlet=0.6", "hiss=quiet"]).nearly
    assert [one.rule for one in nearly] == ["extra"]
    assert nearly[0].missing[0].endswith("(it is 0.6)")


@given(st.sets(st.sampled_from(["seal-look=torn", "seal-look=whole", "hiss=quiet", "ball=sticks"])))
def test_no_rule_both_fires_and_nearly_does_and_what_was_missing_makes_it_fire(
    given_facts: set[str],
) -> None:
    knowledge = small(rule(BOTH, "{for: seal-torn, strength: slight}"))
    trial = tried(knowledge, sorted(given_facts))
    fired = {card.id for card in trial.fired}
    assert fired.isdisjoint(one.rule for one in trial.nearly)
    table = rule_table(knowledge)
    if any(one.rule == "extra" for one in trial.nearly) and "seal-look=torn" in given_facts:
        full = {**trial.facts, "answer.seal-look": "torn", "level.sealed.inlet": "low"}
        assert table.fire(table.rows([full]))[0][table.rule_ids.index("extra")]


@pytest.mark.parametrize(
    ("fact", "words"),
    [
        ("seal-lok=torn", "no fact or check 'seal-lok'; did you mean 'seal-look'?"),
        ("seal-look=tron", "never 'tron'; did you mean 'torn'?"),
        ("seal-look", "no fact with a value; write FACT=VALUE"),
        ("unit.motors=two", "'two' is not a number"),
        ("sealed-inlet=900", "cannot be"),
        ("finding.short=no", "write true"),
    ],
)
def test_a_fact_that_cannot_be_is_refused_with_what_would_be_right(fact: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        tried(small(TIDY), [fact])
    assert words in str(caught.value)


def test_signs_are_ratios_of_how_often_an_answer_is_seen_with_the_fault_and_elsewhere() -> None:
    knowledge = small(TIDY)
    grounds = grounds_of(knowledge, "seal-torn")
    visit = visit_for(knowledge, knowledge.faults["seal-torn"])
    baseline = baseline_for(visit, knowledge)
    model = LikelihoodModel(knowledge, rule_table(knowledge), baseline, visit)
    start = Situation(model.standing(visit))
    prior = model.prior(start.standing)
    [outlook] = model.outlooks(start, ["seal-look"])
    row, column = outlook.answers.index("torn"), knowledge.fault_index["seal-torn"]
    others = np.delete(prior, column) / np.delete(prior, column).sum()
    elsewhere = float(np.delete(outlook.likelihood[row], column) @ others)
    [sign] = [one for one in grounds.signs_for if (one.check, one.answer) == ("seal-look", "torn")]
    assert sign.times == pytest.approx(outlook.likelihood[row, column] / elsewhere, rel=1e-3)
    assert [one.times for one in grounds.signs_for] == sorted(
        (one.times for one in grounds.signs_for), reverse=True
    )
    assert any(one.reading for one in grounds.signs_for)


def test_the_way_to_be_sure_ends_sure_and_no_step_of_it_can_be_spared() -> None:
    grounds = grounds_of(small(TIDY), "hose-clogged")
    assert grounds.sure
    assert grounds.way[-1].chance >= SURE
    assert all(look.chance < SURE for look in grounds.way[:-1])
    assert grounds.minutes == pytest.approx(sum(look.minutes for look in grounds.way))


def test_of_a_fault_that_nothing_shows_it_is_said_who_stands_in_the_way() -> None:
    grounds = grounds_of(small(twins()), "seal-twin")
    assert not grounds.sure
    assert grounds.rival[0] == "seal-torn"
    assert grounds.rival[1] > 0.3


def test_the_unit_is_one_that_the_fault_can_be_in_as_when_it_is_played() -> None:
    grounds = grounds_of(load_rules(), "altitude-explains")
    assert grounds.start > 0.0
    assert grounds.way[-1].chance > 0.5
