"""`stillflow demo`: one invented call on an invented house, played from start to finish."""

from __future__ import annotations

import io
from pathlib import Path

import click

from stillflow.casebook.cases import PlayedCase, load_cases, play
from stillflow.casebook.files import visit_text
from stillflow.cli.chart import draw_stations
from stillflow.cli.describe import (
    show_because,
    show_check,
    show_ending,
    show_fix,
    show_summary,
)
from stillflow.cli.drawing import Target, draw_reasoning, write_file
from stillflow.cli.screen import Screen
from stillflow.engine import Session, load_rules
from stillflow.engine.base import InputError, Place
from stillflow.engine.dialogue import NextStep, summarise

CASE = "bin-crooked-after-emptying"


@click.command("demo")
@click.option(
    "--out",
    type=click.Path(file_okay=False),
    default="stillflow-demo",
    show_default=True,
    help="folder for the visit file, the summary, the drawn reasoning path and air path",
)
def command(out: str) -> None:
    """Play one invented call on an invented house, no questions asked.

    Shows each check and its answer, why it was asked, the conclusion and the after-readings, and
    leaves the visit file, the summary, the drawn reasoning path and air path in a folder.
    """
    knowledge = load_rules()
    case = next(one for one in load_cases() if one.name == CASE)
    played = play(case, knowledge)
    session = Session(knowledge, played.visit)
    screen = Screen()
    screen.head("An invented call", case.visit.site.name)
    screen.text(f'"{case.visit.complaint}"')
    _show(screen, played)
    summary = summarise(session)
    show_summary(screen, summary, ended=True)
    page = io.StringIO()
    show_summary(Screen(page), summary)
    folder = Path(out)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        reason = (problem.strerror or "it cannot be made").lower()
        raise InputError(reason, Place(out), "choose another folder with --out") from None
    write_file(folder / "visit.yaml", visit_text(session.visit).encode())
    write_file(folder / "summary.txt", page.getvalue().encode())
    draw_reasoning(session, Target(str(folder / "reasoning.svg")))
    draw_stations(session, Target(str(folder / "stations.svg")))
    screen.gap()
    screen.text(f"Left in {folder}: visit.yaml, summary.txt, reasoning.svg, stations.svg")


def _show(screen: Screen, played: PlayedCase) -> None:
    said: set[str] = set()
    for number, turn in enumerate(played.turns, 1):
        # What was said at an earlier step need not be said again.
        fresh = tuple(line for line in turn.step.because if line not in said)
        said.update(fresh)
        step = turn.step.model_copy(update={"because": fresh})
        if step.check is not None:
            show_check(screen, step.check, number)
            show_because(screen, step)
            screen.text(f"> {_said(step, turn.answer)}", style="bold")
        elif step.fix is not None:
            show_fix(screen, step.fix, number)
            show_because(screen, step)
            screen.text("> done", style="bold")
    show_ending(screen, played.last)


def _said(step: NextStep, answer: float | str | bool) -> str:
    if isinstance(answer, float):
        return f"{answer:.0f} inH2O"
    labels = {one.id: one.label for one in step.check.answers} if step.check else {}
    return labels.get(str(answer), str(answer))
