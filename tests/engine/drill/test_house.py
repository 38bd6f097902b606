"""Drill houses: the same for everybody, with what was asked for hidden in them."""

from __future__ import annotations

from collections import Counter

import pytest
from drill_houses import RULES
from small_rules import SMALL, small

from stillflow.engine import load_rules
from stillflow.engine.base import HowCommon, InputError
from stillflow.engine.drill import Order, build_house

SHIPPED = load_rules()


def test_a_seed_gives_the_house_that_it_gives_on_every_machine() -> None:
    small_rules = small(SMALL)
    digests = [build_house(small_rules, Order(7, level)).digest for level in (1, 2, 3)]
    assert digests == ["fd81b200000a", "e684216a498d", "6df00f0bf5cd"]


def test_another_seed_or_level_gives_another_house() -> None:
    orders = [Order(seed, level) for seed in (1, 2) for level in (1, 2, 3)]
    assert len({build_house(SHIPPED, order).digest for order in orders}) == len(orders)


def test_answers_do_not_hang_on_what_was_asked_before() -> None:
    house = build_house(SHIPPED, Order(5, 2))
    checks = [one for one in SHIPPED.checks.values() if one.kind == "reading"]
    forwards = {one.id: house.fresh().answer(one) for one in checks}
    other = house.fresh()
    assert {one.id: other.answer(one) for one in reversed(checks)} == forwards
    # Asked again it is another try of the gauge.
    again = [{one.id: other.answer(one) for one in checks} for _ in range(3)]
    assert any(one != forwards for one in again)


def test_an_easy_house_hides_one_common_fault_that_is_mended_and_answers_truly() -> None:
    for seed in range(30):
        house = build_house(SHIPPED, Order(seed, 1))
        (name,) = house.call.faults
        fault = SHIPPED.faults[name]
        assert fault.how_common in (HowCommon.COMMON, HowCommon.VERY_COMMON)
        assert not fault.fix.refer
        check = SHIPPED.checks["slider-look"]
        impossible = [
            answer
            for answer, chance in zip(check.answer_ids, house.call.chances(check), strict=True)
            if chance == 0.0
        ]
        assert house.answer(check) not in impossible
        assert house.call.wrong_share == 0.0


def test_the_hard_house_hides_two_and_any_other_one() -> None:
    assert all(len(build_house(SHIPPED, Order(s, 3)).call.faults) == 2 for s in range(6))
    assert all(len(build_house(SHIPPED, Order(s, 2)).call.faults) == 1 for s in range(6))


def test_answers_mislead_as_often_as_each_check_says() -> None:
    house = build_house(SHIPPED, Order(3, 2, "bag-full"))
    check = SHIPPED.checks["bag-look"]
    honest = house.call.chances(check)
    given = Counter(str(house.answer(check)) for _ in range(3000))
    full = honest[check.answer_ids.index("full")]
    others = [one for one, p in zip(check.answer_ids, honest, strict=True) if p > 0]
    wanted = full * (1 - check.mistaken) + (1 - full) * check.mistaken / (len(others) - 1)
    assert abs(given["full"] / 3000 - wanted) < 4 * (wanted * (1 - wanted) / 3000) ** 0.5
    assert 1 - given["full"] / 3000 > 0


def test_what_the_trainer_asks_for_is_in_the_house() -> None:
    order = Order(11, 2, "bag-full", "weaker-over-weeks")
    house = build_house(SHIPPED, order)
    assert house.call.faults == ("bag-full",)
    assert house.complaint == "Weaker and weaker over weeks"
    (event,) = house.visit.events
    assert (event.check, event.answer) == ("how-began", "over-weeks")


def test_what_the_customer_says_is_what_the_house_answers() -> None:
    for seed in range(12):
        house = build_house(SHIPPED, Order(seed, 2))
        for event in house.visit.events:
            assert house.fresh().answer(SHIPPED.checks[str(event.check)]) == event.answer


@pytest.mark.parametrize(
    ("order", "key"),
    [
        (Order(1, 1, "bag-ful"), "bag-full"),
        (Order(1, 1, "", "weak-everywher"), "weak-everywhere"),
        (Order(-1), "whole number"),
        (Order(1, 2, "hose-clogged", "stops-when-hot"), "another level"),
        (Order(1, 3, "nothing-wrong"), "one fault only"),
    ],
)
def test_what_cannot_be_is_one_line_that_says_what_can(order: Order, key: str) -> None:
    with pytest.raises(InputError, match=key):
        build_house(SHIPPED, order)


def test_some_houses_hold_a_danger_and_only_the_first_question_shows_it() -> None:
    dangers = [build_house(RULES, Order(seed)).danger for seed in range(150)]
    assert 5 <= len([one for one in dangers if one]) <= 30
    assert set(dangers) == {"", "smoke"}
    for seed in (dangers.index("smoke"), dangers.index("")):
        house = build_house(RULES, Order(seed))
        assert house.answer(RULES.checks["danger"]) == ("smoke" if house.danger else "none")


def test_a_house_keeps_its_digest_whatever_is_mended_in_it() -> None:
    house = build_house(SHIPPED, Order(4, 3))
    before = house.digest
    for fault in house.call.faults:
        house.call.repair(fault)
    assert not house.call.remaining
    assert house.digest == before
