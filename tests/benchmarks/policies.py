"""Exact minutes on small problems: the least that any policy takes, and those of a given one."""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import Protocol

import numpy as np

from stillflow.engine.base import Floats, InputError
from stillflow.engine.planning.choice import _OPTIMUM_STATES as OPTIMUM_STATES
from stillflow.engine.planning.choice import (
    Action,
    Kind,
    Think,
    _refund,
    _start,
    next_action,
)
from stillflow.engine.planning.exact import count_states, exact_values
from stillflow.engine.planning.problem import Problem

POLICY_STATES = 200_000
"""The most states that are enumerated."""


class CheckOrFix(Protocol):
    """Anything that says which check or fix is next."""

    @property
    def kind(self) -> Kind:
        """Whether it is a check or a fix."""

    @property
    def index(self) -> int:
        """Its number among the checks or the fixes."""


Policy = Callable[[Problem, Floats, frozenset[int], dict[int, int]], CheckOrFix]
"""(problem, belief (F,) adding to 1, opened groups, answer by check done) -> the next act."""


def optimal_minutes(problem: Problem) -> float:
    """Return the least expected minutes any policy can reach, exactly.

    Raises:
        InputError: the problem has too many states to be solved exactly.
    """
    rows = _start(problem, problem.priors, (), (), 0)
    states = count_states(problem.tables, rows)
    if states > OPTIMUM_STATES:
        what = f"the exact optimum of this problem needs {states:.3g} states"
        raise InputError(what, right=f"at most {OPTIMUM_STATES:,} can be held")
    found = exact_values(problem.tables, rows)
    least = min(float(found.check.min(initial=np.inf)), float(found.fix.min()))
    return least - _refund(problem.tables, rows)


def policy_minutes(problem: Problem, think: Think = "normal") -> float:
    """Return the exact expected minutes of following `next_action`, by enumeration.

    Raises:
        InputError: more than 200,000 states can be reached.
    """

    def follow(
        table: Problem, belief: Floats, opened: frozenset[int], done: Collection[int]
    ) -> Action:
        return next_action(table, belief, opened, think, done)

    return _followed(problem, follow)


def expected_minutes(problem: Problem, policy: Policy) -> float:
    """Return the exact expected minutes of following any policy, by enumeration.

    Raises:
        InputError: more than 200,000 states can be reached.
    """
    # What another policy does after an exact choice is its own affair.
    return _followed(problem, policy, to_the_end=True)


def _followed(problem: Problem, policy: Policy, to_the_end: bool = False) -> float:
    access, fix_access = problem.access, problem.fix_access or ()
    tables = problem.tables
    total = -float(problem.priors @ tables.refund)
    stack: list[tuple[Floats, frozenset[int], dict[int, int]]] = [(problem.priors, frozenset(), {})]
    visited = 0
    while stack:
        belief, opened, done = stack.pop()
        visited += 1
        if visited > POLICY_STATES:
            right = f"at most {POLICY_STATES:,} states can be enumerated"
            raise InputError("the policy reaches too many states", right=right)
        weight = float(belief.sum())
        act = policy(problem, belief / weight, opened, done)
        if not to_the_end and isinstance(act, Action) and act.exact:
            # What follows an exact choice has fewer states, so it is chosen exactly too.
            total += act.minutes * weight + float(belief @ tables.refund)
            continue
        group = (access if act.kind == "check" else fix_access)[act.index]
        minutes = (problem.check_minutes if act.kind == "check" else tables.stake)[act.index]
        if group is not None and group not in opened:
            minutes = minutes + problem.access_minutes[group]
            opened = opened | {group}
        total += float(minutes) * weight
        if act.kind == "check":
            table = problem.answers[act.index]
            after = [
                (belief * table[:, answer], opened, {**done, act.index: answer})
                for answer in range(table.shape[1])
            ]
        else:
            left = belief.copy()
            left[act.index] = 0.0
            after = [(left, opened, done)]
        stack.extend(state for state in after if state[0].any())
    return total
