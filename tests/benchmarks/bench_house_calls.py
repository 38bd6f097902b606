"""The planner beside other ways on calls from simulated houses, which the tables do not make.

Run: python tests/benchmarks/bench_house_calls.py [--calls 1200] [--processes 2]

Unlike in `bench_rules_planner`, readings come from the airflow model of a house of its own for
every call, with the gauge's noise, and a tenth of the answers to questions are wrong or "can't
tell" (`stillflow.engine.simulate`); the rest of these answers is still drawn from the rules' own
tables. So beliefs are off here as they are off in the field, only less so. All policies meet the
same answers. The rivals that stop when a fix is sure enough are given at three settings each.
"""

from __future__ import annotations

import argparse
import os
import platform
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache, partial

# One thread a process: small tables lose more to handing work out than they gain.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from bench_rules_planner import (
    CHART,
    CHECKLIST,
    FIXES,
    INFORMATION,
    ONE_STEP,
    OURS,
    QUICK,
    Setting,
    print_table,
)
from table_calls import Act, Place, Point

from stillflow.casebook.generated import CallKind
from stillflow.engine import load_rules
from stillflow.engine.base.arrays import Floats
from stillflow.engine.inference.baseline import baseline_for
from stillflow.engine.inference.facts import judge
from stillflow.engine.inference.likelihood import spot_of
from stillflow.engine.inference.visit import NO_ANSWER
from stillflow.engine.simulate.calls import SimulatedCall, draw_calls

SEED = 23
CHUNK = 10
SETTINGS = (
    Setting(OURS),
    Setting(QUICK),
    *(Setting(name, sure) for name in (CHECKLIST, CHART, INFORMATION) for sure in (0.3, 0.5, 0.7)),
    Setting(FIXES),
    Setting(ONE_STEP),
)


class House(Place):
    """One simulated house; every question has one answer there, whenever it is asked."""

    def __init__(self, call: SimulatedCall, seed: Sequence[int]) -> None:
        super().__init__(CallKind(call.knowledge, call.visit))
        self._call = call
        self._seed = seed
        self._expected = baseline_for(call.visit, call.knowledge)

    def seen(self, point: Point, act: Act, column: int, luck: Floats) -> Point:
        """The point after a check, answered by the house."""
        check = self.knowledge.checks[act.id]
        generator = np.random.default_rng([*self._seed, self.check_ids.index(act.id)])
        answer = self._call.answer(check, generator)
        situation, weights, level = point.situation, point.probabilities, str(answer)
        if answer not in NO_ANSWER:
            weights = weights * self.model.likelihood(situation, check, answer)
            if check.answers:
                situation = situation.with_choice(check.id, level)
            else:
                spot = spot_of(check)
                situation = situation.with_reading(spot, float(answer))
                share = float(answer) / self._expected.at(*spot)
                level = judge(share, self.knowledge.levels, self._expected.wide)
        return Point(
            situation,
            weights / weights.sum(),
            {**point.answers, check.id: level},
            self.outlay(point, act).after,
            point.tried,
        )


@lru_cache(maxsize=1)
def calls_of(start: int, count: int) -> list[SimulatedCall]:
    """Some of the calls."""
    return draw_calls(load_rules(), np.random.default_rng([SEED, start]), count)


def play_chunk(start: int, count: int) -> Floats:
    """Play every policy on some calls: minutes, checks, fixes, (settings, calls, 3)."""
    found = np.zeros((len(SETTINGS), count, 3))
    for number, call in enumerate(calls_of(start, count)):
        house = House(call, (SEED, start, number))
        for row, setting in enumerate(SETTINGS):
            point, before = house.start()
            one = house.play(point, setting.policy(house), call.faults[0], np.zeros(0))
            found[row, number] = before + one.minutes, one.checks, one.fixes
    return found


def main() -> None:
    """Play the calls and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--calls", type=int, default=1200)
    parser.add_argument("--processes", type=int, default=2)
    chosen = parser.parse_args()
    began = time.perf_counter()
    starts = range(0, chosen.calls, CHUNK)
    counts = [min(CHUNK, chosen.calls - start) for start in starts]
    with ProcessPoolExecutor(chosen.processes) as pool:
        played = np.concatenate(list(pool.map(partial(play_chunk), starts, counts)), axis=1)
    print(
        f"{platform.machine()}, Python {platform.python_version()}; {chosen.calls} calls from "
        f"simulated houses; rules {load_rules().digest[:12]}"
    )
    print_table(SETTINGS, list(played))
    print(f"[{time.perf_counter() - began:.0f} s]")


if __name__ == "__main__":
    main()
