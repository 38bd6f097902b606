"""Plants faults in the code and counts how many the mirroring tests find.

Run: python tests/benchmarks/mutants.py [--package planning] [--each 60] [--seed 1] [--least 0.9]

The faults are those of cosmic-ray (extra `mutants`): another operator, another number, a condition
turned round, a loop that does not run. They are planted one at a time in a copy of the tracked
files, at most one at a place of the code; what does nothing on sound code (an annotation, an
assertion for the type checker, `strict` of a zip) is left out. Only the tests in the folder that
mirrors the package are asked, and of them those that run the line (as coverage saw on sound code)
or mirror the module; where the line runs at import, all. Tests slower than `SLOW` are not asked.
The quickest come first, and the first failure ends it. What is not found within `BUDGET` seconds of
the processor counts as survived: the figure is rather too low than too high. Prints what became of
each as soon as it is known, says how many were found only because a test did not end, and exits
with 1 where less than `--least` were found in one of the packages.

A worker imports what lies below the package once and forks for every fault: nearly all of the time
goes into the tests, not into starting Python.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import itertools
import json
import multiprocessing
import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import coverage
import pytest
from cosmic_ray.commands.init import _all_work_items
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("inference", "planning", "dialogue")
BELOW = {
    "inference": ("base", "airflow", "ruleset"),
    "planning": ("base", "airflow", "ruleset", "inference"),
    "dialogue": ("base", "airflow", "ruleset", "inference", "planning"),
}
"""What a worker may import before a fault is planted: it does not import the package."""
BUDGET = 20.0
"""Seconds of the processor for the tests of one fault."""
PATIENCE = 5.0
"""How many times as long as on sound code a test may take before it is said not to end."""
SLOW = 5.0
"""A test that takes more seconds of the processor than this on sound code is not asked."""
SURVIVED, FOUND, ENDLESS = 0, 1, 2


@dataclass(frozen=True)
class Mutant:
    """One planted fault: the file, the line, the lines of its statement, what, and the new text."""

    path: Path
    line: int
    statement: range
    what: str
    text: str


def _for_types_only(node: ast.stmt) -> bool:
    return isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)


def running(text: str) -> str:
    """The code of a module as far as it does anything: without annotations, assertions."""
    tree = ast.parse(text)
    tree.body = [node for node in tree.body if not _for_types_only(node)]
    for node in ast.walk(tree):
        if isinstance(node, ast.arg):
            node.annotation = None
        elif isinstance(node, ast.FunctionDef):
            node.returns = None
        elif isinstance(node, ast.AnnAssign):
            node.annotation = ast.Constant(None)
        elif isinstance(node, ast.Assert):
            node.test = ast.Constant(True)
        elif isinstance(node, ast.keyword) and node.arg == "strict":
            node.value = ast.Constant(True)
    return ast.dump(tree)


def _runs_otherwise(before: str, after: str) -> bool:
    try:
        return running(after) != running(before)
    except SyntaxError:
        return False


def statement(text: str, line: int) -> range:
    """The lines of the innermost statement that has this one; of a compound one its head."""
    best = range(line, line + 1)
    width = len(text)
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.stmt) and node.lineno <= line <= (node.end_lineno or line):
            body = getattr(node, "body", None)
            last = body[0].lineno - 1 if body else node.end_lineno or line
            if last >= line and last - node.lineno < width:
                best, width = range(node.lineno, max(last, line) + 1), last - node.lineno
    return best


def planted(package: str, each: int, seed: int) -> list[Mutant]:
    """Faults to plant in a package, drawn by a seed, at most one at a place."""
    modules = sorted((ROOT / "engine" / package).glob("[!_]*.py"))
    draw = random.Random(f"{package} {seed}")
    places: dict[tuple[str, tuple[int, int]], list[tuple[str, int]]] = {}
    for item in _all_work_items(modules, {}):
        [one] = item.mutations
        where = (str(one.module_path), tuple(one.start_pos))
        places.setdefault(where, []).append((one.operator_name, one.occurrence))
    order = sorted(places)
    draw.shuffle(order)
    found: list[Mutant] = []
    for name, (line, _) in order:
        if len(found) == each:
            break
        path = Path(name)
        before = path.read_text(encoding="utf-8")
        operator, occurrence = draw.choice(places[name, (line, _)])
        after = mutate_code(before, get_operator(operator)(), occurrence)
        if after is not None and _runs_otherwise(before, after):
            what = next(
                (
                    b.strip()
                    for a, b in zip(before.split("\n"), after.split("\n"), strict=False)
                    if a != b
                ),
                "",
            )
            said = f"{operator[5:]}: {what}"
            lines = statement(before, line)
            found.append(Mutant(path.relative_to(ROOT), line, lines, said, after))
    return found


def copied(folder: Path) -> Path:
    """A copy of the tracked files, and beside it a path on which the copy is `stillflow`."""
    names = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\0")
    for name in filter(None, names):
        target = folder / "src" / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if (ROOT / name).is_file():
            target.write_bytes((ROOT / name).read_bytes())
    (folder / "path" / "stillflow").mkdir(parents=True)
    for top in ("rules", "engine", "casebook", "cli"):
        (folder / "path" / "stillflow" / top).symlink_to(folder / "src" / top)
    return folder / "src"


class Watched:
    """A pytest plugin that writes down which test runs which lines of a package, and how long."""

    def __init__(self, package: Path, into: Path) -> None:
        self.cover = coverage.Coverage(data_file=None, include=[f"{package}/*"])
        self.into = into
        self.seconds: dict[str, float] = {}
        self.failed = self.given_up = False
        self.cover.start()

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        """One test, under its own name."""
        self.cover.switch_context(item.nodeid)
        self.given_up = False
        began = time.process_time()
        signal.signal(signal.SIGPROF, self._rings)
        signal.setitimer(signal.ITIMER_PROF, SLOW)
        yield
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        if not self.given_up:
            self.seconds[item.nodeid] = time.process_time() - began
        self.cover.switch_context("")

    def _rings(self, *_: object) -> None:
        self.given_up = True
        raise TimeoutError("too slow to be asked")

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Sound code must pass, else nothing is said by what fails on other code."""
        self.failed = self.failed or (report.failed and not self.given_up)

    def pytest_sessionfinish(self) -> None:
        """Write it down: per module and line the tests, and the seconds of every test."""
        self.cover.stop()
        data = self.cover.get_data()
        lines = {
            Path(name).stem: {
                str(line): [one for one in tests if one in self.seconds]
                for line, tests in data.contexts_by_lineno(name).items()
            }
            for name in data.measured_files()
        }
        self.into.write_text(json.dumps({"seconds": self.seconds, "lines": lines}))


class Asked:
    """A pytest plugin that asks the given tests, quickest first, as long as the budget lasts."""

    def __init__(self, seconds: dict[str, float], wanted: set[str] | None) -> None:
        self.seconds, self.wanted = seconds, wanted
        self.endless = self.spent = False

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Those that are wanted, quickest first."""
        wanted = self.seconds if self.wanted is None else self.wanted
        items[:] = sorted(
            (one for one in items if one.nodeid in wanted),
            key=lambda one: self.seconds[one.nodeid],
        )

    def _rings(self, *_: object) -> None:
        self.endless = True
        raise TimeoutError("it does not end")

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        """One test, until its time is over."""
        if time.process_time() > BUDGET:
            self.spent = True
            item.session.shouldstop = "the budget is spent"
        signal.signal(signal.SIGPROF, self._rings)
        patience = 5.0 + PATIENCE * self.seconds[item.nodeid]
        signal.setitimer(signal.ITIMER_PROF, patience, patience)
        yield
        signal.setitimer(signal.ITIMER_PROF, 0.0)


QUIET = ["-q", "-p", "no:cacheprovider", "-p", "no:anyio", "--hypothesis-profile=mutants"]
READY = ("numpy.testing", "hypothesis.strategies", "hypothesis.internal.conjecture.engine")
"""What nearly every test imports, beside the packages below."""


def _at_home(source: Path, package: str) -> None:
    """Make this process one that imports `stillflow` from a copy, and what lies below a package."""
    os.chdir(source)
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    tempfile.tempdir = str(source.parent)
    sys.path.insert(0, str(source.parent / "path"))
    null = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, 1)
    os.dup2(null, 2)
    for name in READY:
        importlib.import_module(name)
    for name in BELOW[package]:
        folder = source / "engine" / name
        for path in sorted(folder.glob("[!_]*.py")):
            importlib.import_module(f"stillflow.engine.{name}.{path.stem}")
    if any(name.startswith(f"stillflow.engine.{package}.") for name in sys.modules):
        raise SystemExit(f"{package} is imported by what lies below it")


def watched(source: Path, package: str, into: Path) -> None:
    """Run the tests of a package on sound code and write down what they run."""
    _at_home(source, package)
    plugin = Watched((source / "engine" / package).resolve(), into)
    pytest.main([*QUIET, f"tests/engine/{package}"], plugins=[plugin])
    sys.exit(int(plugin.failed))


def wanted(known: dict[str, Any], mutant: Mutant) -> set[str] | None:
    """The tests to ask about a fault: None is all."""
    module = mutant.path.stem
    run = {
        test
        for line in mutant.statement
        for test in known["lines"].get(module, {}).get(str(line), ())
    }
    own = {test for test in known["seconds"] if f"/test_{module}" in test}
    return run | own if run else None


def outcomes(
    source: Path, package: str, mutants: list[Mutant], known: dict[str, Any], answers: Any
) -> None:
    """Plant faults in one copy, one after the other, and tell what became of each."""
    _at_home(source, package)
    # Of a time of its own each, so that no compiled module is taken for another's.
    times = itertools.count(1_000_000_000, 2)
    for mutant in mutants:
        target = source / mutant.path
        sound = target.read_bytes()
        target.write_text(mutant.text, encoding="utf-8")
        os.utime(target, (next(times),) * 2)
        child = os.fork()
        if not child:
            resource.setrlimit(resource.RLIMIT_CPU, (int(3 * BUDGET), int(3 * BUDGET)))
            asks = wanted(known, mutant)
            files = (
                [f"tests/engine/{package}"]
                if asks is None
                else sorted({one.split("::")[0] for one in asks})
            )
            plugin = Asked(known["seconds"], asks)
            code = FOUND
            with suppress(BaseException):
                ended = pytest.main([*QUIET, "-x", *files], plugins=[plugin])
                passed = ended in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED)
                if passed or (plugin.spent and ended == pytest.ExitCode.INTERRUPTED):
                    code = SURVIVED
            os._exit(ENDLESS if plugin.endless else code)
        answers.put((mutant, os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])))
        target.write_bytes(sound)
        os.utime(target, (next(times),) * 2)


def asked(package: str, mutants: list[Mutant], processes: int, kept: Path | None) -> list[int]:
    """What became of each: found by the tests mirroring the package, survived, or endless."""
    fresh = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as name:
        copies = [copied(Path(name) / str(index)) for index in range(processes)]
        into = (kept or Path(name)) / f"{package}.json"
        if not into.exists():
            sound = fresh.Process(target=watched, args=(copies[0], package, into))
            sound.start()
            sound.join()
            if sound.exitcode:
                raise SystemExit(f"the tests of {package} fail before anything is planted")
        known = json.loads(into.read_text(encoding="utf-8"))
        answers = fresh.Queue()
        workers = [
            fresh.Process(
                target=outcomes,
                args=(copies[share], package, mutants[share::processes], known, answers),
            )
            for share in range(processes)
        ]
        for worker in workers:
            worker.start()
        codes = []
        for _ in mutants:
            mutant, code = answers.get()
            codes.append(ENDLESS if code < 0 else code)
            word = {SURVIVED: "survived", FOUND: "found"}.get(codes[-1], "no end")
            print(f"  {word:8}  {mutant.path}:{mutant.line}  {mutant.what}", flush=True)
        for worker in workers:
            worker.join()
    return codes


def main() -> None:
    """Plant, count and say."""
    parse = argparse.ArgumentParser(description=__doc__)
    parse.add_argument("--package", action="append", choices=PACKAGES)
    parse.add_argument("--each", type=int, default=60)
    parse.add_argument("--seed", type=int, default=1)
    parse.add_argument("--least", type=float, default=0.0)
    parse.add_argument("--processes", type=int, default=2)
    parse.add_argument("--kept", type=Path, help="a folder for what the tests run, kept for later")
    options = parse.parse_args()
    enough = True
    for package in options.package or PACKAGES:
        mutants = planted(package, options.each, options.seed)
        codes = asked(package, mutants, options.processes, options.kept)
        found = len(codes) - codes.count(SURVIVED)
        print(
            f"{package}: {found} of {len(mutants)} planted faults found,"
            f" {codes.count(ENDLESS)} of them by tests that did not end",
            flush=True,
        )
        enough = enough and found >= options.least * len(mutants)
    sys.exit(0 if enough else 1)


if __name__ == "__main__":
    main()
