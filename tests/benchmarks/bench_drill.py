"""Drills as played by the planner and by somebody who does whatever comes up; and a class.

    python tests/benchmarks/bench_drill.py [--seeds N] [--class FOLDER]

With --class three invented trainees sit exam 1, and their marks are left in the folder.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from statistics import fmean

from drill_players import CLASS, PLANNER, RANDOM, Player

from stillflow.casebook.marks import EXAM, EXAM_LEVELS, add_mark, exam_seed, mark_of
from stillflow.engine import load_rules
from stillflow.engine.drill import LEVELS, Order, Review, build_house, review
from stillflow.engine.ruleset import Knowledge


def row(name: str, level: int, reviews: list[Review]) -> str:
    """One line of the table."""
    well = fmean(one.ended_well for one in reviews)
    spent = fmean(one.yours.minutes for one in reviews)
    mark = fmean(one.mark for one in reviews)
    hurt = sum(one.yours.ending == "hurt" for one in reviews)
    figures = f"{100 * well:.0f} % | {spent:.0f} | {mark:.0f} | {hurt}"
    return f"| {name} | {level} | {len(reviews)} | {figures} |"


def played(knowledge: Knowledge, player: Player, level: int, seeds: int) -> list[Review]:
    """The houses of the first seeds, played."""
    return [
        review(player.play(knowledge, build_house(knowledge, Order(seed, level))))  # type: ignore[arg-type]
        for seed in range(seeds)
    ]


def sit_exam(knowledge: Knowledge, file: Path) -> None:
    """Let the class sit exam 1."""
    for player in CLASS:
        for number in range(1, EXAM + 1):
            house = build_house(knowledge, Order(exam_seed(1, number), EXAM_LEVELS[number - 1]))
            came = review(player.play(knowledge, house))
            add_mark(file, mark_of(came, player.name, 1, number))


def main() -> None:
    """Print the table, or let the class sit its exam."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--class", dest="folder", type=Path)
    given = parser.parse_args()
    knowledge = load_rules()
    if given.folder is not None:
        sit_exam(knowledge, given.folder / "marks.jsonl")
        return
    print("| player | level | houses | ended well | minutes | mark | hurt |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for player in (PLANNER, RANDOM):
        for level in LEVELS:
            print(
                row(player.name, level, played(knowledge, player, level, given.seeds)), flush=True
            )


if __name__ == "__main__":
    main()
