"""How long a person waits: help, a cold next step, a next step in process.

Run: python tests/benchmarks/bench_steps.py [--runs 15]

Cold figures are whole processes, beside one that only starts Python, in the same run and taking
turns, so that a busy machine slows both; the ratio is the figure to compare between machines.
Run it with the Python of a plain install, as people have it: where Python may not keep compiled
modules (PYTHONDONTWRITEBYTECODE), an editable install compiles them anew each time.
"""

from __future__ import annotations

import argparse
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from stillflow.engine import Session, load_rules
from stillflow.engine.inference.visit import Unit, Visit

BEGUN = """
stillflow: 1
unit: {rated_sealed: 130, rated_airflow: 114, filter: bag}
events:
  - {check: where-weak, answer: everywhere}
  - {check: sealed-inlet, answer: 104}
  - {check: working-inlet, answer: 60}
"""


def command(*args: str) -> list[str]:
    return [sys.executable, "-c", "from stillflow.cli.main import main; main()", *args]


def seconds(run: Callable[[], object]) -> float:
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def process(args: list[str]) -> Callable[[], object]:
    def run() -> object:
        return subprocess.run(args, capture_output=True, check=True)

    return run


def cold(runs: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        empty, begun = Path(folder) / "empty.yaml", Path(folder) / "begun.yaml"
        empty.write_text("stillflow: 1\nunit: {rated_sealed: 130, rated_airflow: 114}\n")
        begun.write_text(BEGUN)
        whole = {
            "python -c pass": [sys.executable, "-c", "pass"],
            "stillflow --help": command("--help"),
            "stillflow next, nothing answered": command("next", str(empty), "--json"),
            "stillflow next, three answers": command("next", str(begun), "--json"),
        }
        took: dict[str, list[float]] = {name: [] for name in whole}
        for _ in range(runs):
            for name, args in whole.items():
                took[name].append(seconds(process(args)))
    bare = statistics.median(took["python -c pass"])
    print(f"{'whole process':<38}{'median s':>10}{'times bare Python':>20}")
    for name, times in took.items():
        middle = statistics.median(times)
        print(f"{name:<38}{middle:>10.3f}{middle / bare:>20.1f}")


def in_process() -> None:
    knowledge = load_rules()
    session = Session(knowledge, Visit(unit=Unit(rated_sealed=130, rated_airflow=114)))
    answers = {"sealed": 104.0, "working": 60.0}
    took = []
    for _ in range(25):
        took.append(seconds(session.next_step))
        step = session.next_step()
        if step.check is None:
            break
        if step.check.condition is not None:
            session.record(step.check.id, answers[step.check.condition])
        else:
            check = knowledge.checks[step.check.id]
            session.record(check.id, max(check.answers, key=lambda one: one.usual).id)
    # The first step builds the rule network; a visit waits for it once.
    print(f"\nin process, {len(took)} steps: first {took[0] * 1000:.0f} ms, then ", end="")
    print(f"median {statistics.median(took[1:]) * 1000:.0f} ms, ", end="")
    print(f"slowest {max(took[1:]) * 1000:.0f} ms")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=15)
    print(f"{platform.processor() or platform.machine()}, Python {platform.python_version()}\n")
    cold(parser.parse_args().runs)
    in_process()
