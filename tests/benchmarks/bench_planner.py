"""How good and how fast the planner is, on published, random and full-size problems.

    python tests/benchmarks/bench_planner.py [SECTION ...] [--problems 200] [--calls 300]

Sections: published, small, large, speed, growth; all of them if none is named. `choosing` repeats
the choice of the planner's constants, on problems none of the other sections uses. The problems
are drawn from made-up tables (`drawn_problems`): the figures say how well a policy uses a table,
not how true any table is.
"""

from __future__ import annotations

import argparse
import os
import platform
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

# One thread: small tables lose more to handing work out than they gain.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from calls import RIVALS, draw, one_step, planned, play
from drawn_problems import CHOOSING, REPORTED, large_problem, small_problem
from exact import exact_minutes
from policies import Policy, expected_minutes, optimal_minutes, policy_minutes
from published import EVERY

from stillflow.engine.planning import choice as planner
from stillflow.engine.planning.choice import Think, next_action
from stillflow.engine.planning.lookahead import Effort
from stillflow.engine.planning.policytree import Unrolled
from stillflow.engine.planning.problem import Problem
from stillflow.engine.planning.treenodes import Branch, PolicyStep

THINK: tuple[Think, ...] = ("quick", "normal", "deep")
REACHES = (0.03, 0.01, 0.003, 0.001)


@contextmanager
def look_ahead_only() -> Iterator[None]:
    """Let deep look ahead where it would otherwise search exactly."""
    kept = planner._EXACT_STATES["deep"]
    planner._EXACT_STATES["deep"] = 0
    try:
        yield
    finally:
        planner._EXACT_STATES["deep"] = kept


@contextmanager
def with_effort(think: Think, effort: Effort) -> Iterator[None]:
    """Let a way of thinking look otherwise."""
    kept, planner._EFFORTS[think] = planner._EFFORTS[think], effort
    try:
        yield
    finally:
        planner._EFFORTS[think] = kept


def table(title: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print rows as a table."""
    print(f"\n### {title}\n\n| {' | '.join(head)} |\n|{'---|' * len(head)}")
    for row in rows:
        print(f"| {' | '.join(row)} |", flush=True)


def published(_: argparse.Namespace) -> None:
    """Worked examples: the printed value, the exact solver's, and our policy's ratio to it."""
    rows = []
    for example in EVERY:
        best = exact_minutes(example.problem)
        digits = len(example.printed.partition(".")[2])
        ratios = [f"{policy_minutes(example.problem, think) / best:.3f}" for think in THINK]
        rows.append([example.name, example.printed, f"{best:.{digits}f}", *ratios, example.source])
    table("Published examples", ["example", "printed", "exact", *THINK, "source"], rows)


def small(options: argparse.Namespace) -> None:
    """Ratio to the exact optimum on random problems small enough to solve."""
    problems = [small_problem(REPORTED, i) for i in range(options.problems)]
    optimum = np.array([optimal_minutes(p) for p in problems])

    # Rivals that keep checking reach many more states; a fifth of the problems places them.
    fewer = max(options.problems // 5, 1)

    def row(name: str, minutes: Callable[[Problem], float], most: int) -> list[str]:
        ratio = np.array([minutes(p) for p in problems[:most]]) / optimum[:most]
        exactly = float(np.mean(ratio < 1.0 + 1e-9))
        high = float(np.quantile(ratio, 0.95))
        return [
            name,
            f"{most}",
            f"{ratio.mean():.4f}",
            f"{high:.4f}",
            f"{ratio.max():.4f}",
            f"{exactly:.0%}",
        ]

    rows = [row(n, lambda p, r=rival: expected_minutes(p, r), fewer) for n, rival in RIVALS.items()]
    rows += [row(think, lambda p, t=think: policy_minutes(p, t), len(problems)) for think in THINK]
    with look_ahead_only():
        rows.append(
            row("deep, look-ahead only", lambda p: policy_minutes(p, "deep"), len(problems))
        )
    title = f"{options.problems} random problems, 6-8 faults, 6-8 checks: ratio to the optimum"
    table(title, ["policy", "problems", "mean", "95 %", "worst", "optimal"], rows)


def large(options: argparse.Namespace) -> None:
    """Minutes of simulated calls at full size, the same draws for every policy."""
    problems = [large_problem(REPORTED, i) for i in range(6)]
    draws = [
        draw(p, options.calls, np.random.default_rng([REPORTED, i, 1]))
        for i, p in enumerate(problems)
    ]
    base = [play(p, one_step, d).minutes for p, d in zip(problems, draws, strict=True)]
    rivals: dict[str, Policy] = {**RIVALS, "quick": planned("quick"), "normal": planned("normal")}
    rows = []
    for name, policy in rivals.items():
        start = time.perf_counter()
        played = [play(p, policy, d) for p, d in zip(problems, draws, strict=True)]
        took = 1e3 * (time.perf_counter() - start) / sum(one.decisions for one in played)
        ratios = [one.minutes.mean() / b.mean() for one, b in zip(played, base, strict=True)]
        minutes = np.concatenate([one.minutes for one in played])
        difference = minutes - np.concatenate(base)
        error = difference.std(ddof=1) / np.sqrt(len(difference))
        rows.append(
            [
                name,
                f"{minutes.mean() / np.concatenate(base).mean():.3f}",
                f"{min(ratios):.2f}-{max(ratios):.2f}",
                f"{minutes.mean():.1f}",
                f"{difference.mean():+.1f} ± {error:.1f}",
                f"{took:.1f}",
            ]
        )
    title = f"40 faults, 55 checks: {len(problems)} problems, {options.calls} calls each"
    head = ["policy", "ratio to one-step", "over problems", "min", "difference", "ms a decision"]
    table(title, head, rows)


def speed(_: argparse.Namespace) -> None:
    """Time of a decision at 1x, 4x and 16x the faults and checks."""
    rows = []
    for times in (1, 4, 16):
        problems = [large_problem(REPORTED, i, 40 * times, 55 * times) for i in range(5)]
        row = [f"{times}x", f"{40 * times} x {55 * times}"]
        for think in THINK:
            if think == "deep" and times > 4:
                row.append("not run")
                continue
            took = np.median([timed(p, think) for p in problems], axis=0)
            row.append(f"{took[0]:.1f} ({took[1]:.1f})")
        rows.append(row)
    head = ["size", "faults x checks", *(f"{think} ms" for think in THINK)]
    table("Median time of a first decision, by the clock (of the processor)", head, rows)


def timed(problem: Problem, think: Think) -> tuple[float, float]:
    """Return the median milliseconds of a first decision, by the clock and of the processor."""
    next_action(problem, problem.priors, think=think)
    took = []
    for _ in range(3 if think == "deep" else 7):
        clock, processor = time.perf_counter(), time.process_time()
        next_action(problem, problem.priors, think=think)
        took.append((time.perf_counter() - clock, time.process_time() - processor))
    by_clock, of_processor = 1e3 * np.median(took, axis=0)
    return float(by_clock), float(of_processor)


State = tuple[tuple[float, ...], frozenset[int], frozenset[int]]


def unrolling(problem: Problem, think: Think) -> Callable[[State], PolicyStep[State]]:
    """Return our policy as the tree asks for it."""

    def policy(state: State) -> PolicyStep[State]:
        belief, opened, done = np.array(state[0]), state[1], state[2]
        action = next_action(problem, belief, opened, think, done)
        checking = action.kind == "check"
        group = (problem.access if checking else problem.fix_access)[action.index]
        after = opened if group is None else opened | {group}
        ways = []
        if checking:
            for answer, likelihood in enumerate(problem.answers[action.index].T):
                left = belief * likelihood
                if left.any():
                    weight = float(left.sum())
                    state_after = (tuple(left / weight), after, done | {action.index})
                    ways.append(Branch(f"answer {answer}", weight, state_after))
        else:
            right = float(belief[action.index])
            ways.append(Branch("right", right, ((), after, done)))
            left = belief.copy()
            left[action.index] = 0.0
            if left.any():
                state_after = (tuple(left / left.sum()), after, done)
                ways.append(Branch("wrong", float(left.sum()), state_after))
        return PolicyStep((action.kind, action.index), ways, {"minutes": action.minutes})

    return lambda state: policy(state) if state[0] else PolicyStep("fixed")


def growth(_: argparse.Namespace) -> None:
    """Size of the decision tree, and the share of calls that end inside it."""
    rows = []
    for times in (1, 4, 16):
        problem = large_problem(REPORTED, 0, 40 * times, 55 * times)
        finest = REACHES[-1] if times == 1 else REACHES[-2] if times == 4 else REACHES[-3]
        start = time.perf_counter()
        first: State = (tuple(problem.priors), frozenset(), frozenset())
        unrolled = Unrolled(first, unrolling(problem, "normal"), finest)
        took = time.perf_counter() - start
        for reach in REACHES:
            if reach < finest:
                continue
            found = unrolled.tree(reach)
            rows.append(
                [
                    f"{times}x",
                    f"{reach:g}",
                    f"{found.unshared:,}",
                    f"{len(found.nodes):,}",
                    f"{found.ended:.0%}",
                    f"{took:.1f}" if reach == finest else "",
                ]
            )
    head = ["size", "reach", "nodes", "after sharing", "calls ending inside", "s to unroll"]
    table("Decision tree at normal", head, rows)


def choosing(options: argparse.Namespace) -> None:
    """The constants tried, on problems kept for that."""
    problems = [small_problem(CHOOSING, i, most=6) for i in range(options.problems // 5)]
    optimum = np.array([optimal_minutes(p) for p in problems])
    large_ones = [large_problem(CHOOSING, i) for i in range(3)]
    rows = []
    for think, factor in [
        *(("normal", f) for f in (1.0, 1.5, 2.0, 3.0, np.inf)),
        *(("deep", f) for f in (1.5, 3.0, 4.0, np.inf)),
    ]:
        effort = planner._EFFORTS[think]
        tried = Effort(effort.steps, factor, effort.shortlist, effort.checks, effort.fixes)
        with look_ahead_only(), with_effort(think, tried):
            ratio = np.array([policy_minutes(p, think) for p in problems]) / optimum
            minutes = "not run"
            if think == "normal":
                played = [
                    play(p, planned(think), draw(p, options.calls // 2, np.random.default_rng(i)))
                    for i, p in enumerate(large_ones)
                ]
                minutes = f"{np.mean([one.minutes.mean() for one in played]):.1f}"
        rows.append([think, f"{factor:g}", f"{ratio.mean():.4f}", f"{ratio.max():.4f}", minutes])
    head = ["think", "doubt factor", "small: mean", "small: worst", "large: min"]
    table("Choosing the doubt factor (not the problems reported on)", head, rows)


SECTIONS = {
    "published": published,
    "small": small,
    "large": large,
    "speed": speed,
    "growth": growth,
    "choosing": choosing,
}


def main() -> None:
    """Run the sections asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("sections", nargs="*", metavar="SECTION", help=", ".join(SECTIONS))
    parser.add_argument("--problems", type=int, default=200)
    parser.add_argument("--calls", type=int, default=300)
    options = parser.parse_args()
    unknown = set(options.sections) - set(SECTIONS)
    if unknown:
        parser.error(f"no section {', '.join(sorted(unknown))}; there are {', '.join(SECTIONS)}")
    print(
        f"{platform.processor() or platform.machine()}, {os.cpu_count()} cores, "
        f"Python {platform.python_version()}, numpy {np.__version__}"
    )
    for name in options.sections or [name for name in SECTIONS if name != "choosing"]:
        SECTIONS[name](options)


if __name__ == "__main__":
    main()
