"""Calls gone by the printed wall tree, by the guided visit and by the printed card.

    python tests/benchmarks/bench_wall_tree.py [--calls N] [--paper NAME] [--processes N]

The tree is the one that `stillflow chart tree --paper NAME` prints for any unit and complaint.

The same houses with the same luck for all, as `whole_calls` has them. A call ends inside the tree
where nothing is left that the tree did not hand to whom it belongs.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache, partial
from pathlib import Path

# One thread a process: small tables lose more to handing work out than they gain.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from printed_card import PrintedCard
from wall_tree import WallTree
from whole_calls import Begin, Played, play_call

from stillflow.engine import Session, load_rules
from stillflow.engine.charts import DecisionTree, decision_chart, render
from stillflow.engine.simulate.calls import draw_calls

SEED = 8117
POLICIES = ("wall tree", "guided visit", "printed card")


@lru_cache(maxsize=1)
def poster(paper: str) -> DecisionTree:
    """The tree for any unit, as it is printed on a paper."""
    command = ["chart", "tree", "--paper", paper, "--format", "json", "--out", "-"]
    run = [str(Path(sys.executable).with_name("stillflow")), *command]
    content = json.loads(subprocess.run(run, capture_output=True, check=True).stdout)
    return DecisionTree.model_validate({name: content[name] for name in DecisionTree.model_fields})


def played(row: int, calls: int, paper: str) -> dict[str, Played]:
    """One call by every policy."""
    knowledge = load_rules()
    call = draw_calls(knowledge, np.random.default_rng(SEED), calls, 1)[row]
    begin: dict[str, Begin] = {
        "wall tree": partial(WallTree, knowledge, poster(paper)),
        "guided visit": partial(Session, knowledge),
        "printed card": partial(PrintedCard, knowledge),
    }
    return {name: play_call(begin[name], call, [SEED, row]) for name in POLICIES}


def main() -> None:
    """Print how large the tree is, and what each policy comes to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--calls", type=int, default=100)
    parser.add_argument("--paper", default="a3")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    tree = poster(given.paper)
    pages = len(render(decision_chart(tree), "svg", given.paper, portrait=None))
    shown = tree.title.filters[-1]
    print(f"{shown}: {pages} pages of {given.paper.upper()}, {len(tree.nodes)} boxes")
    print("| policy | calls | ended with it mended | first fix right | minutes | median | 90 % |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    with ProcessPoolExecutor(given.processes) as pool:
        work = partial(played, calls=given.calls, paper=given.paper)
        rows = list(pool.map(work, range(given.calls)))
    for name in POLICIES:
        some = [row[name] for row in rows]
        spent = np.array([one.minutes for one in some])
        mended = np.mean([one.mended for one in some])
        first = np.mean([one.first_right for one in some])
        print(
            f"| {name} | {len(some)} | {mended:.0%} | {first:.0%} | {spent.mean():.0f} "
            f"± {spent.std() / len(spent) ** 0.5:.0f} | {np.median(spent):.0f} "
            f"| {np.percentile(spent, 90):.0f} |"
        )


if __name__ == "__main__":
    main()
