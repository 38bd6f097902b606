"""Rules over tables: codes, comparisons, what is derived on the way, and the weighing by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from small_rules import SMALL, small

from stillflow.engine.inference.table import RuleTable, rule_table

KNOWLEDGE = small()
TABLE = RuleTable(KNOWLEDGE)
FAULTS = KNOWLEDGE.fault_index
SUBSTANTIAL, STRONG, VERY_STRONG, DECISIVE = (math.log(10**x) for x in (0.5, 1.0, 1.5, 2.0))


def with_rule(when: str) -> RuleTable:
    """The small rules and one more, whose condition is given."""
    text = (
        SMALL
        + f"""
  - id: one-more
    when: {when}
    then: [{{for: seal-torn, strength: strong}}]
    because: For a test.
    weighed: For a test.
    source: common-practice
"""
    )
    return RuleTable(small(text))


def fires(table: RuleTable, **facts: object) -> bool:
    named = {name.replace("__", ".").replace("_", "-"): value for name, value in facts.items()}
    rows = table.rows([named])  # type: ignore[list-item]
    return bool(table.fire(rows)[0, table.rule_ids.index("one-more")])


def test_a_word_is_its_place_in_the_list_a_flag_one_and_what_is_unknown_no_number() -> None:
    assert TABLE.code("answer.seal-look", "whole") == 0
    assert TABLE.code("answer.seal-look", "torn") == 1
    assert math.isnan(TABLE.code("answer.seal-look", "singed"))
    assert TABLE.code("finding.short", True) == 1
    rows = TABLE.rows([{"answer.hiss": "quiet"}, {}, {"margin.inlet": -3.5}])
    assert rows.shape == (3, len(KNOWLEDGE.facts))
    assert rows[0, TABLE.columns["answer.hiss"]] == 1
    assert rows[2, TABLE.columns["margin.inlet"]] == -3.5
    assert np.isnan(rows[1]).all()
    assert np.isnan(rows).sum() == rows.size - 2


@pytest.mark.parametrize(
    ("when", "value", "holds"),
    [
        ("{fact: margin.inlet, below: 5}", 4.9, True),
        ("{fact: margin.inlet, below: 5}", 5.0, False),
        ("{fact: margin.inlet, at_most: 5}", 5.0, True),
        ("{fact: margin.inlet, at_most: 5}", 5.1, False),
        ("{fact: margin.inlet, above: 5}", 5.1, True),
        ("{fact: margin.inlet, above: 5}", 5.0, False),
        ("{fact: margin.inlet, at_least: 5}", 5.0, True),
        ("{fact: margin.inlet, at_least: 5}", 4.9, False),
        ("{fact: margin.inlet, at_least: 1, below: 5}", 3.0, True),
        ("{fact: margin.inlet, at_least: 1, below: 5}", 0.9, False),
        ("{fact: margin.inlet, at_least: 1, below: 5}", 5.0, False),
        ("{not: {fact: margin.inlet, below: 5}}", 5.0, True),
        ("{not: {fact: margin.inlet, below: 5}}", 4.9, False),
        ("{not: {fact: margin.inlet, below: 5}}", None, False),
        ("{fact: margin.inlet, below: 5}", None, False),
    ],
)
def test_numbers_are_compared_as_written_and_an_unknown_one_makes_nothing_true(
    when: str, value: float | None, holds: bool
) -> None:
    facts = {} if value is None else {"margin__inlet": value}
    assert fires(with_rule(when), **facts) is holds


@pytest.mark.parametrize(
    ("when", "holds"),
    [
        ("{fact: level.sealed.inlet, is: low}", {"low"}),
        ("{fact: level.sealed.inlet, is_not: low}", {"fine", "absurd"}),
        ("{fact: level.sealed.inlet, one_of: [low, absurd]}", {"low", "absurd"}),
        ("{fact: level.sealed.inlet, none_of: [low, absurd]}", {"fine"}),
        ("{not: {fact: level.sealed.inlet, is: low}}", {"fine", "absurd"}),
        ("{not: {fact: level.sealed.inlet, is_not: low}}", {"low"}),
    ],
)
def test_words_are_compared_as_written_and_an_unknown_one_makes_nothing_true(
    when: str, holds: set[str]
) -> None:
    table = with_rule(when)
    found = {word for word in ("low", "fine", "absurd") if fires(table, level__sealed__inlet=word)}
    assert found == holds
    assert not fires(table)


def test_all_wants_every_part_and_any_wants_one() -> None:
    low, hiss = "{fact: level.sealed.inlet, is: low}", "{fact: answer.hiss, is: hissing}"
    for joined, wanted in (
        ("all", (True, False, False, False)),
        ("any", (True, True, True, False)),
    ):
        table = with_rule(f"{{{joined}: [{low}, {hiss}]}}")
        for (level, heard), holds in zip(
            (("low", "hissing"), ("low", "quiet"), ("fine", "hissing"), ("fine", "quiet")),
            wanted,
            strict=True,
        ):
            assert fires(table, level__sealed__inlet=level, answer__hiss=heard) == holds


def test_a_denied_all_holds_where_one_part_fails_and_a_denied_any_where_all_do() -> None:
    low, hiss = "{fact: level.sealed.inlet, is: low}", "{fact: answer.hiss, is: hissing}"
    none = with_rule(f"{{not: {{any: [{low}, {hiss}]}}}}")
    some = with_rule(f"{{not: {{all: [{low}, {hiss}]}}}}")
    assert fires(none, level__sealed__inlet="fine", answer__hiss="quiet")
    assert not fires(none, level__sealed__inlet="low", answer__hiss="quiet")
    assert fires(some, level__sealed__inlet="low", answer__hiss="quiet")
    assert not fires(some, level__sealed__inlet="low", answer__hiss="hissing")


def test_what_one_rule_finds_another_uses_in_the_same_row_only() -> None:
    low = {"level.sealed.inlet": "low", "answer.hiss": "hissing"}
    rows = TABLE.rows([low, {**low, "level.sealed.inlet": "fine"}])
    fired = TABLE.fire(rows)
    column = TABLE.rule_ids.index("hiss-when-short")
    assert fired[:, column].tolist() == [True, False]
    assert rows[0, TABLE.columns["finding.short"]] == 1
    assert np.isnan(rows[1, TABLE.columns["finding.short"]])


def test_only_the_rules_asked_for_are_looked_at() -> None:
    rows = TABLE.rows([{"level.sealed.inlet": "low", "answer.seal-look": "torn"}])
    fired = TABLE.fire(rows, ["torn"])[0]
    assert [TABLE.rule_ids[index] for index in np.flatnonzero(fired)] == ["torn"]
    assert np.isnan(rows[0, TABLE.columns["finding.short"]])


def test_evidence_is_weighed_as_by_hand() -> None:
    # Jeffreys' grades: substantial is a factor of 10^0.5, very strong 10^1.5, decisive 100; against
    # divides. What readings alone say is not the table's to weigh.
    low = {"level.sealed.inlet": "low", "level.working.hose": "low"}
    rows = TABLE.rows(
        [
            {**low, "answer.hiss": "hissing", "answer.seal-look": "torn"},
            {"answer.seal-look": "whole"},
            low,
            {},
        ]
    )
    weights = TABLE.weigh(TABLE.fire(rows))
    assert weights.shape == (4, len(FAULTS))
    assert weights[0, FAULTS["seal-torn"]] == pytest.approx(SUBSTANTIAL + DECISIVE)
    assert weights[0, FAULTS["motor-worn"]] == 0
    assert weights[1, FAULTS["seal-torn"]] == pytest.approx(-VERY_STRONG)
    assert weights[1, FAULTS["hose-clogged"]] == 0
    assert not weights[2:].any()


def test_a_fault_named_twice_by_one_rule_is_weighed_twice() -> None:
    text = SMALL.replace(
        "then: [{for: seal-torn, strength: decisive}]",
        "then: [{for: seal-torn, strength: strong}, {for: leak, strength: strong}]",
    )
    assert text != SMALL
    table = RuleTable(small(text))
    weights = table.weigh(table.fire(table.rows([{"answer.seal-look": "torn"}])))
    assert weights[0, FAULTS["seal-torn"]] == pytest.approx(2 * STRONG)


def test_a_rule_set_is_compiled_once() -> None:
    assert rule_table(KNOWLEDGE) is rule_table(KNOWLEDGE)


def test_one_thing_seen_in_several_ways_counts_once_and_by_the_strongest() -> None:
    # Torn says 100 for the torn seal, hissing 10^0.5; a look against it still divides.
    text = SMALL
    for name in ("torn", "whole", "hiss-when-short"):
        text = text.replace(f"  - id: {name}\n", f"  - id: {name}\n    once: leak-seen\n")
    assert text.count("once:") == 3
    table = RuleTable(small(text))
    low = {"level.sealed.inlet": "low", "level.working.hose": "low"}
    rows = table.rows(
        [
            {**low, "answer.hiss": "hissing", "answer.seal-look": "torn"},
            {**low, "answer.hiss": "hissing", "answer.seal-look": "whole"},
            {**low, "answer.hiss": "hissing"},
        ]
    )
    weights = table.weigh(table.fire(rows))[:, FAULTS["seal-torn"]]
    assert weights[0] == pytest.approx(DECISIVE)
    assert weights[1] == pytest.approx(SUBSTANTIAL - VERY_STRONG)
    assert weights[2] == pytest.approx(SUBSTANTIAL)
