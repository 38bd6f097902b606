"""Two rule sets over the same generated visits: what is counted is what a visit at a time shows."""

from __future__ import annotations

import numpy as np
import pytest
from small_rules import SMALL, small

from stillflow.casebook.comparison import Comparison, FaultChange, RuleChange, compare
from stillflow.casebook.generated import GeneratedVisit, draw_kinds, facts_of, generate, recorded
from stillflow.engine.dialogue.session import Session
from stillflow.engine.inference.production import inference_for
from stillflow.engine.ruleset.knowledge import Knowledge

RULES = small()
EXTRA = """
  - id: quiet-seal
    when: {fact: answer.hiss, is: quiet}
    then: [{against: seal-torn, strength: decisive}]
    because: A tear is heard.
    source: common-practice
"""


@pytest.fixture(scope="module")
def visits() -> list[GeneratedVisit]:
    generator = np.random.default_rng(4)
    return list(generate(draw_kinds(RULES, generator, 3), generator, 60, 0.7))


def by_hand(visits: list[GeneratedVisit], rules: Knowledge) -> list[tuple[set[str], str]]:
    """Which rules fire by experta, and the likeliest fault, a visit at a time."""
    found = []
    for visit, facts in zip(visits, facts_of(visits, rules), strict=True):
        session = Session(rules, recorded(visit, rules))
        firings = {one.rule_id for one in inference_for(rules).run(facts).firings}
        column = int(session.progress.probabilities.argmax())
        found.append((firings, list(rules.faults)[column]))
    return found


def test_a_rule_set_agrees_with_itself(visits: list[GeneratedVisit]) -> None:
    found = compare(visits, RULES, RULES)
    assert (found.agreeing, found.other_rules, found.rules, found.faults) == (60, 0, (), ())
    assert (found.live, found.live_agreeing) == (50, 50)


def test_a_new_rule_is_counted_where_it_fires(visits: list[GeneratedVisit]) -> None:
    found = compare(visits, RULES, small(SMALL + EXTRA.strip("\n") + "\n"))
    quiet = sum(one.answers.get("hiss") == "quiet" for one in visits)
    assert 0 < quiet < 60
    assert found.rules == (RuleChange("quiet-seal", quiet, 0),)
    assert (found.other_rules, found.agreeing) == (quiet, 60 - quiet)
    assert found.believed == min(quiet, 50)


def test_a_changed_strength_changes_what_is_said_though_the_same_rules_fire(
    visits: list[GeneratedVisit],
) -> None:
    weaker = small(
        SMALL.replace(
            "{against: seal-torn, strength: very-strong}", "{for: seal-torn, strength: decisive}"
        )
    )
    found = compare(visits, RULES, weaker)
    whole = sum(one.answers.get("seal-look") == "whole" for one in visits)
    assert 0 < whole < 60
    assert (found.agreeing, found.other_rules, found.rules) == (60 - whole, 0, ())
    changed = [one for one in visits if one.answers.get("seal-look") == "whole"][:50]
    pairs = [
        (old, now)
        for (_, old), (_, now) in zip(
            by_hand(changed, RULES), by_hand(changed, weaker), strict=True
        )
        if old != now
    ]
    assert pairs
    assert found.other_fault == len(pairs)
    assert {FaultChange(*pair, pairs.count(pair)) for pair in pairs} == set(found.faults)


def test_what_fires_is_what_the_live_engine_fires(visits: list[GeneratedVisit]) -> None:
    found: Comparison = compare(visits, RULES, RULES)
    fired = [one for one, _ in by_hand(visits, RULES)]
    assert found.fewest == min(map(len, fired))
    assert found.most == max(map(len, fired))
    assert set(found.silent) == RULES.rules.keys() - set().union(*fired)
