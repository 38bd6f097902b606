"""The face of the planner: what it refuses, what it chooses, and what it says about the choice."""

from __future__ import annotations

import importlib
import sys
from dataclasses import replace
from itertools import permutations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stillflow.engine.base.errors import InputError
from stillflow.engine.planning.choice import Think, next_action
from stillflow.engine.planning.problem import Problem
from stillflow.engine.planning.repair import (
    fix_priority,
    repair_at_least,
    repair_at_most,
    repair_minutes,
)

sys.path.append(str(Path(__file__).parents[2] / "benchmarks"))
drawn: Any = importlib.import_module("drawn_problems")
exact: Any = importlib.import_module("exact")
calls: Any = importlib.import_module("calls")
policies: Any = importlib.import_module("policies")

THINK: tuple[Think, ...] = ("quick", "normal", "deep")


def two_faults(**changes: Any) -> Problem:
    """One cheap sharp check, one dear blunt one behind an access."""
    values: dict[str, Any] = {
        "priors": [0.6, 0.4],
        "fix_minutes": [30.0, 40.0],
        "check_minutes": [2.0, 5.0],
        "answers": [[[0.95, 0.05], [0.05, 0.95]], [[0.6, 0.4], [0.4, 0.6]]],
        "access": [None, 0],
        "access_minutes": [10.0],
    }
    return Problem(**{**values, **changes})


@st.composite
def problems(pick: st.DrawFn, most_faults: int = 4, most_checks: int = 3) -> Problem:
    """Small problems of every kind: noise-free and noisy, with groups on checks and fixes."""
    rng = np.random.default_rng(pick(st.integers(0, 2**32 - 1)))
    faults = pick(st.integers(1, most_faults))
    checks = pick(st.integers(0, most_checks))
    groups = pick(st.integers(0, 2))
    answers = []
    for _ in range(checks):
        size = int(rng.integers(1, 4))
        table = rng.dirichlet(np.full(size, 0.5), size=faults)
        answers.append(np.eye(size)[table.argmax(axis=1)] if rng.random() < 0.3 else table)

    def some(size: int) -> list[int | None]:
        return [
            int(rng.integers(groups)) if groups and rng.random() < 0.6 else None
            for _ in range(size)
        ]

    return Problem(
        priors=rng.dirichlet(np.full(faults, 1.0)),
        fix_minutes=rng.uniform(0, 40, faults).round(),
        check_minutes=rng.uniform(0, 6, checks).round(1),
        answers=answers,
        access=some(checks),
        access_minutes=rng.uniform(0, 10, groups).round(),
        fix_access=some(faults),
        wrong_fix_minutes=rng.uniform(0, 30, faults).round() if rng.random() < 0.5 else None,
    )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"priors": [0.6, 0.3]}, r"priors adds up to 0\.9; it should add up to 1"),
        ({"priors": []}, "priors is empty"),
        ({"priors": [1.4, -0.4]}, "priors holds a negative"),
        ({"priors": ["often", "rarely"]}, "priors is not a list of numbers"),
        ({"fix_minutes": [30.0]}, r"fix_minutes has shape \(1,\); it should be \(2,\)"),
        ({"fix_minutes": [30.0, float("nan")]}, "fix_minutes holds a negative or missing number"),
        ({"check_minutes": [[2.0, 5.0]]}, "check_minutes has shape"),
        ({"check_minutes": [2.0]}, "answers has 2 entries; there are 1 checks"),
        ({"answers": [[[1.0], [1.0]], [[1.0, 0.0]]]}, "the table of answers of check 1 has shape"),
        (
            {"answers": [[[0.5, 0.5], [0.5, 0.4]], [[1.0], [1.0]]]},
            "answers of check 0, given fault 1, add up to 0.9",
        ),
        ({"access": [None]}, "access has 1 entries; there are 2 checks"),
        ({"access": [None, 1]}, "access names group 1; use None or a number below 1"),
        ({"fix_access": [-1, None]}, "fix_access names group -1"),
        ({"wrong_fix_minutes": [1.0]}, r"wrong_fix_minutes has shape \(1,\)"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused_in_words(
    changes: dict[str, Any], words: str
) -> None:
    with pytest.raises(InputError, match=words):
        two_faults(**changes)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"belief": [1.0]}, r"belief has shape \(1,\)"),
        ({"belief": [0.0, 0.0]}, "rules out every fault"),
        ({"belief": [1.0, -0.5]}, "rules out every fault"),
        ({"opened": [1]}, "opened names number 1"),
        ({"done": [2]}, "done names number 2; there are 0 to 1"),
        ({"done": np.zeros(3, dtype=bool)}, r"done has shape \(3,\)"),
        ({"think": "hard"}, "think is 'hard'; use quick, normal or deep"),
    ],
)
def test_a_state_that_cannot_be_is_refused_in_words(arguments: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        next_action(two_faults(), **{"belief": [0.6, 0.4], **arguments})


def test_tables_cannot_be_changed_after_they_were_checked() -> None:
    problem = two_faults()
    with pytest.raises(ValueError, match="read-only"):
        problem.priors[0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        problem.answers[0][0, 0] = 0.0


@pytest.mark.parametrize("think", THINK)
def test_the_choice_says_what_it_costs_what_it_saves_and_what_came_second(think: Think) -> None:
    problem = two_faults()
    action = next_action(problem, problem.priors, think=think)
    assert (action.kind, action.index, action.cost) == ("check", 0, 2.0)
    # Fixing only: .6/30 before .4/40, so 30 + .4 x 40.
    assert action.fixes_only == pytest.approx(46.0)
    assert action.saved == pytest.approx(46.0 - action.minutes)
    assert action.saved > 0.0
    assert action.runner_up is not None
    assert action.runner_up.minutes >= action.minutes
    assert {(c.kind, c.index) for c in action.candidates} >= {("check", 0), ("fix", 0), ("fix", 1)}
    behind = {(c.kind, c.index): c.cost for c in action.candidates}
    if ("check", 1) in behind:
        assert behind["check", 1] == pytest.approx(15.0)


@pytest.mark.parametrize("think", THINK)
def test_what_one_check_makes_certain_can_be_worked_out_by_hand(think: Think) -> None:
    sharp = two_faults(check_minutes=[2.0], answers=[np.eye(2)], access=[None], access_minutes=[])
    action = next_action(sharp, sharp.priors, think=think)
    assert (action.kind, action.index) == ("check", 0)
    assert action.minutes == pytest.approx(2.0 + 0.6 * 30.0 + 0.4 * 40.0)


@pytest.mark.parametrize("think", THINK)
def test_the_last_fault_left_is_fixed_without_another_check(think: Think) -> None:
    action = next_action(two_faults(), [0.0, 0.3], think=think)
    assert (action.kind, action.index) == ("fix", 1)
    assert action.minutes == pytest.approx(40.0)
    assert action.saved == pytest.approx(0.0)
    assert action.runner_up is None


@pytest.mark.parametrize("think", THINK)
def test_a_check_already_done_is_not_proposed_however_it_is_said(think: Think) -> None:
    problem = two_faults()
    for done in ([0, 1], {0: 1, 1: 0}, np.array([True, True])):
        action = next_action(problem, problem.priors, think=think, done=done)
        assert action.kind == "fix"
        assert all(candidate.kind == "fix" for candidate in action.candidates)


@pytest.mark.parametrize("think", THINK)
def test_an_access_already_open_is_not_paid_again(think: Think) -> None:
    blunt = two_faults(answers=[[[1.0], [1.0]], [[0.9, 0.1], [0.1, 0.9]]])
    closed = next_action(blunt, blunt.priors, think=think)
    opened = next_action(blunt, blunt.priors, opened=[0], think=think)
    cost = {c.index: c.cost for c in opened.candidates if c.kind == "check"}
    assert cost == {1: 5.0}
    assert opened.minutes < closed.minutes


@pytest.mark.parametrize("think", THINK)
def test_ties_go_to_the_fix_then_to_the_lowest_number(think: Think) -> None:
    free = Problem([0.5, 0.5], [10.0, 10.0], [5.0], [np.eye(2)], [None], [])
    # Fix either: 10 + .5 x 10 = 15. Check: 5 + 10 = 15.
    action = next_action(free, free.priors, think=think)
    assert action.minutes == pytest.approx(15.0)
    assert {(c.kind, round(c.minutes, 9)) for c in action.candidates} == {
        ("fix", 15.0),
        ("check", 15.0),
    }
    assert (action.kind, action.index) == ("fix", 0)
    twins = Problem([0.5, 0.5], [10.0, 10.0], [1.0, 1.0], [np.eye(2)] * 2, [None] * 2, [])
    assert (lambda a: (a.kind, a.index))(next_action(twins, twins.priors, think=think)) == (
        "check",
        0,
    )


def test_a_wrong_part_is_paid_only_when_it_turns_out_wrong() -> None:
    free = Problem([0.5, 0.5], [10.0, 10.0], [], [], [], [])
    dear = replace(free, wrong_fix_minutes=[8.0, 8.0])
    assert next_action(free, free.priors).minutes == pytest.approx(15.0)
    assert next_action(dear, dear.priors).minutes == pytest.approx(15.0 + 0.5 * 8.0)


def test_a_price_for_wrong_parts_makes_checking_pay() -> None:
    cheap = two_faults(priors=[0.9, 0.1], fix_minutes=[10.0, 10.0])
    dear = replace(cheap, wrong_fix_minutes=np.array([500.0, 500.0]))
    assert next_action(cheap, cheap.priors).kind == "fix"
    assert next_action(dear, dear.priors).kind == "check"


@settings(max_examples=60, deadline=None)
@given(problems(), st.floats(0.01, 1000.0), st.floats(0.01, 1000.0), st.sampled_from(THINK))
def test_hours_for_minutes_and_odds_for_probabilities_change_no_choice(
    problem: Problem, unit: float, weight: float, think: Think
) -> None:
    other = replace(
        problem,
        fix_minutes=problem.fix_minutes * unit,
        check_minutes=problem.check_minutes * unit,
        access_minutes=problem.access_minutes * unit,
        wrong_fix_minutes=np.asarray(problem.wrong_fix_minutes) * unit,
    )
    here = next_action(problem, problem.priors, think=think)
    there = next_action(other, other.priors * weight, think=think)
    assert there.minutes == pytest.approx(here.minutes * unit, abs=1e-9 * unit)
    # A tie within rounding can fall either way; otherwise the choice is the same.
    second = here.runner_up
    if second is None or second.minutes > here.minutes + 1e-6:
        assert (there.kind, there.index) == (here.kind, here.index)


@settings(max_examples=60, deadline=None)
@given(problems(), st.sampled_from(THINK))
def test_the_same_state_gives_the_same_action(problem: Problem, think: Think) -> None:
    first, second = (
        next_action(made, problem.priors, think=think)
        for made in (replace(problem), replace(problem))
    )
    assert first == second


@settings(max_examples=80, deadline=None)
@given(problems())
def test_the_optimum_agrees_with_a_solver_written_apart(problem: Problem) -> None:
    by_act = exact.exact_by_first_act(problem)
    assert policies.optimal_minutes(problem) == pytest.approx(min(by_act.values()), abs=1e-9)
    action = next_action(problem, problem.priors, think="deep")
    assert action.exact
    for one in action.candidates:
        assert one.minutes == pytest.approx(by_act[one.kind, one.index], abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(problems())
def test_no_policy_beats_the_optimum_and_deep_reaches_it(problem: Problem) -> None:
    least = policies.optimal_minutes(problem)
    fixing = next_action(problem, problem.priors).fixes_only
    assert least <= fixing + 1e-9
    for think in ("quick", "normal"):
        assert policies.policy_minutes(problem, think) >= least - 1e-9
    # Deep is stated without enumeration; here it is enumerated, decision by decision.
    assert policies.expected_minutes(problem, calls.planned("deep")) == pytest.approx(
        least, abs=1e-9
    )
    assert policies.policy_minutes(problem, "deep") == pytest.approx(least, abs=1e-9)


@settings(max_examples=150, deadline=None)
@given(problems(most_faults=5, most_checks=0))
def test_the_order_of_fixes_is_the_best_of_all_orders(problem: Problem) -> None:
    """P-over-C with access clusters (Kadane and Simon 1977; Ottosen and Jensen 2012)."""
    tables = problem.tables

    def cost(order: tuple[int, ...]) -> float:
        opened, left, total = set(), 1.0, 0.0
        for fault in order:
            group = problem.fix_access[fault]
            if group is not None and group not in opened:
                opened.add(group)
                total += left * problem.access_minutes[group]
            total += left * problem.fix_minutes[fault]
            left -= problem.priors[fault]
            total += left * problem.wrong_fix_minutes[fault]
        return float(total)

    best = min(map(cost, permutations(range(len(problem.priors)))))
    belief, charges = problem.priors[None, :], tables.access_minutes[None, :]
    ways = np.zeros_like(belief)
    found = repair_minutes(tables, belief, charges, ways)[0] - problem.priors @ tables.refund
    assert found == pytest.approx(best, abs=1e-9)
    known = (belief * (tables.stake + charges[:, tables.fix_group])).sum(axis=1)
    assert repair_at_least(tables, belief, known)[0] <= found + belief[0] @ tables.refund + 1e-9
    # The first of the order is one that begins a best order.
    first = int(np.argmax(fix_priority(tables, belief, charges, ways)[0]))
    begun = min(cost(o) for o in permutations(range(len(problem.priors))) if o[0] == first)
    assert begun == pytest.approx(best, abs=1e-9)


def test_a_few_fixes_cost_what_is_paid_for_them_in_turn() -> None:
    """By hand: .5 in 5 min, .3 in 10, .2 in 40; what comes after is not paid for."""
    problem = Problem([0.2, 0.5, 0.3], [40.0, 5.0, 10.0], [], [], [], [])
    tables, belief = problem.tables, np.array([[0.2, 0.5, 0.3]])
    paid = [repair_at_most(tables, belief, tables.stake[None, :], most)[0] for most in range(5)]
    assert paid == pytest.approx([0.0, 5.0, 5.0 + 0.5 * 10.0, 10.0 + 0.2 * 40.0, 18.0])
    everything = repair_minutes(tables, belief, np.zeros((1, 1)), np.zeros((1, 3)))
    assert paid[-1] == pytest.approx(everything[0])


@given(st.floats(0.01, 0.99), st.floats(0.5, 60.0), st.floats(0.5, 60.0), st.sampled_from(THINK))
def test_of_two_causes_the_first_to_look_at_has_the_least_cost_over_probability(
    likely: float, first: float, second: float, think: Think
) -> None:
    """Check then repair: cause 1 first exactly when C1/p <= C2/(1 - p); the repairs cancel."""
    problem = Problem([likely, 1.0 - likely], [first, second], [], [], [], [])
    action = next_action(problem, problem.priors, think=think)
    here, there = first / likely, second / (1.0 - likely)
    if abs(here - there) > 1e-6 * here:
        assert action.index == (0 if here < there else 1)


def test_a_problem_too_large_to_solve_exactly_says_so() -> None:
    large = drawn.large_problem(drawn.CHOOSING, 0, faults=20, checks=20)
    with pytest.raises(InputError, match="the exact optimum of this problem needs"):
        policies.optimal_minutes(large)
    assert not next_action(large, large.priors, think="deep").exact


def test_a_policy_too_long_to_enumerate_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(policies, "POLICY_STATES", 5)
    with pytest.raises(InputError, match="too many states; at most 5"):
        policies.policy_minutes(drawn.small_problem(drawn.CHOOSING, 0), "quick")


def test_simulated_calls_agree_with_enumeration() -> None:
    problem = drawn.small_problem(drawn.CHOOSING, 3, most=6)
    draws = calls.draw(problem, 4_000, np.random.default_rng(5))
    for policy in (calls.planned("quick"), *calls.RIVALS.values()):
        minutes = calls.play(problem, policy, draws).minutes
        error = minutes.std() / np.sqrt(len(minutes))
        assert abs(minutes.mean() - policies.expected_minutes(problem, policy)) < 4.0 * error


def test_a_decision_at_full_size_takes_every_check_into_account() -> None:
    problem = drawn.large_problem(drawn.CHOOSING, 1)
    action = next_action(problem, problem.priors)
    assert action.kind == "check"
    without = next_action(problem, problem.priors, done=[action.index])
    assert (without.kind, without.index) != (action.kind, action.index)
    assert without.minutes > action.minutes


def test_faults_that_are_ruled_out_make_no_problem_large() -> None:
    large = drawn.large_problem(drawn.CHOOSING, 0, faults=20, checks=4)
    assert not next_action(large, large.priors).exact
    left = large.priors.copy()
    left[3:] = 0.0
    few = next_action(large, left)
    assert few.exact
    # And the choice is that of the problem in which they never were.
    alone = replace(
        large,
        priors=left[:3] / left[:3].sum(),
        fix_minutes=large.fix_minutes[:3],
        answers=[table[:3] for table in large.answers],
        fix_access=large.fix_access[:3],
        wrong_fix_minutes=large.wrong_fix_minutes[:3],
        moves=None,
    )
    same = next_action(alone, alone.priors)
    assert (few.kind, few.index) == (same.kind, same.index)
    assert few.minutes == pytest.approx(same.minutes)
    assert few.fixes_only == pytest.approx(same.fixes_only)


def test_what_is_printed_of_a_choice_is_the_choice_and_not_the_tables() -> None:
    said = repr(next_action(two_faults(), [0.6, 0.4]))
    assert "kind='check'" in said
    assert "array" not in said


def test_an_access_that_stands_open_is_not_paid_again() -> None:
    shut, opened = (next_action(two_faults(), [0.6, 0.4], opened=now) for now in ((), [0]))
    cost = {act.index: act.cost for act in shut.candidates if act.kind == "check"}
    less = {act.index: act.cost for act in opened.candidates if act.kind == "check"}
    assert (cost, less) == ({0: 2.0, 1: 15.0}, {0: 2.0, 1: 5.0})
    flags = next_action(two_faults(), [0.6, 0.4], opened=np.array([True]))
    assert flags.candidates == opened.candidates
