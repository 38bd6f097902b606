"""The parts of the planner one by one: states counted, doubt priced, tables laid flat."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from frozen import changeable

from stillflow.engine.base.errors import InputError
from stillflow.engine.planning.choice import _EFFORTS
from stillflow.engine.planning.exact import count_states
from stillflow.engine.planning.lookahead import DoubtPrice, Effort, Rows
from stillflow.engine.planning.problem import Problem, information

SHARP = [[0.9, 0.1], [0.1, 0.9], [0.5, 0.5]]
TELLS_NOTHING = [[0.2, 0.3, 0.5]] * 3


def three_faults() -> Problem:
    """Two checks, one that tells nothing; the first two fixes share an access."""
    return Problem(
        priors=[0.5, 0.3, 0.2],
        fix_minutes=[10.0, 20.0, 30.0],
        check_minutes=[1.0, 2.0],
        answers=[SHARP, TELLS_NOTHING],
        access=[0, None],
        access_minutes=[4.0],
        fix_access=[0, 0, None],
        wrong_fix_minutes=[0.0, 5.0, 7.0],
    )


def rows(belief: list[float], free: list[bool]) -> Rows:
    return Rows(np.array([belief]), np.array([[4.0, 0.0]]), np.array([free]), np.array([0]))


def test_states_are_answers_or_none_of_each_check_that_tells_times_fixes_tried() -> None:
    tables = three_faults().tables
    # One check of two answers tells: (2 + 1) states; three faults, each tried or not: 2^3.
    assert count_states(tables, rows([0.5, 0.3, 0.2], [True, True])) == 3 * 8
    assert count_states(tables, rows([0.5, 0.3, 0.2], [False, True])) == 8
    # Among fewer faults fewer answers tell: with one left none does.
    assert count_states(tables, rows([0.5, 0.3, 0.0], [True, True])) == 3 * 4
    assert count_states(tables, rows([0.5, 0.0, 0.0], [True, True])) == 2


def test_doubt_costs_by_the_bit_and_no_less_than_a_check() -> None:
    price = DoubtPrice(bit=6.0, least=2.0)
    weight = np.array([1.0, 1.0, 0.5])
    assert price.of(np.array([1.0, 0.1, 0.0]), weight).tolist() == [6.0, 2.0, 0.0]


def test_doubt_that_no_check_can_settle_has_no_price() -> None:
    price = DoubtPrice(bit=float("inf"), least=float("inf"))
    assert price.of(np.array([0.5, 0.0]), np.ones(2)).tolist() == [float("inf"), 0.0]


def test_information_is_w_log2_w_and_nothing_for_nothing() -> None:
    assert information(np.array([0.5, 0.25, 1.0, 0.0])).tolist() == [-0.5, -0.5, 0.0, 0.0]


def test_tables_are_laid_flat_answer_by_answer() -> None:
    tables = three_faults().tables
    assert tables.count.tolist() == [2, 3]
    assert tables.first.tolist() == [0, 2]
    assert tables.owner.tolist() == [0, 0, 1, 1, 1]
    assert tables.likelihood[0].tolist() == [0.9, 0.1, 0.5]
    # The first check opens what the first two fixes need.
    assert tables.onward[0, :3].tolist() == [0.0, 0.0, 0.5]
    # The third fix needs nothing opened, so nothing is left to open for it.
    assert tables.onward[2, :3].tolist() == pytest.approx([0.2, 0.2, 0.0])
    assert tables.surprise == pytest.approx(information(tables.likelihood))
    assert tables.check_group.tolist() == [0, 1]
    assert tables.fix_group.tolist() == [0, 0, 1]
    assert tables.access_minutes.tolist() == [4.0, 0.0]


def test_the_price_of_a_wrong_part_is_staked_and_given_back_for_the_right_one() -> None:
    tables = three_faults().tables
    assert tables.stake.tolist() == [10.0, 25.0, 37.0]
    assert tables.refund.tolist() == [0.0, 5.0, 7.0]


def test_fixes_that_share_an_access_stand_together() -> None:
    tables = three_faults().tables
    assert tables.alone.tolist() == [2]
    assert tables.shared_group.tolist() == [0]
    assert tables.shared.tolist() == [[0, 1]]
    assert tables.shared_stake.tolist() == [[10.0, 25.0]]


def test_a_crowd_smaller_than_the_largest_is_filled_up_with_no_fault() -> None:
    problem = Problem(
        priors=[0.2] * 5,
        fix_minutes=[1.0, 2.0, 3.0, 4.0, 5.0],
        check_minutes=[],
        answers=[],
        access=[],
        access_minutes=[4.0, 6.0, 8.0],
        fix_access=[0, 0, 0, 1, 1],
    )
    tables = problem.tables
    assert tables.shared_group.tolist() == [0, 1]
    assert tables.shared.tolist() == [[0, 1, 2], [3, 4, 5]]
    assert tables.shared_stake.tolist() == [[1.0, 2.0, 3.0], [4.0, 5.0, 1.0]]
    assert tables.alone.tolist() == []


@pytest.mark.parametrize("bad", [-0.1, float("nan")])
def test_a_chance_that_cannot_be_names_the_check_it_stands_in(bad: float) -> None:
    table = [[0.5, 0.5], [1.0 - bad, bad], [0.5, 0.5]]
    with pytest.raises(InputError, match="the table of answers of check 1 holds a negative"):
        Problem(
            priors=[0.5, 0.3, 0.2],
            fix_minutes=[1.0, 1.0, 1.0],
            check_minutes=[1.0, 1.0],
            answers=[SHARP, table],
            access=[None, None],
            access_minutes=[],
        )


def test_thinking_harder_looks_further_at_the_factors_the_benchmarks_settled() -> None:
    # tests/benchmarks/bench_planner.py chose them on one set of problems and reports another.
    steps = [_EFFORTS[name].steps for name in ("quick", "normal", "deep")]
    assert all(less < more for less, more in pairwise(steps))
    assert [_EFFORTS[name].doubt_factor for name in _EFFORTS] == [2.0, 2.5, 3.0]
    effort = Effort(steps=3, doubt_factor=3.0)
    assert (effort.shortlist, effort.checks, effort.fixes) == (6, 5, 3)
    assert effort.later() == Effort(steps=2, doubt_factor=3.0)


def test_nothing_of_a_problem_can_be_changed_by_accident() -> None:
    assert changeable("stillflow.engine.planning") == set()


def test_what_a_check_closes_is_paid_anew_by_the_fix_behind_it() -> None:
    """The first check closes what the first fix needs; the second closes it, and opens it again."""
    problem = Problem(
        priors=[0.5, 0.5],
        fix_minutes=[10.0, 10.0],
        check_minutes=[1.0, 1.0],
        answers=[[[0.9, 0.1], [0.2, 0.8]]] * 2,
        access=[None, 0],
        access_minutes=[4.0],
        fix_access=[0, None],
        closes=np.array([[True], [True]]),
    )
    still, anew = problem.tables.onward[:, :2], problem.tables.onward[:, 2:4]
    # Rows are answers: two of the first check, two of the second; columns are fixes.
    assert still.tolist() == [[0.0, 0.0], [0.0, 0.0], [0.0, 0.2], [0.0, 0.8]]
    assert anew.tolist() == [[0.9, 0.0], [0.1, 0.0], [0.0, 0.0], [0.0, 0.0]]
    assert problem.tables.closes.tolist() == [[True, False], [True, False]]


def test_a_problem_is_printed_as_it_was_posed() -> None:
    said = repr(three_faults())
    assert said.startswith("Problem(priors=")
    assert "_likelihood" not in said
    assert "_group" not in said
