"""How often the dialogue finds and fixes what is wrong, on simulated calls.

    python tests/benchmarks/bench_calls.py [--calls 4000] [--processes 2] [--seed 20261]

Readings come from the airflow model and a gauge good to 2 %. **Answers to questions are drawn from
the rules' own tables**, a tenth of them wrong or "can't tell": these figures say how well the
dialogue uses what the rules claim, not how true the claims are. A conclusion counts as right when
it is the hidden fault or one with the same fix (`same_fix` says which).
"""

from __future__ import annotations

import argparse
import platform
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache, partial
from itertools import pairwise

import numpy as np

from stillflow.engine import Session, load_rules
from stillflow.engine.planning.choice import Think
from stillflow.engine.ruleset.knowledge import Knowledge
from stillflow.engine.simulate.calls import HowOften, PlayedCall, draw_calls, play, same_fix

CHUNK = 100
REPORTED = 20261
"""The seed of the figures in the README. Rules and strengths are worked on with others."""
BUCKETS = (0.0, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 1.0)


@dataclass(frozen=True)
class Outcome:
    """One call as it went: what was hidden, what was found."""

    hidden: tuple[str, ...]
    baseline: str
    played: PlayedCall

    def right(self, fault: str | None) -> bool:
        """Whether a conclusion fits one of the hidden faults."""
        return fault is not None and any(same_fix(rules(), fault, one) for one in self.hidden)

    @property
    def first_right(self) -> bool:
        """Whether the first fix proposed was one that was needed."""
        return bool(self.played.offered) and self.right(self.played.offered[0][0])

    @property
    def final_right(self) -> bool:
        """Whether the dialogue ended on what was hidden."""
        return self.right(self.played.concluded)

    @property
    def mended(self) -> bool:
        """Whether nothing hidden was left."""
        return not self.played.remaining


@lru_cache(maxsize=1)
def rules() -> Knowledge:
    """The shipped rules, once per process."""
    return load_rules()


def play_chunk(
    seed: Sequence[int], count: int, faults: int, how_often: HowOften, think: Think
) -> list[Outcome]:
    """Draw some calls and play each to its end."""
    generator = np.random.default_rng(seed)
    calls = draw_calls(rules(), generator, count, 2 if faults == 2 else 1, how_often)
    outcomes = []
    for number, call in enumerate(calls):
        session = Session(rules(), call.visit, think)
        origin = session.baseline.origin
        played = play(session, call, np.random.default_rng([*seed, number]))
        outcomes.append(Outcome(call.faults, origin, played))
    return outcomes


def play_all(
    pool: ProcessPoolExecutor,
    seed: int,
    count: int,
    faults: int,
    how_often: HowOften,
    think: Think,
) -> list[Outcome]:
    """Play calls in chunks, so that the same seed gives the same calls on any number of cores."""
    starts = range(0, count, CHUNK)
    seeds = [(seed, faults, how_often == "equally", start) for start in starts]
    counts = [min(CHUNK, count - start) for start in starts]
    work = partial(play_chunk, faults=faults, how_often=how_often, think=think)
    return [one for chunk in pool.map(work, seeds, counts) for one in chunk]


def share(outcomes: Sequence[Outcome], good: Callable[[Outcome], bool]) -> str:
    """A share with its standard error, in per cent."""
    if not outcomes:
        return "-"
    p = sum(map(good, outcomes)) / len(outcomes)
    return f"{100 * p:5.1f} % ± {100 * (p * (1 - p) / len(outcomes)) ** 0.5:.1f}"


def print_summary(title: str, outcomes: Sequence[Outcome]) -> None:
    """What the calls came to on the whole."""
    minutes = np.array([one.played.minutes for one in outcomes])
    checks = np.array([one.played.checks for one in outcomes])
    offered = np.array([len(one.played.offered) for one in outcomes])
    print(f"\n== {title}: {len(outcomes)} calls")
    print(f"first fix proposed is right   {share(outcomes, lambda one: one.first_right)}")
    print(f"final conclusion is right     {share(outcomes, lambda one: one.final_right)}")
    print(f"nothing hidden was left       {share(outcomes, lambda one: one.mended)}")
    print(
        f"minutes: mean {minutes.mean():.1f}, median {np.median(minutes):.1f}; "
        f"checks: mean {checks.mean():.1f}; fixes proposed: mean {offered.mean():.2f}"
    )
    endings = Counter(one.played.ending for one in outcomes)
    print("endings: " + ", ".join(f"{name} {count}" for name, count in endings.most_common()))
    for origin in ("rated", "class", "last-visit"):
        some = [one for one in outcomes if one.baseline == origin]
        print(
            f"  baseline {origin:10s} {len(some):5d} calls: first {share(some, first_right)}, "
            f"final {share(some, final_right)}"
        )


def first_right(one: Outcome) -> bool:
    """`Outcome.first_right` as a function."""
    return one.first_right


def final_right(one: Outcome) -> bool:
    """`Outcome.final_right` as a function."""
    return one.final_right


def print_calibration(title: str, outcomes: Sequence[Outcome]) -> None:
    """How often fixes proposed with a given probability were needed."""
    first = [(p, one.right(f)) for one in outcomes for f, p in one.played.offered[:1]]
    last = [
        (one.played.offered[-1][1], one.right(one.played.offered[-1][0]))
        for one in outcomes
        if one.played.offered and one.played.concluded == one.played.offered[-1][0]
    ]
    every = [(p, one.right(f)) for one in outcomes for f, p in one.played.offered]
    print(f"\ncalibration, {title} (given when the fix is proposed; n, mean given, right)")
    print(
        "  A conclusion that was measured and found good is hardly ever wrong, whatever was given."
    )
    print(
        "  probability           first fix proposed         every fix proposed        concluded on"
    )
    for low, high in (*pairwise(BUCKETS), (0.0, 1.0)):
        row = "   ".join(_bucket(some, low, high) for some in (first, every, last))
        print(f"  {low:.2f} to {high:.2f}   {row}")


def _bucket(pairs: Iterable[tuple[float, bool]], low: float, high: float) -> str:
    inside = [(p, right) for p, right in pairs if low <= p < high or p == high == 1.0]
    if not inside:
        return f"{0:6d}        -        -"
    given, right = np.array(inside, dtype=float).mean(axis=0)
    return f"{len(inside):6d}   {100 * given:5.1f} %  {100 * right:5.1f} %"


def print_by_fault(outcomes: Sequence[Outcome]) -> None:
    """One line per fault, the worst first, and what was said instead."""
    by_fault: dict[str, list[Outcome]] = {}
    for one in outcomes:
        by_fault.setdefault(one.hidden[0], []).append(one)

    def rank(name: str) -> tuple[float, float]:
        some = by_fault[name]
        return (
            sum(one.final_right for one in some) / len(some),
            sum(one.first_right for one in some) / len(some),
        )

    print("\nby fault (worst first)         n  final  first  minutes  said instead (first fix)")
    order = sorted(by_fault, key=rank)
    for name in order:
        some = by_fault[name]
        wrong = Counter(
            one.played.offered[0][0] if one.played.offered else one.played.ending
            for one in some
            if not one.first_right
        )
        final, first = rank(name)
        said = ", ".join(f"{other} {count}" for other, count in wrong.most_common(3))
        minutes = np.mean([one.played.minutes for one in some])
        print(
            f"  {name:26s} {len(some):4d} {100 * final:5.0f}% {100 * first:5.0f}%  {minutes:6.1f}"
            f"   {said}"
        )
    print("\nthe worst five, and what the dialogue ended on instead")
    for name in order[:5]:
        some = by_fault[name]
        ends = Counter(
            f"{one.played.ending}: {one.played.concluded}" for one in some if not one.final_right
        )
        print(f"  {name}: " + ", ".join(f"{end} {n}" for end, n in ends.most_common(4)))


def main() -> None:
    """Play the calls and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--calls", type=int, default=4000, help="single-fault calls of each kind")
    parser.add_argument("--two-faults", type=int, default=None, help="default: a quarter of them")
    parser.add_argument("--seed", type=int, default=REPORTED)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--think", choices=["quick", "normal", "deep"], default="normal")
    chosen = parser.parse_args()
    two = chosen.calls // 4 if chosen.two_faults is None else chosen.two_faults
    started = time.perf_counter()
    print(
        f"{platform.machine()}, Python {platform.python_version()}, {chosen.processes} processes; "
        f"seed {chosen.seed}; rules {rules().digest[:12]}; think {chosen.think}"
    )
    with ProcessPoolExecutor(chosen.processes) as pool:
        for title, how_often in (("as common", "as-common"), ("each fault as often", "equally")):
            how: HowOften = "equally" if how_often == "equally" else "as-common"
            outcomes = play_all(pool, chosen.seed, chosen.calls, 1, how, chosen.think)
            print_summary(f"one fault, {title}", outcomes)
            print_calibration(title, outcomes)
            if how == "equally":
                print_by_fault(outcomes)
        outcomes = play_all(pool, chosen.seed, two, 2, "as-common", chosen.think)
        print_summary("two faults, as common", outcomes)
        print_calibration("two faults", outcomes)
    print(f"\n{time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
