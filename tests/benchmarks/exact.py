"""An exact solver kept to judge the planner by, written apart from it.

Dynamic programming over what is believed: a state is the normalised belief, the groups opened and
the checks that can still tell something. Nothing is estimated and nothing is cut. It shares no
code with the planner's own exact search, charges a wrong part where it turns out wrong, and pays
for that with time: problems without noise, or very small ones.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stillflow.engine.planning.problem import Problem

Belief = NDArray[np.float64]
Key = tuple[bytes, frozenset[int], frozenset[int]]


def exact_minutes(problem: Problem) -> float:
    """Return the least expected minutes to the right fix."""
    return min(exact_by_first_act(problem).values())


def exact_by_first_act(problem: Problem) -> dict[tuple[str, int], float]:
    """Return, for each first act, the least expected minutes that begin with it."""
    every = frozenset(range(len(problem.check_minutes)))
    return _Solver(problem).acts(problem.priors, frozenset(), every)


@dataclass
class _Solver:
    problem: Problem
    known: dict[Key, float] = field(default_factory=dict)

    def value(self, belief: Belief, opened: frozenset[int], free: frozenset[int]) -> float:
        belief = belief / belief.sum()
        present = belief > 0.0
        free = frozenset(
            check for check in free if np.ptp(self.problem.answers[check][present], axis=0).any()
        )
        # Twelve digits tell beliefs apart that differ by more than the order of multiplying.
        key = (np.round(belief, 12).tobytes(), opened, free)
        if key not in self.known:
            self.known[key] = min(self.acts(belief, opened, free).values())
        return self.known[key]

    def acts(
        self, belief: Belief, opened: frozenset[int], free: frozenset[int]
    ) -> dict[tuple[str, int], float]:
        problem = self.problem
        found: dict[tuple[str, int], float] = {}
        for fault in np.flatnonzero(belief > 0.0).tolist():
            now, after = self.access(problem.fix_access[fault], opened)
            minutes = problem.fix_minutes[fault] + now
            wrong = belief.copy()
            wrong[fault] = 0.0
            if wrong.any():
                later = self.value(wrong, after, free) + problem.wrong_fix_minutes[fault]
                minutes += later * wrong.sum()
            found["fix", fault] = float(minutes)
        for check in sorted(free):
            now, after = self.access(problem.access[check], opened)
            minutes = problem.check_minutes[check] + now
            for likelihood in problem.answers[check].T:
                answered = belief * likelihood
                if answered.any():
                    minutes += answered.sum() * self.value(answered, after, free - {check})
            found["check", check] = float(minutes)
        return found

    def access(self, group: int | None, opened: frozenset[int]) -> tuple[float, frozenset[int]]:
        if group is None or group in opened:
            return 0.0, opened
        return float(self.problem.access_minutes[group]), opened | {group}
