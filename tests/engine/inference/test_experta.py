"""What the rules ask of experta, through the one door to it: AND, OR, NOT, P and TEST."""

from __future__ import annotations

import logging

from stillflow.engine.inference import _experta  # first: it lets experta in
from stillflow.engine.inference._experta import AND, OR, Fact, KnowledgeEngine, P, Rule

from experta import NOT, TEST, MATCH  # isort: skip


class Trade(KnowledgeEngine):
    """Five rules, one for each way of joining conditions."""

    fired: set[str]

    @Rule(AND(Fact(sealed="low"), Fact(working="low")))
    def both(self):
        self.fired.add("and")

    @Rule(OR(Fact(sealed="low"), Fact(sealed="none")))
    def either(self):
        self.fired.add("or")

    @Rule(Fact(sealed="low"), NOT(Fact(hiss=True)))
    def absent(self):
        self.fired.add("not")

    @Rule(Fact(share=P(lambda share: share < 0.8)))
    def predicate(self):
        self.fired.add("p")

    @Rule(
        Fact(found=MATCH.found),
        Fact(expected=MATCH.expected),
        TEST(lambda found, expected: found < expected),
    )
    def test(self):
        self.fired.add("test")


def fired(*facts: dict[str, object]) -> set[str]:
    engine = Trade()
    engine.fired = set()
    engine.reset()
    for fact in facts:
        engine.declare(Fact(**fact))
    engine.run()
    return engine.fired


def test_each_way_of_joining_conditions_fires_on_its_facts() -> None:
    assert fired({"sealed": "low"}, {"working": "low"}) == {"and", "or", "not"}
    assert fired({"sealed": "none"}) == {"or"}
    assert fired({"share": 0.7}) == {"p"}
    assert fired({"found": 90.0}, {"expected": 130.0}) == {"test"}


def test_each_way_of_joining_conditions_keeps_still_on_others() -> None:
    assert fired({"sealed": "low"}, {"hiss": True}) == {"or"}
    assert fired({"sealed": "fine"}, {"working": "low"}) == set()
    assert fired({"share": 0.9}) == set()
    assert fired({"found": 130.0}, {"expected": 130.0}) == set()


def test_letting_experta_in_leaves_the_root_logger_alone() -> None:
    assert _experta.KnowledgeEngine is KnowledgeEngine
    assert logging.getLogger().level == logging.WARNING
