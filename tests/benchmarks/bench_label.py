"""Calls to houses in order whose label promises 10 to 18 % more suction than the unit ever made.

    python tests/benchmarks/bench_label.py [--calls 200] [--processes 2] [--seed 9015] [--each]

Houses, paper and answers are those of `draw_calls` with `label-too-good` hidden; of those drawn the
calls are kept in which what the label foretells at the unit, sealed, is that much above what an
exact gauge shows there. Counted are checks, parts that were fixed though nothing is broken, and
whether the call ends on nothing being wrong.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache, partial

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from whole_calls import Played, in_order, play_call

from stillflow.engine import Session, load_rules
from stillflow.engine.base import Mode, Station
from stillflow.engine.inference import baseline_for
from stillflow.engine.ruleset import Knowledge
from stillflow.engine.simulate.calls import SimulatedCall, draw_calls

FAULT, UNIT = "label-too-good", "sealed-unit"
TOO_MUCH = (1.10, 1.18)
MOST_CHECKS, MEDIAN, RIGHT = 12, 8, 0.9
BATCH = 40


@lru_cache(maxsize=1)
def rules() -> Knowledge:
    """The shipped rules, once a process."""
    return load_rules()


def calls(count: int, seed: int) -> list[tuple[int, SimulatedCall]]:
    """Calls that fit, each with its number among all that were drawn."""
    found: list[tuple[int, SimulatedCall]] = []
    for number, call in enumerate(_drawn(seed)):
        expected = baseline_for(call.visit, rules()).expected[Station.UNIT].sealed
        promised = (expected or 0.0) / call.reading(rules().checks[UNIT])
        if TOO_MUCH[0] <= promised <= TOO_MUCH[1]:
            found.append((number, call))
        if len(found) == count:
            break
    return found


def _drawn(seed: int) -> Iterator[SimulatedCall]:
    generator = np.random.default_rng(seed)
    while True:
        yield from draw_calls(rules(), generator, BATCH, how_often="equally", among=[FAULT])


def play(numbered: tuple[int, SimulatedCall], seed: int) -> Played:
    """One call from start to end."""
    number, call = numbered
    return play_call(partial(Session, rules()), call, (seed, number))


def parts(one: Played) -> list[str]:
    """Fixes offered in a house in which nothing is broken."""
    return [name for name, _, _ in one.offered if rules().faults[name].mode is not Mode.NORMAL]


def main() -> None:
    """Play the calls and print what they came to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--calls", type=int, default=200)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--seed", type=int, default=9015)
    parser.add_argument("--each", action="store_true", help="a line for every call")
    chosen = parser.parse_args()
    began = time.perf_counter()
    drawn = calls(chosen.calls, chosen.seed)
    with ProcessPoolExecutor(chosen.processes) as pool:
        played = list(pool.map(partial(play, seed=chosen.seed), drawn))
    assert all(in_order(rules(), one) for one in played)
    if chosen.each:
        for (number, _), one in zip(drawn, played, strict=True):
            print(f"{number:4} {one.checks:3} checks, {one.ending}: {one.concluded}; {parts(one)}")
    checks = np.array([one.checks for one in played])
    needless = Counter(name for one in played for name in parts(one))
    right = np.mean([one.right for one in played])
    print(f"{len(played)} calls, seed {chosen.seed}, rules {rules().digest[:12]}")
    print(f"checks: median {np.median(checks):.1f} (bound {MEDIAN}), most {checks.max()}; ", end="")
    print(f"{(checks > MOST_CHECKS).sum()} calls over {MOST_CHECKS}")
    print(f"with a needless fix: {sum(bool(parts(one)) for one in played)} {dict(needless)}")
    print(f"right: {100 * right:.1f} % (bound {100 * RIGHT:.0f})")
    print(f"[{time.perf_counter() - began:.0f} s]")


if __name__ == "__main__":
    main()
