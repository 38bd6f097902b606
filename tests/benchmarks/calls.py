"""Calls to compare policies on: draws of what is wrong and what would be seen, and rival policies.

A policy is a plain function `(problem, belief, opened, done) -> act`, where `belief` is (F,)
normalised, `opened` the groups opened, `done` the answer of every check done, and the act has a
`kind` ("check" or "fix") and an `index`. All policies meet the same draws, so that differences can
be taken call by call.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from policies import Policy

from stillflow.engine.planning.choice import Think, next_action
from stillflow.engine.planning.problem import Problem, information
from stillflow.engine.planning.repair import fix_priority, repair_minutes

Floats = NDArray[np.float64]
Done = dict[int, int]
SURE_ENOUGH = 0.7


class Move(NamedTuple):
    """What a rival does next."""

    kind: Literal["check", "fix"]
    index: int


@dataclass(frozen=True)
class Draws:
    """Calls: the fault of each, (n,), and what each check would answer there, (n, C)."""

    fault: NDArray[np.intp]
    answer: NDArray[np.intp]


@dataclass(frozen=True)
class Played:
    """Minutes of each call, (n,), and how many different decisions it took to play them all."""

    minutes: Floats
    decisions: int


def draw(problem: Problem, calls: int, rng: np.random.Generator) -> Draws:
    """Draw calls from the problem's own tables."""
    fault = rng.choice(len(problem.priors), size=calls, p=problem.priors)
    answer = np.zeros((calls, len(problem.answers)), dtype=np.intp)
    for check, table in enumerate(problem.answers):
        until = np.cumsum(table, axis=1)[:, :-1]
        answer[:, check] = (rng.random(calls)[:, None] >= until[fault]).sum(axis=1)
    return Draws(fault, answer)


def play(problem: Problem, policy: Policy, draws: Draws) -> Played:
    """Play a policy on every call; calls that have seen the same are decided together."""
    minutes = np.zeros(len(draws.fault))
    waiting: list[tuple[Floats, frozenset[int], Done, NDArray[np.intp]]] = [
        (problem.priors, frozenset(), {}, np.arange(len(minutes)))
    ]
    decisions = 0
    while waiting:
        belief, opened, done, here = waiting.pop()
        decisions += 1
        act = policy(problem, belief, opened, done)
        checking = act.kind == "check"
        group = (problem.access if checking else problem.fix_access)[act.index]
        minutes[here] += (problem.check_minutes if checking else problem.fix_minutes)[act.index]
        if group is not None and group not in opened:
            minutes[here] += problem.access_minutes[group]
            opened = opened | {group}
        if checking:
            seen = draws.answer[here, act.index]
            for answer in np.unique(seen).tolist():
                left = belief * problem.answers[act.index][:, answer]
                after = {**done, act.index: answer}
                waiting.append((left / left.sum(), opened, after, here[seen == answer]))
        else:
            wrong = here[draws.fault[here] != act.index]
            minutes[wrong] += problem.wrong_fix_minutes[act.index]
            if len(wrong):
                left = belief.copy()
                left[act.index] = 0.0
                waiting.append((left / left.sum(), opened, done, wrong))
    return Played(minutes, decisions)


def planned(think: Think) -> Policy:
    """Return our own policy."""
    return lambda problem, belief, opened, done: next_action(problem, belief, opened, think, done)


def cheapest_first(problem: Problem, belief: Floats, opened: frozenset[int], done: Done) -> Move:
    """A checklist: the cheapest check not done, access included, until one fault is likely."""
    if belief.max() < SURE_ENOUGH and len(done) < len(problem.answers):
        cost = check_costs(problem, opened)
        cost[list(done)] = np.inf
        return Move("check", int(np.argmin(cost)))
    return _likeliest_or_first(problem, belief, opened)


def p_over_c(problem: Problem, belief: Floats, opened: frozenset[int], done: Done) -> Move:
    """Fixes only, in the best order without checks."""
    del done
    charges = _charges(problem, opened)[None, :]
    priority = fix_priority(problem.tables, belief[None, :], charges, np.zeros((1, len(belief))))
    return Move("fix", int(np.argmax(np.where(belief > 0.0, priority[0], -1.0))))


def information_per_minute(
    problem: Problem, belief: Floats, opened: frozenset[int], done: Done
) -> Move:
    """The check that takes off most doubt a minute, until one fault is likely."""
    if belief.max() < SURE_ENOUGH:
        gain = np.zeros(len(problem.answers))
        before = -information(belief).sum()
        for check in set(range(len(gain))) - set(done):
            joint = belief[:, None] * problem.answers[check]
            after = information(joint.sum(axis=0)).sum() - information(joint).sum()
            gain[check] = before - after
        rate = gain / np.maximum(check_costs(problem, opened), 1e-9)
        if rate.max(initial=0.0) > 1e-9:
            return Move("check", int(np.argmax(rate)))
    return _likeliest_or_first(problem, belief, opened)


def one_step(problem: Problem, belief: Floats, opened: frozenset[int], done: Done) -> Move:
    """The check with the least cost plus fixing only after its answer, if that beats fixing now."""
    tables, charges = problem.tables, _charges(problem, opened)
    ways = np.zeros((1, len(belief)))
    best = float(repair_minutes(tables, belief[None, :], charges[None, :], ways)[0])
    choice = None
    cost = check_costs(problem, opened)
    for check in sorted(set(range(len(cost))) - set(done)):
        after = charges.copy()
        after[tables.check_group[check]] = 0.0
        answered = (belief[:, None] * problem.answers[check]).T
        left = repair_minutes(
            tables, answered, np.tile(after, (len(answered), 1)), ways.repeat(len(answered), 0)
        )
        total = float(cost[check] + left.sum())
        if total < best * (1.0 - 1e-9):
            best, choice = total, check
    if choice is None:
        return p_over_c(problem, belief, opened, done)
    return Move("check", choice)


RIVALS: dict[str, Policy] = {
    "cheapest check first, fix at .7": cheapest_first,
    "fixes only, P-over-C": p_over_c,
    "information per minute, fix at .7": information_per_minute,
    "one-step expected cost": one_step,
}


def check_costs(problem: Problem, opened: frozenset[int]) -> Floats:
    """Return (C,) minutes of each check now, access included."""
    return problem.check_minutes + _charges(problem, opened)[problem.tables.check_group]


def _charges(problem: Problem, opened: frozenset[int]) -> Floats:
    charges = problem.tables.access_minutes.copy()
    charges[list(opened)] = 0.0
    return charges


def _likeliest_or_first(problem: Problem, belief: Floats, opened: frozenset[int]) -> Move:
    if belief.max() >= SURE_ENOUGH:
        return Move("fix", int(np.argmax(belief)))
    return p_over_c(problem, belief, opened, {})
