"""The condition language: three-valued truth, and two back ends that conclude the same."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError
from small_rules import SMALL, small

from stillflow.engine.base.vocabulary import FLAG, NUMBER
from stillflow.engine.inference.production import Inference, inference_for
from stillflow.engine.inference.table import RuleTable, rule_table
from stillflow.engine.ruleset.conditions import (
    Condition,
    FactValue,
    fold,
    leaves,
    say,
    truth,
)
from stillflow.engine.ruleset.knowledge import Knowledge
from stillflow.engine.ruleset.loading import load_rules

PARSE = TypeAdapter[Condition](Condition)


def parse(value: Any) -> Condition:
    return PARSE.validate_python(value)


@pytest.mark.parametrize(
    ("condition", "facts", "expected"),
    [
        ({"fact": "a", "below": 2}, {"a": 1.0}, True),
        ({"fact": "a", "below": 2}, {"a": 2.0}, False),
        ({"fact": "a", "at_most": 2}, {"a": 2.0}, True),
        ({"fact": "a", "above": 2}, {"a": 2.0}, False),
        ({"fact": "a", "at_least": 2}, {"a": 2.0}, True),
        ({"fact": "a", "at_least": 1, "below": 2}, {"a": 1.5}, True),
        ({"fact": "a", "at_least": 1, "below": 2}, {"a": 2.5}, False),
        ({"fact": "a", "below": 2}, {}, None),
        ({"fact": "w", "is": "red"}, {"w": "red"}, True),
        ({"fact": "w", "is_not": "red"}, {"w": "red"}, False),
        ({"fact": "w", "one_of": ["red", "blue"]}, {"w": "blue"}, True),
        ({"fact": "w", "none_of": ["red", "blue"]}, {"w": "green"}, True),
        ({"fact": "w", "none_of": ["red"]}, {}, None),
        ({"fact": "f", "is": True}, {"f": True}, True),
        ({"fact": "f", "is": 1}, {"f": True}, False),
        ({"not": {"fact": "a", "below": 2}}, {"a": 3.0}, True),
        ({"not": {"fact": "a", "below": 2}}, {}, None),
        ({"all": [{"fact": "a", "below": 2}, {"fact": "b", "below": 2}]}, {"a": 3.0}, False),
        ({"all": [{"fact": "a", "below": 2}, {"fact": "b", "below": 2}]}, {"a": 1.0}, None),
        ({"any": [{"fact": "a", "below": 2}, {"fact": "b", "below": 2}]}, {"a": 1.0}, True),
        ({"any": [{"fact": "a", "below": 2}, {"fact": "b", "below": 2}]}, {"a": 3.0}, None),
    ],
)
def test_truth_is_three_valued(
    condition: Any, facts: dict[str, FactValue], expected: bool | None
) -> None:
    assert truth(parse(condition), facts) is expected


@pytest.mark.parametrize("bad", [{}, {"all": []}, {"fact": "a"}, {"nope": 1}, 3, {"fact": "A B"}])
def test_what_is_no_condition_is_refused(bad: Any) -> None:
    with pytest.raises(ValidationError):
        parse(bad)


def test_a_condition_is_said_in_words() -> None:
    either = {"any": [{"fact": "f", "is": True}, {"fact": "w", "one_of": ["x", "y"]}]}
    condition = parse({"all": [{"fact": "a", "below": 2}, either]})
    assert say(condition) == "a is below 2 and (f is yes or w is x or y)"


NAMES = ("answer.hiss", "answer.seal-look", "share.sealed.inlet", "share.working.hose")


def leaf_strategy(knowledge: Knowledge, names: tuple[str, ...]) -> st.SearchStrategy[Any]:
    def for_fact(name: str) -> st.SearchStrategy[Any]:
        kind = knowledge.facts[name]
        if kind.kind == NUMBER:
            limit = st.sampled_from([0.2, 0.5, 0.85, 1.0, 1.2])
            comparison = st.sampled_from(["below", "at_most", "above", "at_least"])
            return st.builds(lambda c, v: {"fact": name, c: v}, comparison, limit)
        if kind.kind == FLAG:
            return st.builds(lambda v: {"fact": name, "is": v}, st.booleans())
        word = st.sampled_from(kind.words)
        return st.one_of(
            st.builds(lambda w: {"fact": name, "is": w}, word),
            st.builds(lambda w: {"fact": name, "is_not": w}, word),
            st.builds(lambda w: {"fact": name, "none_of": [w]}, word),
            st.builds(lambda w, v: {"fact": name, "one_of": [w, v]}, word, word),
        )

    return st.sampled_from(names).flatmap(for_fact)


def condition_strategy(knowledge: Knowledge, names: tuple[str, ...]) -> st.SearchStrategy[Any]:
    return st.recursive(
        leaf_strategy(knowledge, names),
        lambda inner: st.one_of(
            st.builds(lambda parts: {"all": parts}, st.lists(inner, min_size=1, max_size=3)),
            st.builds(lambda parts: {"any": parts}, st.lists(inner, min_size=1, max_size=3)),
            st.builds(lambda part: {"not": part}, inner),
        ),
        max_leaves=6,
    )


def facts_strategy(
    knowledge: Knowledge, names: tuple[str, ...]
) -> st.SearchStrategy[dict[str, FactValue]]:
    def value(name: str) -> st.SearchStrategy[FactValue]:
        kind = knowledge.facts[name]
        if kind.kind == NUMBER:
            return st.sampled_from([0.0, 0.2, 0.5, 0.84, 0.85, 0.86, 1.0, 1.2, 1.5])
        return st.booleans() if kind.kind == FLAG else st.sampled_from(kind.words)

    some = st.sets(st.sampled_from(names))
    return some.flatmap(lambda chosen: st.fixed_dictionaries({n: value(n) for n in sorted(chosen)}))


SMALL_RULES = small()


def with_conditions(conditions: list[Any]) -> Knowledge:
    """The small rule set with rules of the given conditions, each leaning on the one before."""
    import json

    lines = []
    for index, condition in enumerate(conditions):
        if index:
            before = {"fact": f"finding.f{index - 1}", "is": True}
            condition = {"any": [condition, before]} if index % 2 else {"all": [condition, before]}
        lines.append(
            f"  - id: drawn-{index}\n    when: {json.dumps(condition)}\n"
            f"    then: [{{derive: finding.f{index}}}]\n"
            "    because: It was drawn.\n    source: common-practice\n"
        )
    return small(SMALL + "".join(lines))


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_both_back_ends_and_the_plain_reading_conclude_the_same_on_random_rules(
    data: st.DataObject,
) -> None:
    conditions = data.draw(st.lists(condition_strategy(SMALL_RULES, NAMES), min_size=1, max_size=4))
    knowledge = with_conditions(conditions)
    table, inference = RuleTable(knowledge), Inference(knowledge)
    situations = data.draw(st.lists(facts_strategy(SMALL_RULES, NAMES), min_size=1, max_size=5))
    fired_rows = table.fire(table.rows(situations))
    for facts, fired in zip(situations, fired_rows, strict=True):
        by_numpy = {one for one, fires in zip(table.rule_ids, fired, strict=True) if fires}
        concluded = inference.run(facts)
        by_experta = {firing.rule_id for firing in concluded.firings}
        known = concluded.facts
        by_reading = {
            rule.id for rule in knowledge.rules.values() if truth(rule.when, known) is True
        }
        assert by_numpy == by_experta == by_reading


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_both_back_ends_conclude_the_same_on_the_shipped_rules(data: st.DataObject) -> None:
    knowledge = load_rules()
    used = sorted({leaf.fact for rule in knowledge.rules.values() for leaf in leaves(rule.when)})
    names = tuple(name for name in used if not name.startswith("finding."))
    facts = data.draw(facts_strategy(knowledge, names))
    table = rule_table(knowledge)
    fired = table.fire(table.rows([facts]))[0]
    by_numpy = {one for one, fires in zip(table.rule_ids, fired, strict=True) if fires}
    by_experta = {firing.rule_id for firing in inference_for(knowledge).run(facts).firings}
    assert by_numpy == by_experta


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_facts_learnt_one_by_one_fire_what_they_fire_all_at_once(data: st.DataObject) -> None:
    facts = data.draw(facts_strategy(SMALL_RULES, NAMES))
    step_by_step = Inference(SMALL_RULES)
    known: dict[str, FactValue] = {}
    fired: set[str] = set()
    for name in data.draw(st.permutations(sorted(facts))):
        known[name] = facts[name]
        now = {firing.rule_id for firing in step_by_step.run(known).firings}
        assert fired <= now, "learning more un-fired a rule"
        fired = now
    at_once = {firing.rule_id for firing in Inference(SMALL_RULES).run(facts).firings}
    assert (fired if facts else at_once) == at_once


def test_a_fact_that_goes_away_takes_its_conclusions_along() -> None:
    inference = Inference(SMALL_RULES)
    for answer in ("torn", "whole"):
        fired = inference.run({"answer.seal-look": answer}).firings
        assert [firing.rule_id for firing in fired] == [answer]
    assert inference.run({}).firings == ()


def test_a_firing_names_the_facts_it_rests_on_and_what_it_finds() -> None:
    facts: dict[str, FactValue] = {"level.sealed.inlet": "low", "answer.hiss": "hissing"}
    firings = {f.rule_id: f for f in Inference(SMALL_RULES).run(facts).firings}
    assert firings["low-sealed"].facts == {"level.sealed.inlet": "low"}
    assert firings["low-sealed"].found == ("finding.short",)
    assert firings["hiss-when-short"].facts == {"finding.short": True, "answer.hiss": "hissing"}


def test_pushing_not_down_keeps_the_tree_positive() -> None:
    inner = {"all": [{"fact": "a", "below": 2}, {"not": {"fact": "b", "below": 1}}]}
    said = fold(
        parse({"not": inner}),
        lambda leaf, negated: f"{'-' if negated else '+'}{leaf.fact}",
        lambda parts: f"all({' '.join(parts)})",
        lambda parts: f"any({' '.join(parts)})",
    )
    assert said == "any(-a +b)"
