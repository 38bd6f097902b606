"""Which conclusions hang on which number is told by drawing the numbers."""

from __future__ import annotations

import numpy as np
import pytest

from stillflow.casebook.beliefs import ManyVisits
from stillflow.casebook.cases import load_cases
from stillflow.casebook.doubt import RANGES, _correlations, case_calls, doubt
from stillflow.casebook.generated import GeneratedVisit, draw_kinds, generate
from stillflow.engine import load_rules
from stillflow.engine.ruleset import Knowledge


@pytest.fixture(scope="module")
def shipped() -> Knowledge:
    return load_rules()


@pytest.fixture(scope="module")
def calls(shipped: Knowledge) -> list[GeneratedVisit]:
    generator = np.random.default_rng(5)
    return list(generate(draw_kinds(shipped, generator, 1), generator, 60, together=True))


def test_numbers_that_are_not_moved_leave_the_belief_as_it_is(
    shipped: Knowledge, calls: list[GeneratedVisit]
) -> None:
    worked = ManyVisits(calls).worked_out(shipped)
    still = worked.believed(np.zeros(len(worked.numbers)))
    assert still == pytest.approx(worked.believed())
    assert {kind for kind, _ in worked.numbers} == {*RANGES}


def test_how_common_a_fault_is_moves_its_odds_by_just_that(
    shipped: Knowledge, calls: list[GeneratedVisit]
) -> None:
    worked = ManyVisits(calls).worked_out(shipped)
    moved = np.zeros(len(worked.numbers))
    moved[worked.numbers.index(("how common", "hose-clogged"))] = np.log(3.0)
    column = shipped.fault_index["hose-clogged"]
    before, after = (one[:, column] for one in (worked.believed(), worked.believed(moved)))
    assert after / (1 - after) == pytest.approx(3.0 * before / (1 - before), rel=1e-6)


def test_a_strength_moves_only_the_visits_on_which_its_rule_can_fire(
    shipped: Knowledge, calls: list[GeneratedVisit]
) -> None:
    worked = ManyVisits(calls).worked_out(shipped)
    moved = np.zeros(len(worked.numbers))
    moved[worked.numbers.index(("strength", "slider-look-open"))] = 0.5
    changed = np.abs(worked.believed(moved) - worked.believed()).max(axis=1) > 1e-12
    asked = np.array(["slider-look" in one.answers for one in calls])
    assert changed.any()
    assert not changed[~asked].any()


def test_squared_correlations_are_first_order_indices_of_what_is_additive() -> None:
    generator = np.random.default_rng(0)
    drawn = generator.uniform(-1, 1, (20_000, 3))
    result = drawn @ np.array([[3.0], [4.0], [0.0]])
    # Sobol's index of a sum is each term's share of the variance: 9, 16 and 0 of 25.
    assert (_correlations(drawn, result) ** 2)[:, 0] == pytest.approx([0.36, 0.64, 0.0], abs=0.02)


def test_what_flips_is_told_with_what_it_hangs_on(
    shipped: Knowledge, calls: list[GeneratedVisit]
) -> None:
    cases = list(case_calls(load_cases()[:2], shipped))
    assert [one.hidden for one in cases] == [one.name for one in load_cases()[:2]]
    found = doubt([*cases, *calls], shipped, np.random.default_rng(1), 50)
    assert found.items == len(calls) + 2
    assert found.shaky
    assert all(0 < one.flips <= 1 for one in found.shaky)
    assert [one.flips for one in found.shaky] == sorted(
        (one.flips for one in found.shaky), reverse=True
    )
    named = {(one.kind, one.entry) for one in found.held}
    assert {(kind, entry) for one in found.shaky for kind, entry, _ in one.numbers} <= named
    again = doubt([*cases, *calls], shipped, np.random.default_rng(1), 50)
    assert again == found
