"""The planner on the shipped rules, beside other ways of going about the same simulated calls.

Run: python tests/benchmarks/bench_rules_planner.py [--calls 4000] [--processes 2]
Needs: pip install -e '.[bench]'

Every policy meets the same calls with the same luck (`table_calls`), so differences are taken call
by call. **The calls are drawn from the rules' own tables**: the figures say how well a policy uses
what the rules claim, not how true the claims are. Each rival that stops checking when a fix is sure
enough, and the decision tree, gets the setting that serves it best on other calls, which are drawn
with another seed.
"""

from __future__ import annotations

import argparse
import os
import platform
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any

# One thread a process: small tables lose more to handing work out than they gain.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from belief_network import Network
from learnt_tree import LearntTree, grow, training_part
from numpy.typing import NDArray
from rival_policies import Checklist, FixesOnly, FlowChart, Information, OneStep, Ours
from table_calls import Act, Place, Point, Policy

from stillflow.casebook.generated import CallKind, draw_kinds
from stillflow.engine import Session, load_rules
from stillflow.engine.dialogue.unrolled import visit_tree

Floats = NDArray[np.float64]

SURE = (0.3, 0.5, 0.7, 0.8, 0.9)
LEAVES = (5, 20, 80)
SEED = 11
TRAINING, TUNING, TESTING = 1, 2, 3

OURS = "ours, normal"
QUICK = "ours, quick"
CHECKLIST = "(a) checklist, cheapest first"
CHART = "(b) printed flow chart"
FIXES = "(c) fixes only, P-over-C"
INFORMATION = "(d) information per minute"
TREE = "(e) decision tree, learnt"
NETWORK = "(f) value of information, network"
ELIMINATING = "(f) the same through pgmpy"
ONE_STEP = "one-step expected cost"

SIMPLE: dict[str, Callable[[Place], Policy]] = {
    OURS: lambda place: Ours(place, "normal"),
    QUICK: lambda place: Ours(place, "quick"),
    ONE_STEP: OneStep,
    FIXES: FixesOnly,
    NETWORK: Network,
    ELIMINATING: lambda place: Network(place, eliminating=True),
}
UNTIL: dict[str, Callable[[Place, float], Policy]] = {
    CHECKLIST: Checklist,
    CHART: FlowChart,
    INFORMATION: Information,
}


@dataclass(frozen=True)
class Setting:
    """One policy with what can be set about it: a probability, or a trained tree."""

    name: str
    value: Any = None

    def policy(self, place: Place) -> Policy:
        """The policy, for one kind of unit and house."""
        if self.name in SIMPLE:
            return SIMPLE[self.name](place)
        if self.name in UNTIL:
            return UNTIL[self.name](place, self.value)
        return LearntTree(place, self.value)


@lru_cache(maxsize=1)
def kinds(count: int) -> list[CallKind]:
    """The kinds of unit and house, once per process."""
    return draw_kinds(load_rules(), np.random.default_rng(SEED), count)


@lru_cache(maxsize=1)
def place(number: int, count: int) -> Place:
    """One of them, as a place to play calls in."""
    return Place(kinds(count)[number])


def shares(total: int, parts: int) -> list[int]:
    """A number split as evenly as can be."""
    return [total // parts + (part < total % parts) for part in range(parts)]


def draw_training(number: int, count: int, of: int) -> tuple[NDArray[np.float32], NDArray[np.str_]]:
    """Training calls of one kind."""
    return training_part(kinds(of)[number], (SEED, TRAINING, number), count)


def play_part(part: tuple[Setting, int, int], of: int, purpose: int) -> Floats:
    """Play one policy on the calls of one kind: minutes, checks and fixes of each, (calls, 3)."""
    setting, number, calls = part
    here = place(number, of)
    generator = np.random.default_rng((SEED, purpose, number))
    faults = list(here.knowledge.faults)
    prior = here.model.prior(here.kind.start.standing)
    hidden = generator.choice(len(faults), size=calls, p=prior)
    luck = generator.random((calls, len(here.check_ids)))
    policy = setting.policy(here)
    start, before = here.start()
    played = [
        here.play(start, policy, faults[fault], row)
        for fault, row in zip(hidden, luck, strict=True)
    ]
    found = [(before + one.minutes, one.checks, one.fixes) for one in played]
    return np.array(found, dtype=np.float64).reshape(-1, 3)


def play_all(
    pool: ProcessPoolExecutor, settings: Sequence[Setting], calls: int, of: int, purpose: int
) -> list[Floats]:
    """Play each policy on the same calls."""
    counts = shares(calls, of)
    parts = [(one, number, counts[number]) for number in range(of) for one in settings]
    found = list(pool.map(partial(play_part, of=of, purpose=purpose), parts))
    rows = range(len(settings))
    return [np.concatenate(found[row :: len(settings)]) for row in rows]


def print_table(settings: Sequence[Setting], played: Sequence[Floats]) -> None:
    """One line a policy, with what ours saves beside it, call by call."""
    ours = played[0][:, 0]
    print(
        f"{'':<34}{'minutes':>9}{'± se':>6}{'checks':>8}{'fixes':>7}"
        f"{'ours / this':>13}{'± se':>7}{'this - ours':>13}{'± se':>6}"
    )
    for one, found in zip(settings, played, strict=True):
        minutes, checks, fixes = found.T
        count = len(minutes)
        ratio = ours.mean() / minutes.mean()
        ratio_error = (ours - ratio * minutes).std(ddof=1) / minutes.mean() / count**0.5
        more = minutes - ours
        name = f"{one.name}, at {one.value:g}" if isinstance(one.value, float) else one.name
        print(
            f"{name:<34}{minutes.mean():>9.1f}{minutes.std(ddof=1) / count**0.5:>6.1f}"
            f"{checks.mean():>8.1f}{fixes.mean():>7.2f}{ratio:>13.3f}{ratio_error:>7.3f}"
            f"{more.mean():>13.2f}{more.std(ddof=1) / count**0.5:>6.2f}"
        )


def print_speed(calls: int, of: int) -> None:
    """How long decisions take, every call with nothing remembered from calls before it."""
    for think in ("quick", "normal"):
        took: list[float] = []
        for call in range(calls):
            known = kinds(of)[call % of]
            here = Place(CallKind(known.knowledge, known.arrival))
            ours = Ours(here, think)

            def timed(point: Point, ours: Policy = ours, took: list[float] = took) -> Act:
                start = time.perf_counter()
                act = ours(point)
                took.append(time.perf_counter() - start)
                return act

            generator = np.random.default_rng((SEED, TESTING, 99, call))
            prior = here.model.prior(known.start.standing)
            hidden = list(here.knowledge.faults)[int(generator.choice(len(prior), p=prior))]
            here.play(here.start()[0], timed, hidden, generator.random(len(here.check_ids)))
        middle, slow = np.quantile(took, (0.5, 0.95)) * 1000
        print(
            f"a decision at {think}: median {middle:.1f} ms, 95 % within {slow:.1f} ms "
            f"({len(took)} decisions in {calls} calls)"
        )


def print_tree(of: int) -> None:
    """How long a decision tree takes, and how many calls end in it."""
    for known in kinds(of)[:2]:
        session = Session(known.knowledge, known.arrival)
        start = time.perf_counter()
        tree = visit_tree(session, reach=0.001)
        took = time.perf_counter() - start
        print(
            f"a decision tree to a reach of 0.001: {took:.1f} s, {len(tree.nodes)} nodes "
            f"({tree.unshared} before sharing), {tree.ended:.0%} of calls end in it"
        )


def main() -> None:
    """Choose settings, play the calls, print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--calls", type=int, default=4000)
    parser.add_argument("--network-calls", type=int, default=40, help="calls played through pgmpy")
    parser.add_argument("--training", type=int, default=50_000, help="calls the tree learns from")
    parser.add_argument("--tuning", type=int, default=400, help="calls that settings are chosen on")
    parser.add_argument("--kinds", type=int, default=4, help="units in houses")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--timed-calls", type=int, default=40)
    chosen = parser.parse_args()
    of, began = chosen.kinds, time.perf_counter()

    def since() -> str:
        return f"[{time.perf_counter() - began:.0f} s]"

    rules = load_rules()
    print(
        f"{platform.machine()}, Python {platform.python_version()}, {chosen.processes} processes; "
        f"{len(rules.faults)} faults, {len(rules.checks)} checks, {len(rules.rules)} rules "
        f"({rules.digest[:12]})"
    )
    with ProcessPoolExecutor(chosen.processes) as pool:
        draw = partial(draw_training, of=of)
        parts = list(pool.map(draw, range(of), shares(chosen.training, of)))
        rows, hidden = (np.concatenate(one) for one in zip(*parts, strict=True))
        print(f"{len(rows):,} training calls drawn {since()}", flush=True)
        trees = [grow(rows, hidden, leaf) for leaf in LEAVES]
        print(f"trees trained {since()}", flush=True)
        tried = [Setting(name, sure) for name in UNTIL for sure in SURE]
        tried += [Setting(TREE, tree) for tree in trees]
        found = play_all(pool, tried, chosen.tuning, of, TUNING)
        best: dict[str, tuple[float, Setting]] = {}
        for one, result in zip(tried, found, strict=True):
            minutes = float(result[:, 0].mean())
            if one.name not in best or minutes < best[one.name][0]:
                best[one.name] = minutes, one
        leaf = LEAVES[trees.index(best[TREE][1].value)]
        print(f"settings chosen on {chosen.tuning} other calls; leaves of the tree hold {leaf} or")
        print(f"more of the training calls {since()}", flush=True)
        names = (OURS, QUICK, CHECKLIST, CHART, FIXES, INFORMATION, TREE, NETWORK, ONE_STEP)
        settings = [best[name][1] if name in best else Setting(name) for name in names]
        played = play_all(pool, settings, chosen.calls, of, TESTING)
        print(f"\n{chosen.calls:,} calls on {of} kinds of unit and house {since()}")
        print_table(settings, played)
        if calls := chosen.network_calls:
            start = time.perf_counter()
            play_all(pool, [Setting(ELIMINATING)], calls, of, TESTING)
            took = (time.perf_counter() - start) / calls
            print(f"\n(f) through pgmpy on {calls} calls: {took:.1f} s a call, beliefs equal to")
            print(f"the product that stands for it above {since()}")
    print()
    print_speed(chosen.timed_calls, of)
    print_tree(of)
    print(since())


if __name__ == "__main__":
    main()
