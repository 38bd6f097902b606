"""What may be asked at a point of a visit: tools at hand, the house, order, follow-ups."""

from __future__ import annotations

import pytest
from small_rules import SMALL, small

from stillflow.engine.base import Station
from stillflow.engine.base.vocabulary import answer_fact
from stillflow.engine.dialogue.askable import Askable
from stillflow.engine.ruleset import Footing
from stillflow.engine.ruleset.knowledge import Knowledge


def with_line(check_id: str, line: str) -> Knowledge:
    """The small rules with one more line in a check."""
    mark = f"  - id: {check_id}\n"
    assert mark in SMALL
    return small(SMALL.replace(mark, f"{mark}    {line}\n", 1))


def ids(askable: Askable, facts: dict[str, bool | float | str] | None = None) -> list[str]:
    return [check.id for check in askable.choices({}, facts or {})]


def test_a_check_without_its_tool_is_nowhere() -> None:
    knowledge = with_line("seal-look", "first: true")
    both = Askable(knowledge)
    without = Askable(with_line("seal-look", "tools: [mirror]"), ["gauge", "mirror"])
    assert both.possible(knowledge.checks["sealed-inlet"], {})
    assert not without.possible(knowledge.checks["sealed-inlet"], {})
    assert ids(without) == ["hiss"]


def test_what_the_house_forbids_is_not_possible_and_what_is_not_known_is() -> None:
    knowledge = with_line("hiss", "possible_when: {fact: unit.motors, at_least: 2}")
    askable, hiss = Askable(knowledge), knowledge.checks["hiss"]
    assert askable.possible(hiss, {"unit.motors": 2.0})
    assert askable.possible(hiss, {})
    assert not askable.possible(hiss, {"unit.motors": 1.0})
    assert "hiss" in [one.id for one in askable.choices({}, {})]
    assert "hiss" not in [one.id for one in askable.choices({"unit.motors": 1.0}, {})]


def test_the_planner_chooses_among_readings_and_looks_but_not_the_customers_word() -> None:
    assert ids(Askable(small())) == [
        "hiss",
        "seal-look",
        "sealed-inlet",
        "working-hose",
        "working-inlet",
    ]


def test_a_follow_up_is_asked_only_once_its_condition_is_certainly_true() -> None:
    askable = Askable(with_line("hiss", "asked_when: {fact: answer.seal-look, is: torn}"))
    assert "hiss" not in ids(askable)
    assert "hiss" not in ids(askable, {answer_fact("seal-look"): "whole"})
    assert "hiss" in ids(askable, {answer_fact("seal-look"): "torn"})


def test_what_comes_first_comes_until_it_is_closed_or_cannot_be() -> None:
    text = SMALL
    for name in ("hiss", "seal-look"):
        text = text.replace(f"  - id: {name}\n", f"  - id: {name}\n    first: true\n", 1)
    askable = Askable(small(text))
    order = []
    closed: set[str] = set()
    while (check := askable.first({}, closed)) is not None:
        order.append(check.id)
        closed.add(check.id)
    assert order == ["hiss", "seal-look"]
    assert Askable(small()).first({}, ()) is None
    forbidden = Askable(
        small(
            text.replace(
                "  - id: hiss\n", "  - id: hiss\n    possible_when: {fact: unit.motors, is: 2}\n"
            )
        )
    )
    first = forbidden.first({"unit.motors": 1.0}, ())
    assert first is not None
    assert first.id == "seal-look"


@pytest.mark.parametrize(
    ("closed", "missing", "gauge", "wanted"),
    [
        ((), (), None, "sealed-inlet"),
        ((), (), Station.HOSE, "working-hose"),
        ((), (), Station.INLET, "sealed-inlet"),
        (("sealed-inlet",), (), None, "working-hose"),
        (("working-hose",), (), Station.HOSE, "sealed-inlet"),
        (("sealed-inlet", "working-hose"), (), None, None),
        ((), ("gauge",), None, None),
    ],
)
def test_of_what_must_be_known_before_a_fix_the_nearest_is_asked_first(
    closed: tuple[str, ...], missing: tuple[str, ...], gauge: Station | None, wanted: str | None
) -> None:
    knowledge = with_line("working-hose", "set_up: 1.5")
    fault = knowledge.faults["nothing-wrong"]
    standing = Footing(gauge=gauge)
    check = Askable(knowledge, missing).to_confirm(fault, {}, closed, standing)
    assert (check.id if check else None) == wanted
    other = knowledge.faults["hose-clogged"]
    assert Askable(knowledge).to_confirm(other, {}, (), standing) is None
