"""Reading conditions case by case agrees with trying everything."""

from __future__ import annotations

from itertools import pairwise, product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_rules import SMALL, small

from stillflow.engine.audit.logic import Logic
from stillflow.engine.audit.shares import agree, level_intervals
from stillflow.engine.base.scales import AirState, Station
from stillflow.engine.base.vocabulary import KEPT_PAIRS
from stillflow.engine.inference.baseline import baseline_for
from stillflow.engine.inference.facts import reading_facts
from stillflow.engine.inference.visit import Unit, Visit
from stillflow.engine.ruleset.conditions import Condition, FactValue, truth
from stillflow.engine.ruleset.knowledge import Knowledge

# Facts that do not depend on each other, with a value in each of their cells.
VALUES: dict[str, list[FactValue]] = {
    "answer.hiss": ["hissing", "quiet"],
    "answer.seal-look": ["whole", "torn"],
    "unit.age_years": [1.0, 2.0, 3.0, 5.0, 6.0],
}

LEAVES = [
    {"fact": "answer.hiss", "is": "quiet"},
    {"fact": "answer.hiss", "is_not": "quiet"},
    {"fact": "answer.seal-look", "one_of": ["whole", "torn"]},
    {"fact": "answer.seal-look", "none_of": ["torn"]},
    {"fact": "unit.age_years", "below": 2},
    {"fact": "unit.age_years", "at_least": 2, "at_most": 5},
    {"fact": "unit.age_years", "above": 5},
    {"fact": "unit.age_years", "is": 2},
]

TREES = st.recursive(
    st.sampled_from(LEAVES),
    lambda inner: st.one_of(
        st.builds(lambda parts: {"all": parts}, st.lists(inner, min_size=1, max_size=3)),
        st.builds(lambda parts: {"any": parts}, st.lists(inner, min_size=1, max_size=3)),
        st.builds(lambda part: {"not": part}, inner),
    ),
    max_leaves=6,
)


def with_rules(*conditions: Any) -> Knowledge:
    """The small rules and one rule per condition, named r0, r1 and so on."""
    text = SMALL
    for number, condition in enumerate(conditions):
        text += f"""
  - id: r{number}
    when: {condition}
    then: [{{for: seal-torn, strength: slight}}]
    because: It is said.
    weighed: It is invented.
    source: common-practice
"""
    return small(text)


def holds(condition: Condition, facts: dict[str, FactValue]) -> bool:
    return truth(condition, facts) is True


def situations() -> list[dict[str, FactValue]]:
    options = [[None, *values] for values in VALUES.values()]
    return [
        {name: value for name, value in zip(VALUES, chosen, strict=True) if value is not None}
        for chosen in product(*options)
    ]


@settings(max_examples=150, deadline=None)
@given(TREES)
def test_a_rule_can_fire_exactly_when_some_facts_make_it_true(tree: Any) -> None:
    knowledge = with_rules(tree)
    able = any(holds(knowledge.rules["r0"].when, facts) for facts in situations())
    assert ("r0" in Logic(knowledge).firing) is able


@settings(max_examples=150, deadline=None)
@given(TREES, TREES)
def test_a_case_means_a_rule_exactly_when_it_fires_on_all_its_facts(one: Any, other: Any) -> None:
    knowledge = with_rules(one, other)
    logic = Logic(knowledge)
    for case in logic.cases("r0"):
        within = [
            facts
            for facts in situations()
            if facts.keys() == case.keys()
            and all(cell_of(logic, name, value) & case[name] for name, value in facts.items())
        ]
        assert within
        always = all(holds(knowledge.rules["r1"].when, facts) for facts in within)
        assert logic.means(case, "r1") is always


def cell_of(logic: Logic, fact: str, value: FactValue) -> int:
    """The cell a value lies in, as a bit."""
    bits = [1 << n for n in range(logic.cells.whole(fact).bit_length())]
    if isinstance(value, str):
        return next(bit for bit in bits if value in logic.cells.words(fact, bit))
    for bit in bits:
        (low, low_open), (high, high_open) = logic.cells.interval(fact, bit)
        number = float(value)
        if (low < number or (low == number and not low_open)) and (
            number < high or (number == high and not high_open)
        ):
            return bit
    raise AssertionError(f"{fact} {value} is in no cell")


LIMITS = (
    "{any: [{fact: share.sealed.inlet, below: 0.5}, {fact: share.sealed.inlet, above: 0.9},"
    " {fact: kept.sealed.unit-inlet, below: 0.85}, {fact: kept.sealed.unit-inlet, at_least: 1},"
    " {fact: kept.sealed.inlet-hose, at_most: 0.93}, {fact: kept.sealed.unit-utility, above: 1}]}"
)
READINGS = small(
    SMALL
    + f"""
  - id: limits
    when: {LIMITS}
    then: [{{for: seal-torn}}]
    because: It is said.
    source: common-practice
"""
)
LOGIC = Logic(READINGS)
BASELINES = {
    "class": baseline_for(Visit(), READINGS),
    "rated": baseline_for(Visit(unit=Unit(rated_sealed=120, rated_airflow=110)), READINGS),
}


@settings(max_examples=200, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from(list(Station)), st.just(0.0) | st.floats(0.1, 150.0), min_size=1
    ),
    st.sampled_from(sorted(BASELINES)),
    st.data(),
)
def test_what_is_true_of_real_readings_is_never_called_impossible(
    sealed: dict[Station, float], origin: str, data: st.DataObject
) -> None:
    baseline = BASELINES[origin]
    taken = {(AirState.SEALED, station): value for station, value in sealed.items()}
    facts = {**reading_facts(taken, baseline, READINGS.levels), "baseline.from": origin}
    kept = data.draw(st.sets(st.sampled_from(sorted(facts))))
    case = {name: cell_of(LOGIC, name, facts[name]) for name in kept}
    assert LOGIC.possible(case)


def test_ratios_carry_through_a_third_station() -> None:
    good, low = (0.93, 0), (0.55, 0)
    shares = {"unit": (good, (1.07, -1)), "hose": (low, (0.82, -1))}
    tight = ((0.95, 0), (float("inf"), -1))
    # .93 x .95 x .95 is .84, which is more than any low hose end has.
    assert not agree(shares, {("unit", "inlet"): tight, ("inlet", "hose"): tight})
    loose = ((0.9, 0), (float("inf"), -1))
    assert agree(shares, {("unit", "inlet"): loose, ("inlet", "hose"): loose})


@pytest.mark.parametrize("wide", [False, True])
def test_the_levels_cover_every_share_once(wide: bool) -> None:
    spans = list(level_intervals(READINGS.levels, wide).values())
    assert spans[0][0] == (0.0, 0)
    assert spans[-1][1][0] == float("inf")
    for before, after in pairwise(spans):
        assert before[1] == (after[0][0], -1)


def test_every_pair_of_stations_is_read() -> None:
    for near, far in KEPT_PAIRS:
        knowledge = with_rules(
            f"{{all: [{{fact: level.working.{near}, is: fine}},"
            f" {{fact: level.working.{far}, is: low}},"
            f" {{fact: kept.working.{near}-{far}, above: 1}}]}}"
        )
        assert "r0" not in Logic(knowledge).firing
