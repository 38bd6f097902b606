"""Drills as played by the planner, a printed card and one who does whatever comes up; and a class.

    python tests/benchmarks/bench_drill.py [--seeds N] [--processes N] [--class FOLDER]

Seeds 0 to N-1 take the three levels in turn; everybody plays the same house with the same luck. The
planner's calls in houses without a danger stand beside `whole_calls` in the very same houses, with
luck of its own and the clock of the other benchmarks. With --class three invented trainees sit
exam 1 anew, and their marks and the page about them are left in the folder.
"""

from __future__ import annotations

import argparse
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path
from statistics import fmean, stdev

# One thread a process: small tables lose more to handing work out than they gain.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from drill_players import CARD, CLASS, PLANNER, RANDOM, Plays
from whole_calls import Played, play_call

from stillflow.casebook.marks import EXAM, EXAM_LEVELS, add_mark, exam_seed, mark_of
from stillflow.engine import Session, load_rules
from stillflow.engine.drill import AGAIN_MINUTES, LEVELS, Order, build_house, play_by_plan, review
from stillflow.engine.ruleset import Knowledge

PLAYERS: tuple[Plays, ...] = (PLANNER, CARD, RANDOM)


@dataclass(frozen=True)
class Came:
    """What one drill came to."""

    well: bool
    minutes: float
    mark: int
    ending: str

    @property
    def on_site(self) -> float:
        """Minutes without the drive back to a house left unmended."""
        return self.minutes - AGAIN_MINUTES * (self.ending in ("not-mended", "stopped-for-nothing"))


@dataclass(frozen=True)
class Row:
    """One house: what each player came to, and the planner in the benchmark of whole calls."""

    level: int
    danger: bool
    came: dict[str, Came]
    called: Played


@lru_cache(maxsize=1)
def rules() -> Knowledge:
    """The shipped rules, once a process."""
    return load_rules()


def played(seed: int) -> Row:
    """The house of a seed, by everybody."""
    level = LEVELS[seed % len(LEVELS)]
    house = build_house(rules(), Order(seed, level))
    planners = play_by_plan(rules(), house)
    came = {}
    for player in PLAYERS:
        drill = planners if player is PLANNER else player.play(rules(), house)
        of = review(drill, planners)
        came[player.name] = Came(of.ended_well, drill.minutes, of.mark, str(drill.ending))
    call = replace(house.fresh().call, visit=house.visit)
    called = play_call(partial(Session, rules()), call, [seed, level])
    return Row(level, bool(house.danger), came, called)


def print_tables(rows: Sequence[Row]) -> None:
    """Everybody by level, and the planner beside the benchmark of whole calls."""
    print(f"{len(rows)} houses")
    print("| player | level | houses | ended well | minutes | mark | hurt |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for player in PLAYERS:
        for level in LEVELS:
            some = [row.came[player.name] for row in rows if row.level == level]
            hurt = sum(one.ending == "hurt" for one in some)
            print(
                f"| {player.name} | {level} | {len(some)} | {fmean(one.well for one in some):.0%} "
                f"| {mean([one.minutes for one in some])} | {mean([one.mark for one in some])} "
                f"| {hurt} |"
            )
    print("\n| level | no danger | drills mended | minutes | whole calls mended | minutes |")
    print("| --- | --- | --- | --- | --- | --- |")
    for level in LEVELS:
        safe = [row for row in rows if row.level == level and not row.danger]
        drills = [row.came[PLANNER.name] for row in safe]
        print(
            f"| {level} | {len(safe)} | {fmean(one.well for one in drills):.0%} "
            f"| {mean([one.on_site for one in drills])} "
            f"| {fmean(row.called.mended for row in safe):.0%} "
            f"| {mean([row.called.minutes for row in safe])} |"
        )


def mean(values: Sequence[float]) -> str:
    """A mean and its standard error."""
    return f"{fmean(values):.0f} ± {stdev(values) / len(values) ** 0.5:.1f}"


def sit_exam(knowledge: Knowledge, folder: Path) -> None:
    """Let the class sit exam 1 anew, and write what the page about it shows."""
    marks = folder / "marks.jsonl"
    marks.unlink(missing_ok=True)
    for player in CLASS:
        for number in range(1, EXAM + 1):
            house = build_house(knowledge, Order(exam_seed(1, number), EXAM_LEVELS[number - 1]))
            came = review(player.play(knowledge, house))
            add_mark(marks, mark_of(came, player.name, 1, number))
    page = folder / "README.md"
    text = page.read_text(encoding="utf-8")

    def shown(found: re.Match[str]) -> str:
        said = printed(marks, *shlex.split(found[1])).strip()
        return f"`stillflow drill {found[1]}`\n\n```text\n{said}\n```"

    page.write_text(SHOWN.sub(shown, text), encoding="utf-8")
    printed(marks, "marks", "--set", "1", "--chart", str(folder / "progress.svg"))


SHOWN = re.compile(r"`stillflow drill (marks [^`]*)`\n\n```text\n.*?```", re.DOTALL)
"""On the page about the class, a command and what it prints."""


def printed(marks: Path, *command: str) -> str:
    """What a command on the marks prints."""
    program = str(Path(sys.executable).with_name("stillflow"))
    run = [program, "drill", "--marks", str(marks), *command]
    return subprocess.run(run, capture_output=True, check=True, text=True).stdout


def main() -> None:
    """Print the tables, or let the class sit its exam."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=60)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--class", dest="folder", type=Path)
    given = parser.parse_args()
    if given.folder is not None:
        sit_exam(rules(), given.folder)
        return
    rows = []
    with ProcessPoolExecutor(given.processes) as pool:
        for row in pool.map(played, range(given.seeds)):
            rows.append(row)
            if len(rows) % 50 == 0:
                print(f"{len(rows)} of {given.seeds}", file=sys.stderr, flush=True)
    print_tables(rows)


if __name__ == "__main__":
    main()
