"""Plants faults in the code and counts how many the module's own tests find.

Run: python tests/benchmarks/mutants.py [--package planning] [--each 60] [--seed 1] [--least 0.9]

The faults are those of cosmic-ray (extra `mutants`): another operator, another number, a condition
turned round, a loop that does not run. They are planted one at a time in a copy of the tracked
files, at most one at a place of the code; what changes nothing that runs (an annotation) is left
out. Only the tests in the folder that mirrors the package are asked, those that mirror the module
first. Prints each that survived as
soon as it has, says how many were found only by tests that did not end, and exits with 1 where less
than `--least` were found in one of the packages.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from cosmic_ray.commands.init import _all_work_items
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("inference", "planning", "dialogue")
PATIENCE = 5.0
"""How many times as long as on sound code the tests may take: other work slows them too."""


@dataclass(frozen=True)
class Mutant:
    """One planted fault: the file, the line, what was done, and the file's text with it."""

    path: Path
    line: int
    what: str
    text: str


def _for_types_only(node: ast.stmt) -> bool:
    return isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)


def running(text: str) -> str:
    """The code of a module as far as it runs: without annotations and docstrings."""
    tree = ast.parse(text)
    tree.body = [node for node in tree.body if not _for_types_only(node)]
    for node in ast.walk(tree):
        if isinstance(node, ast.arg):
            node.annotation = None
        elif isinstance(node, ast.FunctionDef):
            node.returns = None
        elif isinstance(node, ast.AnnAssign):
            node.annotation = ast.Constant(None)
    return ast.dump(tree)


def _runs_otherwise(before: str, after: str) -> bool:
    try:
        return running(after) != running(before)
    except SyntaxError:
        return False


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
            found.append(Mutant(path.relative_to(ROOT), line, f"{operator[5:]}: {what}", after))
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


def tests_pass(source: Path, tests: list[str], seconds: float | None = None) -> bool | None:
    """Whether the tests pass on a copy; None where they take longer than they may."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
    env = os.environ | {
        "PYTHONPATH": str(source.parent / "path"),
        "PYTHONDONTWRITEBYTECODE": "1",
        "OPENBLAS_NUM_THREADS": "1",
    }
    try:
        done = subprocess.run(
            command, cwd=source, env=env, capture_output=True, timeout=seconds, check=False
        )
    except subprocess.TimeoutExpired:
        return None
    return done.returncode == 0


def asking(package: str, module: str) -> list[str]:
    """The tests of a package, those named after the module first: they find most, and soonest."""
    folder = Path("tests/engine") / package
    own = sorted((ROOT / folder).glob(f"test_{module}*.py"))
    return [*(str(path.relative_to(ROOT)) for path in own), str(folder)]


def asked(package: str, mutants: list[Mutant], processes: int) -> tuple[int, int]:
    """How many of them the tests mirroring a package find, and how many of those by not ending."""
    with tempfile.TemporaryDirectory() as name:
        copies = [copied(Path(name) / str(index)) for index in range(processes)]
        began = time.monotonic()
        if not tests_pass(copies[0], [f"tests/engine/{package}"]):
            raise SystemExit(f"the tests of {package} fail before anything is planted")
        seconds = PATIENCE * (time.monotonic() - began)

        def outcomes(share: int) -> list[bool | None]:
            passed = []
            for mutant in mutants[share::processes]:
                target = copies[share] / mutant.path
                sound = target.read_bytes()
                target.write_text(mutant.text, encoding="utf-8")
                tests = asking(package, mutant.path.stem)
                passed.append(tests_pass(copies[share], tests, seconds))
                if passed[-1]:
                    print(f"  survived  {mutant.path}:{mutant.line}  {mutant.what}", flush=True)
                target.write_bytes(sound)
            return passed

        with ThreadPoolExecutor(processes) as pool:
            all_of_them = [one for part in pool.map(outcomes, range(processes)) for one in part]
    return len(mutants) - all_of_them.count(True), all_of_them.count(None)


def main() -> None:
    """Plant, count and say."""
    parse = argparse.ArgumentParser(description=__doc__)
    parse.add_argument("--package", action="append", choices=PACKAGES)
    parse.add_argument("--each", type=int, default=60)
    parse.add_argument("--seed", type=int, default=1)
    parse.add_argument("--least", type=float, default=0.0)
    parse.add_argument("--processes", type=int, default=2)
    options = parse.parse_args()
    enough = True
    for package in options.package or PACKAGES:
        mutants = planted(package, options.each, options.seed)
        found, endless = asked(package, mutants, options.processes)
        print(
            f"{package}: {found} of {len(mutants)} planted faults found,"
            f" {endless} of them by tests that did not end",
            flush=True,
        )
        enough = enough and found >= options.least * len(mutants)
    sys.exit(0 if enough else 1)


if __name__ == "__main__":
    main()
