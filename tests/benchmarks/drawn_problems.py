"""Random problems to try planners on, all drawn from a seed.

Small ones can be solved exactly; large ones have the size and habits of a trade's tables (checks
that speak about a place, a mode or a few faults, a usual answer, a "can't tell"). The numbers are
made up, in no way taken from the rules.
"""

from __future__ import annotations

import numpy as np
from numpy.random import Generator

from stillflow.engine.planning.problem import Problem

# Sets of seeds: constants are chosen on one, figures are reported on the other.
CHOOSING = 300
REPORTED = 9_000


def small_problem(seed: int, number: int, most: int = 8) -> Problem:
    """Draw a problem of 6 faults and 6 checks, up to `most` of each; noisy, with access groups.

    A third have uneven fixes, a third long and nearly equal ones, a third fixes that share access
    with checks, some of those with a price for a wrong part.
    """
    rng = np.random.default_rng([seed, number])
    faults, checks = int(rng.integers(6, most + 1)), int(rng.integers(6, most + 1))
    kind = ("uneven", "long", "shared")[int(rng.integers(3))]
    priors = rng.dirichlet(np.full(faults, rng.choice([0.7, 1.5, 4.0])))
    if kind == "long":
        fixes = rng.uniform(20, 60) * rng.uniform(0.9, 1.1, faults)
    else:
        fixes = np.exp(rng.normal(2.5, 0.8, faults))
    groups = int(rng.integers(1, 4))
    return Problem(
        priors=priors,
        fix_minutes=fixes,
        check_minutes=np.exp(rng.normal(1.0, 0.7, checks)),
        answers=[_noisy_answers(rng, faults) for _ in range(checks)],
        access=_some_groups(rng, checks, groups, 0.5),
        access_minutes=rng.uniform(2, 12, groups),
        fix_access=_some_groups(rng, faults, groups, 0.4 if kind == "shared" else 0.0),
        wrong_fix_minutes=(
            np.exp(rng.normal(2.0, 0.8, faults))
            if kind == "shared" and rng.random() < 0.3
            else None
        ),
    )


def large_problem(
    seed: int, number: int, faults: int = 40, checks: int = 55, groups: int = 6
) -> Problem:
    """Draw a problem of the size of a trade's tables, with 2 to 6 answers a check."""
    rng = np.random.default_rng([seed, number])
    places, modes = rng.integers(0, 5, faults), rng.integers(0, 4, faults)
    return Problem(
        priors=rng.dirichlet(np.full(faults, 0.8)),
        fix_minutes=np.exp(rng.normal(2.9, 0.7, faults)),
        check_minutes=np.exp(rng.normal(0.9, 0.7, checks)),
        answers=[_trade_answers(rng, places, modes) for _ in range(checks)],
        access=_some_groups(rng, checks, groups, 0.5),
        access_minutes=rng.uniform(2, 12, groups),
        fix_access=_some_groups(rng, faults, groups, 0.5),
    )


def _some_groups(rng: Generator, size: int, groups: int, share: float) -> list[int | None]:
    return [int(rng.integers(groups)) if rng.random() < share else None for _ in range(size)]


def _noisy_answers(rng: Generator, faults: int) -> np.ndarray:
    answers = int(rng.integers(2, 5))
    sharpness = rng.choice([0.25, 0.6, 1.2])
    drawn = rng.dirichlet(np.full(answers, sharpness), size=faults)
    return drawn * 0.98 + 0.02 / answers


def _trade_answers(rng: Generator, places: np.ndarray, modes: np.ndarray) -> np.ndarray:
    faults, answers = len(places), int(rng.integers(2, 6))
    usual = rng.dirichlet(np.r_[6.0, np.full(answers - 1, 0.6)])
    table = np.tile(usual, (faults, 1))
    about = (
        places == rng.integers(5),
        modes == rng.integers(4),
        rng.random(faults) < 0.08,
    )[int(rng.integers(3))]
    strength = 10.0 ** rng.choice([0.5, 1.0, 1.5, 2.0])
    table[about, int(rng.integers(1, answers))] *= strength
    table[about, 0] /= strength**0.5
    table /= table.sum(axis=1, keepdims=True)
    cannot_tell = 0.05
    return np.column_stack((table * (1 - cannot_tell), np.full(faults, cannot_tell)))
