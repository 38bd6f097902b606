"""Minutes of calls with what was learnt from visits, beside those with the true numbers.

Run: python tests/benchmarks/bench_learnt.py [--visits 5000] [--calls 200] [--seed 20268]

Faults are up to half a power of ten rarer or more common than the shipped rules say, each drawn
alone. Visits are drawn from these: a house, its fault, and answers to six questions from the rules'
own table. What `casebook learn` makes of them is laid over the shipped rules as it is written.
Then calls drawn from the same true frequencies are played by the rules as shipped, as learnt, and
with the true numbers; houses, faults, answers and clock are the same for all three.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections import Counter
from functools import partial
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from whole_calls import play_call

from stillflow.casebook.learning import lesson, overlay
from stillflow.engine import Session, Visit, load_rules
from stillflow.engine.base import Floats
from stillflow.engine.inference import LikelihoodModel, Situation, baseline_for, rule_table
from stillflow.engine.ruleset import Knowledge
from stillflow.engine.simulate import draw_callers, fault_weights
from stillflow.engine.simulate.calls import draw_calls

ASKED = 6
MOST = 0.5
"""Powers of ten that a frequency may be off by."""


def drawn_visits(
    knowledge: Knowledge, times: Floats, count: int, generator: np.random.Generator
) -> tuple[Counter[str], Counter[tuple[str, str, str]]]:
    """How often each fault was found, and what was answered before."""
    truths = draw_callers(knowledge, generator, count).truths
    rows = fault_weights(knowledge, truths) * times
    rows = (rows / rows.sum(axis=1, keepdims=True)).cumsum(axis=1)
    luck = generator.random((count, 1))
    columns = np.minimum((rows <= luck).sum(axis=1), rows.shape[1] - 1)
    visit = Visit()
    model = LikelihoodModel(knowledge, rule_table(knowledge), baseline_for(visit, knowledge), visit)
    choices = [one.id for one in knowledge.checks.values() if one.kind == "choice"]
    tables = model.outlooks(Situation({}), choices)
    faults = list(knowledge.faults)
    found: Counter[str] = Counter()
    given: Counter[tuple[str, str, str]] = Counter()
    for column in columns:
        found[faults[column]] += 1
        for number in generator.choice(len(tables), ASKED, replace=False):
            table = tables[number]
            answer = generator.choice(len(table.answers), p=table.likelihood[:, column])
            given[faults[column], table.check_id, table.answers[answer]] += 1
    return found, given


def with_numbers(knowledge: Knowledge, times: Floats, folder: Path) -> Knowledge:
    """The rules with faults so many times as common."""
    lines = [
        f"  - {{id: faults/{name}, often: {fault.weight * by:.5g}}}"
        for (name, fault), by in zip(knowledge.faults.items(), times, strict=True)
    ]
    (folder / "true.yaml").write_text("\n".join(["change:", *lines]), encoding="utf-8")
    return load_rules([folder])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--visits", type=int, default=5000)
    parser.add_argument("--calls", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20268)
    given = parser.parse_args()
    shipped = load_rules()
    generator = np.random.default_rng(given.seed)
    times = 10.0 ** generator.uniform(-MOST, MOST, len(shipped.faults))
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as other:
        true = with_numbers(shipped, times, Path(one))
        counts, answers = drawn_visits(shipped, times, given.visits, generator)
        found = lesson(counts, shipped, given=answers)
        (Path(other) / "learnt.yaml").write_text(overlay(found, shipped), encoding="utf-8")
        learnt = load_rules([other])
    moved = sum(o.moved for o in found.faults), sum(o.moved for o in found.answers)
    print(f"{given.visits} visits: {moved[0]} frequencies and {moved[1]} numbers of answers moved")
    rules = {"shipped": shipped, "learnt": learnt, "true": true}
    minutes = []
    for number, call in enumerate(draw_calls(true, generator, given.calls)):
        luck = [given.seed, number]
        played = [play_call(partial(Session, one), call, luck) for one in rules.values()]
        minutes.append([one.minutes for one in played])
        print(number, *(f"{one.minutes:.1f}" for one in played), *call.faults, flush=True)
    rows = np.array(minutes)
    means = rows.mean(axis=0)
    for name, column in zip(rules, range(3), strict=True):
        apart = rows[:, column] / means[2] - rows[:, 2] / means[2]
        error = apart.std(ddof=1) / np.sqrt(len(rows))
        print(f"{name:<8} {means[column]:.1f} min, {1 + apart.mean():.3f} ± {error:.3f} of true")


if __name__ == "__main__":
    main()
