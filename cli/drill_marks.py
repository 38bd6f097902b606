"""`stillflow drill marks`: what trainees have, an exam as a table, progress over time as a plot."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from statistics import fmean
from typing import TYPE_CHECKING

import click

from stillflow.casebook.marks import EXAM, EXAM_LEVELS, DrillMark, read_marks
from stillflow.cli.drawing import Target, day_of, drawn, format_of, write_chart
from stillflow.cli.options import json_option
from stillflow.cli.output import say_json
from stillflow.cli.screen import Screen
from stillflow.engine.base import InputError, minutes

if TYPE_CHECKING:
    from stillflow.engine.charts import Chart


LOW = 50
"""Below this a mark is explained on a trainee's page."""


@click.command("marks")
@click.option("--trainee", metavar="NAME", help="only this one: a page of all their drills")
@click.option("--set", "exam", type=int, metavar="N", help="only this exam: its results table")
@click.option(
    "--chart",
    type=click.Path(dir_okay=False),
    metavar="FILE",
    help="draw progress over time: a file ending in .svg, .png, .pdf or .json",
)
@json_option
@click.pass_obj
def marks(
    file: Path, trainee: str | None, exam: int | None, chart: str | None, as_json: bool
) -> None:
    """Show the marks that are kept: a table of trainees, an exam, or one trainee's page."""
    if chart is not None:
        format_of(Path(chart))
    kept = [
        one
        for one in read_marks(file)
        if (trainee is None or trainee.casefold() == one.trainee.casefold())
        and exam in (None, one.exam)
    ]
    if as_json:
        say_json({"marks": [one.model_dump(mode="json") for one in kept]})
    elif not kept:
        Screen().text(f"No marks of that kind are kept in {file}.")
    elif trainee is not None:
        show_trainee(Screen(), kept, trainee)
    elif exam is not None:
        show_results(Screen(), kept, exam)
    else:
        show_all(Screen(), kept)
    if chart is not None:
        if not kept:
            raise InputError("there are no marks to draw", right="drill first")
        paths = write_chart(progress_of(kept, trainee, exam), Target(chart))
        if not as_json:
            Screen().text(drawn(paths))


def show_results(screen: Screen, kept: Sequence[DrillMark], exam: int) -> None:
    """An exam: a row for each trainee, a column for each house."""
    screen.gap()
    screen.head(f"Exam {exam}", f"{EXAM} houses, marks of 100")
    rows = []
    for name in dict.fromkeys(one.trainee for one in kept):
        # The first try counts.
        by_house: dict[int, DrillMark] = {}
        for one in kept:
            if one.trainee == name and one.exam == exam and one.number is not None:
                by_house.setdefault(one.number, one)
        got = [by_house[n].mark if n in by_house else None for n in range(1, EXAM + 1)]
        mean = fmean(mark or 0 for mark in got)
        shown = ("-" if mark is None else str(mark) for mark in got)
        hints = sum(one.hints for one in by_house.values())
        rows.append((name[:16], *shown, f"{mean:.0f}", str(hints)))
    rows.sort(key=lambda row: (-float(row[-2]), row[0]))
    screen.table(("", *(str(n) for n in range(1, EXAM + 1)), "mean", "hints"), rows)
    levels = ", ".join(map(str, EXAM_LEVELS))
    screen.text(f"Levels of the houses: {levels}. A house not played counts 0.")


def show_all(screen: Screen, kept: Sequence[DrillMark]) -> None:
    """Everybody: how many drills, and the marks at first and of late."""
    screen.head("Marks", "of 100")
    rows = []
    for name in sorted(dict.fromkeys(one.trainee for one in kept)):
        mine = [one for one in kept if one.trainee == name]
        first, last = mine[:5], mine[-5:]
        rows.append(
            (
                name[:30],
                str(len(mine)),
                f"{fmean(one.mark for one in first):.0f}",
                f"{fmean(one.mark for one in last):.0f}",
                minutes(fmean(one.minutes - one.planner for one in last)),
                f"{sum(one.walked_past for one in last)}",
            )
        )
    header = ("trainee", "drills", "first 5", "last 5", "over", "walked past")
    screen.table(header, rows)
    screen.text("Over: minutes more than the planner; both of the last five.")


def show_trainee(screen: Screen, kept: Sequence[DrillMark], trainee: str) -> None:
    """One trainee's page: every drill, and what to practise."""
    screen.head(trainee, f"mean mark {fmean(one.mark for one in kept):.0f} of 100")
    rows = []
    for one in kept:
        house = f"set {one.exam}, {one.number}" if one.exam else f"seed {one.seed}"
        rows.append(
            (
                f"{one.at:%Y-%m-%d} {house}",
                str(one.level),
                str(one.mark),
                f"{one.minutes:.0f}",
                f"{one.planner:.0f}",
                str(one.told_nothing),
                str(one.too_little),
                str(one.walked_past),
                str(one.hints),
            )
        )
    header = ("house", "level", "mark", "min", "planner", "nothing", "early", "past", "hints")
    screen.table(header, rows)
    screen.text(
        "Nothing: checks that told nothing. Early: fixes tried on too little. Past: dangers walked "
        "past."
    )
    bad = [
        f"{_house(one)}: {', '.join(f'{less.marks} for {less.why}' for less in one.losses)}"
        for one in kept
        if one.mark < LOW
    ]
    if bad:
        screen.text("Where most was lost:", style="bold")
        screen.items(bad)
    again = [name for one in kept for name in one.practise]
    if again:
        often = sorted(dict.fromkeys(again), key=lambda name: (-again.count(name), name))
        screen.item("to practise:", f"{', '.join(often[:5])} (stillflow drill --fault ...)", 0)


def _house(one: DrillMark) -> str:
    return f"exam {one.exam}, house {one.number}" if one.exam else f"seed {one.seed}"


def progress_of(kept: Sequence[DrillMark], trainee: str | None, exam: int | None) -> Chart:
    """Marks over time as a chart, a line for each trainee."""
    from stillflow.engine.charts import ProgressPlot, TitleBlock, progress_chart

    names = dict.fromkeys(one.trainee for one in kept)
    filters = [f"exam {exam}"] if exam is not None else []
    title = TitleBlock(
        title=f"Marks over time: {trainee}" if trainee else "Marks over time",
        subtitle="Each point is a drill; the line is the mean of the last five.",
        date=day_of(None),
        filters=tuple(filters),
    )
    lines = {name: tuple(one.mark for one in kept if one.trainee == name) for name in names}
    return progress_chart(ProgressPlot(title=title, marks=lines))
