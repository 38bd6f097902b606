"""Whole calls: this version, another one and a printed card in the same houses with the same luck.

    python tests/benchmarks/bench_whole_calls.py --beside PYTHON
        [--calls 1000] [--two-faults 300] [--processes 2] [--seed 20262]

`--beside` is the interpreter of a virtual environment in which another version of stillflow is
installed; without it that column is left out. `--only ours unseeing` plays the same planner without
ways, put-backs and gauges in place in its plan; it is charged for them like the rest. What a step
costs, what a house answers and what counts as right is said in `whole_calls`; the card is in
`printed_card`, and its settings were chosen on seeds 7001 to 7010. The seed of the report is used
for nothing else.
"""

from __future__ import annotations

import argparse
import os
import platform
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache, partial
from pathlib import Path
from typing import Literal

# One thread a process: small tables lose more to handing work out than they gain.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from calibration import draw, print_calibration
from printed_card import PrintedCard
from whole_calls import Begin, Beside, Played, play_call, unseeing

from stillflow.engine import Session, load_rules
from stillflow.engine.base import Floats, Mode
from stillflow.engine.ruleset import Knowledge
from stillflow.engine.simulate.calls import draw_calls

REPORTED = 20262
"""The seed of the figures in the README. Neither rules, planner nor card are worked on with it."""
CHUNK = 20
OURS, UNSEEING, BESIDE, CARD = "ours", "unseeing", "beside", "card"
RESAMPLED = 1000
SLOW, VERY_SLOW = 120.0, 240.0
HIGH_FT = 2000.0

Table = Mapping[str, Sequence[Played]]
"""By policy, what became of the calls; the same call at the same place in each."""


@lru_cache(maxsize=1)
def rules() -> Knowledge:
    """The shipped rules, once a process."""
    return load_rules()


@lru_cache
def policy(name: str, python: str) -> Begin:
    """How a call is begun by a policy, once a process."""
    if name in (OURS, UNSEEING):
        return partial(Session, rules() if name == OURS else unseeing(rules()))
    return Beside(python) if name == BESIDE else partial(PrintedCard, rules())


def play_chunk(
    start: int, count: int, seed: int, faults: Literal[1, 2], names: Sequence[str], python: str
) -> dict[str, list[Played]]:
    """Draw some calls, and let each policy play each of them."""
    calls = draw_calls(rules(), np.random.default_rng([seed, faults, start]), count, faults)
    return {
        name: [
            play_call(policy(name, python), call, (seed, faults, start + number))
            for number, call in enumerate(calls)
        ]
        for name in names
    }


def play_all(
    pool: ProcessPoolExecutor,
    count: int,
    seed: int,
    faults: Literal[1, 2],
    names: Sequence[str],
    python: str,
) -> Table:
    """Play calls in chunks, so that a seed gives the same calls on any number of cores."""
    starts = range(0, count, CHUNK)
    counts = [min(CHUNK, count - start) for start in starts]
    work = partial(play_chunk, seed=seed, faults=faults, names=names, python=python)
    chunks = list(pool.map(work, starts, counts))
    return {name: [one for chunk in chunks for one in chunk[name]] for name in names}


def share(flags: Sequence[bool]) -> str:
    """Per cent and its standard error."""
    p = float(np.mean(flags))
    return f"{100 * p:5.1f} ± {100 * (p * (1 - p) / len(flags)) ** 0.5:3.1f}"


def minutes(played: Sequence[Played]) -> Floats:
    """Minutes of every call."""
    return np.array([one.minutes for one in played])


def print_group(title: str, table: Table) -> None:
    """What some calls came to, a line a policy, and the ratios of ours to the others."""
    count = len(next(iter(table.values())))
    print(f"\n== {title}: {count} calls")
    if not count:
        return
    print(
        "          first fix %  concluded %     mended %  checks  fixes  minutes "
        "mean  median    90 %    99 %   >2 h %  >4 h %"
    )
    for name, played in table.items():
        spent = minutes(played)
        figures = (
            *np.percentile(spent, (50, 90, 99)),
            *(100 * (spent > at).mean() for at in (SLOW, VERY_SLOW)),
        )
        print(
            f"  {name:8s} {share([one.first_right for one in played])}  "
            f"{share([one.right for one in played])}  {share([one.mended for one in played])}  "
            f"{np.mean([one.checks for one in played]):6.1f}  "
            f"{np.mean([len(one.offered) for one in played]):5.2f}  "
            f"{spent.mean():6.1f} ± {spent.std() / count**0.5:4.1f}  "
            + "  ".join(f"{figure:6.1f}" for figure in figures)
        )
    for name in (UNSEEING, BESIDE, CARD):
        if name in table and OURS in table and count > 1:
            print(f"  ours / {name:8s}" + _ratios(minutes(table[OURS]), minutes(table[name])))


def _ratios(ours: Floats, theirs: Floats) -> str:
    """Ratio of means and of 90th percentiles, each with a bootstrap standard error over calls."""
    drawn = np.random.default_rng(0).integers(len(ours), size=(RESAMPLED, len(ours)))
    parts = []
    for word, of in (("mean", _mean), ("90 %", _ninetieth)):
        spread = (of(ours[drawn]) / of(theirs[drawn])).std()
        parts.append(f"  {word} {of(ours[None])[0] / of(theirs[None])[0]:.3f} ± {spread:.3f}")
    return "".join(parts)


def _mean(rows: Floats) -> Floats:
    return rows.mean(axis=1)


def _ninetieth(rows: Floats) -> Floats:
    return np.asarray(np.percentile(rows, 90, axis=1))


def offered(played: Sequence[Played]) -> Mapping[str, tuple[Floats, Floats]]:
    """Probabilities that fixes were proposed with, and whether they were needed."""
    every = {
        "first fix": [one.offered[0][1:] for one in played if one.offered],
        "every fix": [fix[1:] for one in played for fix in one.offered],
    }
    columns = {name: np.array(some, dtype=np.float64).T for name, some in every.items() if some}
    # A policy without probabilities has none to be held to.
    return {
        name: (said, right) for name, (said, right) in columns.items() if not np.isnan(said).any()
    }


def in_order(one: Played) -> bool:
    """Whether nothing was broken in that house."""
    return all(rules().faults[name].mode is Mode.NORMAL for name in one.hidden)


def origin_is(origin: str, one: Played) -> bool:
    """Whether the expected readings came from there."""
    return one.origin == origin


def high(one: Played) -> bool:
    """Whether the house lies high."""
    return one.altitude_ft > HIGH_FT


GROUPS: Mapping[str, Callable[[Played], bool]] = {
    **{name: partial(origin_is, name) for name in ("rated", "class", "last-visit")},
    f"above {HIGH_FT:,.0f} ft": high,
    "nothing is wrong": in_order,
}


def print_table(title: str, table: Table) -> None:
    """All calls, and the same by kind of call."""
    print_group(title, table)
    for name, fits in GROUPS.items():
        kept = [row for row, one in enumerate(next(iter(table.values()))) if fits(one)]
        if kept:
            some = {policy: [played[row] for row in kept] for policy, played in table.items()}
            print_group(f"{title}, {name}", some)
    for name in (OURS, BESIDE):
        if name in table:
            for what, (said, right) in offered(table[name]).items():
                print_calibration(f"{name}, {title}, {what}", said, right)


def main() -> None:
    """Play the calls and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--beside", default="", metavar="PYTHON")
    parser.add_argument("--calls", type=int, default=1000, help="calls with one fault")
    parser.add_argument("--two-faults", type=int, default=None, help="default: 3 of 10 of them")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--seed", type=int, default=REPORTED)
    parser.add_argument("--only", nargs="+", choices=(OURS, UNSEEING, BESIDE, CARD), default=None)
    parser.add_argument("--diagram", type=Path, default=None, help="reliability of fixes, as SVG")
    chosen = parser.parse_args()
    two = chosen.calls * 3 // 10 if chosen.two_faults is None else chosen.two_faults
    names = chosen.only or [OURS, *([BESIDE] if chosen.beside else []), CARD]
    began = time.perf_counter()
    print(
        f"{platform.machine()}, Python {platform.python_version()}; seed {chosen.seed}; "
        f"rules {rules().digest[:12]}"
    )
    with ProcessPoolExecutor(chosen.processes) as pool:
        for title, count, faults in (("one fault", chosen.calls, 1), ("two faults", two, 2)):
            number: Literal[1, 2] = 1 if faults == 1 else 2
            table = play_all(pool, count, chosen.seed, number, names, chosen.beside)
            print_table(title, table)
            if chosen.diagram and faults == 1 and OURS in table:
                draw(chosen.diagram, offered(table[OURS]))
    print(f"\n[{time.perf_counter() - began:.0f} s]")


if __name__ == "__main__":
    main()
