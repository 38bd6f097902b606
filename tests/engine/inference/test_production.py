"""The rules run forward: what fired, on what facts, in which order, and again after a change."""

from __future__ import annotations

from small_rules import SMALL, small

from stillflow.engine.inference.production import Inference, inference_for, supporting

KNOWLEDGE = small()
SHORT = {"level.sealed.inlet": "low", "answer.hiss": "hissing"}


def fired(inference: Inference, **_: object) -> list[str]:
    return [firing.rule_id for firing in inference.run(SHORT).firings]


def test_a_firing_names_its_facts_and_what_it_found() -> None:
    concluded = Inference(KNOWLEDGE).run({**SHORT, "unit.motors": 2.0})
    by_rule = {firing.rule_id: firing for firing in concluded.firings}
    assert set(by_rule) == {"low-sealed", "hiss-when-short"}
    assert by_rule["low-sealed"].facts == {"level.sealed.inlet": "low"}
    assert by_rule["low-sealed"].found == ("finding.short",)
    assert by_rule["hiss-when-short"].facts == {"finding.short": True, "answer.hiss": "hissing"}
    assert by_rule["hiss-when-short"].found == ()
    assert concluded.facts == {**SHORT, "unit.motors": 2.0, "finding.short": True}


def test_a_finding_is_made_before_it_is_used_whatever_was_learnt_first() -> None:
    forward, backward = Inference(KNOWLEDGE), Inference(KNOWLEDGE)
    backward.run({"answer.hiss": "hissing"})
    for inference in (forward, backward):
        assert fired(inference) == ["low-sealed", "hiss-when-short"]


def test_a_fact_that_changes_or_goes_takes_its_conclusions_along() -> None:
    inference = Inference(KNOWLEDGE)
    inference.run(SHORT)
    changed = inference.run({**SHORT, "level.sealed.inlet": "fine"})
    assert [firing.rule_id for firing in changed.firings] == ["fine-sealed"]
    assert "finding.short" not in changed.facts
    gone = inference.run({"answer.hiss": "hissing"})
    assert gone.firings == ()
    assert gone.facts == {"answer.hiss": "hissing"}
    assert fired(inference) == ["low-sealed", "hiss-when-short"]


def test_running_again_on_the_same_facts_concludes_the_same_once() -> None:
    inference = Inference(KNOWLEDGE)
    assert inference.run(SHORT) == inference.run(dict(SHORT))


def test_rules_that_the_first_facts_could_not_fire_are_there_for_the_next() -> None:
    inference = Inference(KNOWLEDGE)
    assert inference.run({"answer.seal-look": "torn"}).firings[0].rule_id == "torn"
    assert fired(inference) == ["low-sealed", "hiss-when-short"]


def test_only_the_known_part_of_a_condition_supports_it() -> None:
    [either] = [r for r in KNOWLEDGE.rules.values() if r.id == "low-hose-sound-sealed"]
    facts = {"level.working.hose": "low", "level.sealed.inlet": "fine", "unit.motors": 1.0}
    assert supporting(either.when, facts) == {
        "level.working.hose": "low",
        "level.sealed.inlet": "fine",
    }
    assert supporting(either.when, {"level.working.hose": "low"}) == {"level.working.hose": "low"}


def test_sessions_over_a_rule_set_share_one_engine() -> None:
    assert inference_for(KNOWLEDGE) is inference_for(KNOWLEDGE)


def test_the_trace_reads_the_same_whatever_the_order_in_which_facts_were_learnt() -> None:
    either = """
  - id: either
    when: {any: [{fact: answer.seal-look, is: torn}, {fact: finding.short, is: true}]}
    then: [{for: seal-torn, strength: slight}]
    because: One of the two is enough.
    source: common-practice
"""
    knowledge = small(SMALL + either)
    facts = {"answer.seal-look": "torn", "level.sealed.inlet": "low"}
    at_once = Inference(knowledge).run(facts)
    assert [one.rule_id for one in at_once.firings] == ["low-sealed", "torn", "either"]
    for backwards in (False, True):
        inference, known = Inference(knowledge), {}
        for name in facts:
            inference.run({name: facts[name]})  # after these the engine holds every rule
        for name in sorted(facts, reverse=backwards):
            known[name] = facts[name]
            concluded = inference.run(known)
        assert concluded.firings == at_once.firings
