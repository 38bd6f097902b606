"""Ways from act to act and what must be closed again, against a solver written apart."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stillflow.engine.base.errors import InputError
from stillflow.engine.planning import Moves, Problem, next_action

Belief = NDArray[np.float64]


class Slow:
    """Every act in every order, with where one stands and what is open carried along."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem

    def after(
        self, kind: str, index: int, opened: frozenset[int], at: int
    ) -> tuple[float, frozenset[int], int]:
        """Minutes of an act without its fix price, and the state it leaves."""
        problem = self.problem
        moves = problem.moves
        assert moves is not None
        assert problem.closes is not None
        check = kind == "check"
        group = (problem.access if check else problem.fix_access or ())[index]
        minutes = float((problem.check_minutes if check else problem.fix_minutes)[index])
        minutes += float((moves.to_check if check else moves.to_fix)[at, index])
        end = int((moves.from_check if check else moves.from_fix)[index])
        if check:
            opened -= frozenset(np.flatnonzero(problem.closes[index]).tolist())
        if group is not None and group not in opened:
            minutes += float(problem.access_minutes[group])
            opened |= {group}
        return minutes, opened, at if end < 0 else end

    def least(self, belief: Belief, done: frozenset[int], opened: frozenset[int], at: int) -> float:
        """Minutes times weight of the best policy."""
        if not belief.any():
            return 0.0
        acts = [("fix", int(f)) for f in np.flatnonzero(belief)]
        acts += [("check", c) for c in range(len(self.problem.check_minutes)) if c not in done]
        return min(self.value(act, belief, done, opened, at) for act in acts)

    def value(
        self,
        act: tuple[str, int],
        belief: Belief,
        done: frozenset[int],
        opened: frozenset[int],
        at: int,
    ) -> float:
        """Minutes times weight of an act and the best from there."""
        minutes, now_open, end = self.after(*act, opened, at)
        if act[0] == "fix":
            left = belief.copy()
            left[act[1]] = 0.0
            rest = self.least(left, done, now_open, end)
        else:
            table = self.problem.answers[act[1]]
            rest = sum(
                self.least(belief * column, done | {act[1]}, now_open, end) for column in table.T
            )
        return minutes * float(belief.sum()) + rest

    def followed(
        self, belief: Belief, done: frozenset[int], opened: frozenset[int], at: int
    ) -> float:
        """Minutes times weight of doing what `next_action` says, always."""
        if not belief.any():
            return 0.0
        act = next_action(self.problem, belief, opened, done=done, at=at)
        minutes, now_open, end = self.after(act.kind, act.index, opened, at)
        if act.kind == "fix":
            left = belief.copy()
            left[act.index] = 0.0
            rest = self.followed(left, done, now_open, end)
        else:
            table = self.problem.answers[act.index]
            rest = sum(
                self.followed(belief * column, done | {act.index}, now_open, end)
                for column in table.T
            )
        return minutes * float(belief.sum()) + rest


def drawn(seed: int) -> Problem:
    rng = np.random.default_rng(seed)
    faults, checks, positions, groups = 4, 3, 3, 2
    yes = rng.beta(0.5, 0.5, (checks, faults))
    way = rng.uniform(0, 3, positions)
    where = rng.integers(0, positions, checks + faults)
    ways = (way[:, None] + way[where]) * (np.arange(positions)[:, None] != where)
    access = rng.integers(0, groups, checks + faults)
    closes = rng.random((checks, groups)) < 0.4
    closes[np.arange(checks), access[:checks]] = False
    return Problem(
        priors=rng.dirichlet(np.ones(faults)),
        fix_minutes=rng.uniform(3, 20, faults),
        check_minutes=rng.uniform(0.5, 4, checks),
        answers=[np.stack([p, 1 - p], axis=1) for p in yes],
        access=access[:checks].tolist(),
        access_minutes=rng.uniform(1, 8, groups),
        fix_access=access[checks:].tolist(),
        moves=Moves(ways[:, :checks], ways[:, checks:], where[:checks], where[checks:]),
        closes=closes,
    )


@pytest.mark.slow
def test_with_ways_and_closing_the_policy_stays_near_the_optimum() -> None:
    ratios = []
    for seed in range(12):
        problem = drawn(seed)
        slow, begin = Slow(problem), (problem.priors, frozenset[int](), frozenset[int](), 0)
        ratios.append(slow.followed(*begin) / slow.least(*begin))
    assert min(ratios) >= 1.0 - 1e-9
    assert np.mean(ratios) <= 1.01
    assert max(ratios) <= 1.06


def two_rooms(way: float, closes: bool = False) -> Problem:
    """A look at hand and a better one in the other room, where the first fix is."""
    sharp, blunt = [[0.95, 0.05], [0.05, 0.95]], [[0.8, 0.2], [0.2, 0.8]]
    ways = np.array([[0.0, way], [way, 0.0]])
    return Problem(
        priors=[0.5, 0.5],
        fix_minutes=[10.0, 10.0],
        check_minutes=[1.0, 1.0],
        answers=[blunt, sharp],
        access=[None, 0],
        access_minutes=[2.0],
        fix_access=[0, None],
        closes=np.array([[closes], [False]]),
        moves=Moves(ways, ways[:, ::-1].copy(), np.array([0, 1]), np.array([1, 0])),
    )


def test_what_is_a_walk_away_is_done_first_only_by_who_stands_there() -> None:
    assert next_action(two_rooms(0.0), [0.5, 0.5], at=0).index == 1
    assert next_action(two_rooms(4.0), [0.5, 0.5], at=0).index == 0
    assert next_action(two_rooms(4.0), [0.5, 0.5], at=1).index == 1


@pytest.mark.parametrize("closes", [False, True])
def test_what_a_check_closes_is_opened_anew(closes: bool) -> None:
    problem = two_rooms(1.0, closes)
    act = next_action(problem, [0.5, 0.5], opened=[0], done=[1], at=1)
    slow = Slow(problem)
    belief, done, opened = problem.priors, frozenset({1}), frozenset({0})
    for one in act.candidates:
        value = slow.value((one.kind, one.index), belief, done, opened, 1)
        assert one.minutes == pytest.approx(value, abs=1e-9)


def test_closing_what_stands_open_is_still_to_come() -> None:
    plain = two_rooms(1.0)
    names = ("priors", "fix_minutes", "check_minutes", "answers", "access", "access_minutes")
    same = {name: getattr(plain, name) for name in (*names, "fix_access", "moves", "closes")}
    closing = Problem(**same, closing_minutes=[0.5])
    before, now = (next_action(one, [0.5, 0.5], opened=[0], at=1) for one in (plain, closing))
    assert now.minutes == pytest.approx(before.minutes + 0.5)
    assert now.fixes_only == pytest.approx(before.fixes_only + 0.5)
    assert next_action(closing, [0.5, 0.5], at=1).minutes == pytest.approx(
        next_action(plain, [0.5, 0.5], at=1).minutes
    )


def test_ways_that_do_not_fit_the_problem_are_refused() -> None:
    fits = two_rooms(1.0)
    assert fits.moves is not None
    common = {"priors": [1.0], "fix_minutes": [1.0], "check_minutes": [], "answers": []}
    nothing = {"access": [], "access_minutes": [], **common}
    with pytest.raises(InputError, match="moves have shapes"):
        Problem(**nothing, moves=fits.moves)
    nowhere = Moves(np.zeros((1, 0)), np.zeros((1, 1)), np.zeros(0, int), np.array([1]))
    with pytest.raises(InputError, match="position that is not there"):
        Problem(**nothing, moves=nowhere)
    with pytest.raises(InputError, match="closes has shape"):
        Problem(**nothing, closes=np.zeros((1, 1), bool))
    with pytest.raises(InputError, match="at is 2"):
        next_action(fits, [0.5, 0.5], at=2)
