"""Worked examples from the literature: the exact solver to the printed digit, and our policy."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path
from typing import Any

import pytest

sys.path.append(str(Path(__file__).parents[2] / "benchmarks"))
exact: Any = importlib.import_module("exact")
policies: Any = importlib.import_module("policies")
published: Any = importlib.import_module("published")

# Eight causes have 127 splits: too many for the plain solver here (the benchmark takes its time).
QUICK = [one for one in published.EVERY if len(one.problem.answers) <= 15]


@pytest.mark.parametrize("example", QUICK, ids=lambda one: one.name)
def test_the_exact_solver_gives_the_printed_value(example: Any) -> None:
    digits = len(example.printed.partition(".")[2])
    assert f"{exact.exact_minutes(example.problem):.{digits}f}" == example.printed


@pytest.mark.parametrize("example", published.EVERY, ids=lambda one: one.name)
def test_our_policy_reaches_the_printed_value(example: Any) -> None:
    assert policies.policy_minutes(example.problem) == pytest.approx(
        float(example.printed), rel=1e-6
    )


def test_test_sequencing_costs_what_is_printed_for_each_first_test() -> None:
    # Pattipati and Alexandridis 1990; Raghavan, Shakeri and Pattipati 1999 (from memory).
    problem = published.TEST_SEQUENCING.problem
    by_act = exact.exact_by_first_act(problem)
    first = [f"{by_act['check', test]:.2f}" for test in range(5)]
    assert first == ["2.86", "2.18", "2.82", "2.18", "2.89"]
    assert policies.optimal_minutes(problem) == pytest.approx(2.18)


@pytest.mark.parametrize("example", published.INFORMATION_BOUND[:2], ids=lambda one: one.name)
def test_equal_causes_take_as_many_tests_as_bits(example: Any) -> None:
    # log2 of the number of causes is the least any sequence of binary tests can take.
    bits = len(example.problem.priors).bit_length() - 1
    assert exact.exact_minutes(example.problem) == pytest.approx(bits)
