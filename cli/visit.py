"""`stillflow visit`: the guided visit at the prompt.

Every answer is in the casebook before the next question is shown, so the process may be killed at
any prompt.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import click

from stillflow.casebook.store import Casebook
from stillflow.cli.describe import (
    show_because,
    show_belief,
    show_check,
    show_ending,
    show_fix,
    show_how,
    show_meanings,
    show_reading,
    show_summary,
)
from stillflow.cli.intake import ask_intake
from stillflow.cli.options import (
    check_tools,
    db_option,
    planning_options,
    rules_option,
    system_options,
    visit_from,
)
from stillflow.cli.prompt import HINT, Typed, ask, understand, understand_fix
from stillflow.cli.screen import Screen
from stillflow.engine import Session, load_rules
from stillflow.engine.base import InputError, StillflowError
from stillflow.engine.dialogue import NextStep, summarise
from stillflow.engine.inference import Visit
from stillflow.engine.planning import Think


@click.command("visit")
@click.option(
    "--resume",
    is_flag=False,
    flag_value="latest",
    metavar="[ID]",
    help="go on with the latest open visit, or with the one whose id starts so",
)
@click.option("--new", "fresh", is_flag=True, help="start a new visit without being asked")
@click.option(
    "--without",
    "without",
    multiple=True,
    metavar="TOOL",
    help="a tool that is not here, such as gauge or ladder (may be repeated)",
)
@system_options
@planning_options
@rules_option
@db_option
def command(
    resume: str | None,
    fresh: bool,
    without: tuple[str, ...],
    think: Think,
    wrong_part: float,
    rules: tuple[str, ...],
    db: str | None,
    **options: Any,
) -> None:
    """Be guided through a call, from complaint to verified fix.

    At any prompt: an answer, ? for how to do it, why, back, skip, can't tell, can't do here, or
    stop. Each answer is kept at once; stop or lose the connection, and --resume goes on.
    """
    screen = Screen()
    knowledge = load_rules(rules)
    check_tools(knowledge, without)
    casebook = Casebook(db)
    visit = _chosen(screen, casebook, resume, fresh)
    try:
        if visit is None:
            new = visit_from(options).model_copy(update={"missing_tools": without})
            visit = casebook.begin(new)
        if not visit.described and not visit.events:
            visit = ask_intake(screen, visit, casebook.save_header)
        session = Session(knowledge, visit, think, wrong_part)
        Dialogue(screen, casebook, visit.id, session).run()
    except EOFError:
        screen.gap()
        screen.text("Input ended. Every answer is kept; go on with: stillflow visit --resume")


def _chosen(screen: Screen, casebook: Casebook, resume: str | None, fresh: bool) -> Visit | None:
    """The visit to resume, or None for a new one."""
    if resume is not None and resume != "latest":
        return casebook.find(resume)
    if fresh:
        return None
    waiting = casebook.open_visits()
    if resume == "latest":
        if not waiting:
            raise InputError("no visit is open", right="start one with: stillflow visit")
        return waiting[0]
    if not waiting:
        return None
    latest = waiting[0]
    began = f", begun {latest.opened:%Y-%m-%d %H:%M} UTC" if latest.opened else ""
    name = latest.site.name or "an unnamed house"
    screen.text(f"A visit is open: {name}{began}, {len(latest.events)} answers so far.")
    while True:
        line = ask("Go on with it? yes or no").strip().lower()
        if line in ("yes", "y"):
            return latest
        if line in ("no", "n"):
            return None


class Dialogue:
    """One guided visit from its next step to its end or a stop."""

    def __init__(self, screen: Screen, casebook: Casebook, visit_id: str, session: Session) -> None:
        self._screen = screen
        self._casebook = casebook
        self._id = visit_id
        self._session = session

    def run(self) -> None:
        """Ask until the visit ends or the person stops.

        Raises:
            EOFError: the input has ended.
        """
        while True:
            step = self._session.next_step()
            if step.ending is not None:
                self._finish(step)
                return
            self._show(step)
            if not self._answer(step):
                self._screen.gap()
                self._screen.text("Stopped. Go on later with: stillflow visit --resume")
                return

    def _show(self, step: NextStep) -> None:
        number = self._session.progress.events + 1
        if step.check is not None:
            show_check(self._screen, step.check, number)
        elif step.fix is not None:
            show_fix(self._screen, step.fix, number)

    def _answer(self, step: NextStep) -> bool:
        """Ask until something was recorded or taken back; False for stop."""
        while True:
            line = ask(self._question(step))
            try:
                typed = self._understood(line, step)
                if typed.command == "stop":
                    return False
                if typed.command is None:
                    self._record(step, typed.answer or "")
                    return True
                if self._help(typed.command, step):
                    return True
            except StillflowError as error:
                self._screen.text(str(error))

    def _question(self, step: NextStep) -> str:
        if step.fix is not None:
            who = "Was it done?" if step.fix.refer else "Done?"
            return f"{who}   yes   no (leave it)   not there\nOr: ? (how)   why   back   stop"
        assert step.check is not None
        if step.check.kind == "reading":
            return f"Type the reading in inH2O, or with a unit.\n{HINT}"
        return f"Type a number from 1 to {len(step.check.answers)}.\n{HINT}"

    def _understood(self, line: str, step: NextStep) -> Typed:
        if step.check is not None:
            return understand(line, step.check)
        return understand_fix(line)

    def _record(self, step: NextStep, answer: str) -> None:
        now = datetime.now(UTC)
        if step.check is not None:
            self._session.record(step.check.id, answer, now)
        elif step.fix is not None:
            self._session.record_fix(step.fix.fault, answer == "yes", now, answer != "not there")
        self._casebook.add_event(self._id, self._session.events[-1])
        if step.check is not None and step.check.station is not None:
            show_reading(self._screen, self._session, step.check)

    def _help(self, what: str, step: NextStep) -> bool:
        """Do what was asked for instead of an answer; True if the step has changed."""
        if what == "back":
            if self._session.undo() is None:
                raise InputError("this is the first step", right="there is nothing to go back to")
            self._casebook.drop_last_event(self._id)
            return True
        if what == "how":
            if step.check is not None:
                show_how(self._screen, step.check)
            elif step.fix is not None:
                self._screen.numbered(step.fix.steps)
            return False
        self._screen.gap()
        self._screen.text("Why this now:", style="bold")
        show_because(self._screen, step)
        show_belief(self._screen, step.faults)
        if step.check is not None:
            show_meanings(self._screen, self._session.meanings(step.check.id))
        return False

    def _finish(self, step: NextStep) -> None:
        self._casebook.save_header(self._session.visit)
        show_ending(self._screen, step)
        show_summary(self._screen, summarise(self._session))
