"""`stillflow visit`: the guided visit at the prompt.

Every answer is in the casebook before the next question is shown, so the process may be killed at
any prompt.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import click
from click.core import ParameterSource

from stillflow.casebook.store import Casebook, Overtaken
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
from stillflow.engine.base import InputError, SetupError, StillflowError
from stillflow.engine.dialogue import NextStep, summarise
from stillflow.engine.inference import Event, Visit
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
    visit: Visit | None = None

    def keep(changed: Visit) -> Visit:
        nonlocal visit
        # A new visit is begun with its first answer, so that none is kept that holds nothing.
        visit = casebook.save_header(changed, visit) if visit else casebook.begin(changed)
        return visit

    try:
        visit = _chosen(screen, casebook, resume, fresh)
        new = visit_from(options).model_copy(update={"missing_tools": without})
        refused = casebook.refused.get(visit.id, {}) if visit else {}
        for where, why in refused.items():
            screen.text(
                f"{' '.join(where)}: {why}. What is kept cannot be used, so it is asked again."
            )
        asked = ask_intake(screen, visit or new, keep, refused)

        def opened(known: Visit) -> Session:
            return Session(knowledge, known, think, wrong_part)

        if asked is None or not Dialogue(screen, casebook, asked, opened).run():
            screen.gap()
            screen.text(f"Stopped. {_later(casebook, visit, db, rules)}")
    except EOFError:
        screen.gap()
        screen.text(f"Input ended. {_later(casebook, visit, db, rules)}")
    except KeyboardInterrupt:
        screen.gap()
        screen.text(f"Interrupted. {_later(casebook, visit, db, rules)}")
        raise


def _later(casebook: Casebook, visit: Visit | None, db: str | None, rules: tuple[str, ...]) -> str:
    """How to go on later, if that can be."""
    if visit is None:
        return "No visit was begun."
    if not casebook.lasting:
        return "The casebook is in memory or has been deleted, so nothing of it is kept."
    words = ["stillflow", "visit", "--resume", visit.id]
    words += [word for folder in rules for word in ("--rules", folder)]
    source = click.get_current_context().get_parameter_source("db")
    also = ""
    if db is not None and source is not ParameterSource.ENVIRONMENT:
        if db.startswith("sqlite"):
            words += ["--db", db]
        else:
            also = ", with the same --db"  # it may hold a password
    return f"Every answer is kept; go on with: {shlex.join(words)}{also}"


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

    def __init__(
        self,
        screen: Screen,
        casebook: Casebook,
        kept: Visit,
        opened: Callable[[Visit], Session],
    ) -> None:
        self._screen = screen
        self._casebook = casebook
        self._kept = kept
        self._opened = opened
        self._session = opened(kept)
        self._unsure: tuple[Event, ...] | None = None

    def run(self) -> bool:
        """Ask until the visit ends or the person stops; whether it has ended.

        Raises:
            EOFError: the input has ended.
        """
        while True:
            step = self._session.next_step()
            if step.ending is not None:
                self._finish(step)
                return True
            self._show(step)
            if not self._answer(step):
                return False

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
            except Overtaken as error:
                self._read_anew(error)
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
        absent = answer == "not there"
        if step.check is not None:
            event = Event(check=step.check.id, answer=answer, at=now)
        else:
            assert step.fix is not None
            found = False if absent else None
            event = Event(fix=step.fix.fault, done=answer == "yes", found=found, at=now)
        event = self._session.checked(event)
        self._write(
            lambda: self._casebook.add_event(self._kept, event), (*self._kept.events, event)
        )
        # Only what is kept is believed.
        if event.check is not None and event.answer is not None:
            self._session.record(event.check, event.answer, now, event.inlet)
        elif event.fix is not None:
            self._session.record_fix(event.fix, answer == "yes", now, not absent, event.inlet)
        if step.check is not None and step.check.station is not None:
            show_reading(self._screen, self._session, step.check)

    def _write(self, write: Callable[[], Visit], wanted: tuple[Event, ...]) -> None:
        """Have the casebook take something in, after which it has the `wanted` events.

        Raises:
            SetupError: it does not, or could not say whether it did.
            Overtaken: it has others.
        """
        try:
            self._kept = write()
            self._unsure = None
        except SetupError:
            self._unsure = wanted
            raise

    def _read_anew(self, error: Overtaken) -> None:
        """Go on from what the casebook has, and say so."""
        try:
            self._kept = self._casebook.get(self._kept.id)
        except StillflowError as problem:
            self._screen.text(str(problem))
            return
        if self._kept.events == self._unsure:
            self._screen.text("The casebook had taken in what it could not confirm before.")
        else:
            self._screen.text(str(error))
        self._unsure = None
        self._session = self._opened(self._kept)

    def _help(self, what: str, step: NextStep) -> bool:
        """Do what was asked for instead of an answer; True if the step has changed."""
        if what == "back":
            if not self._kept.events:
                raise InputError("this is the first step", right="there is nothing to go back to")
            self._write(lambda: self._casebook.drop_last_event(self._kept), self._kept.events[:-1])
            self._session.undo()
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
        show_belief(self._screen, step)
        if step.check is not None and not step.verifying:
            show_meanings(self._screen, self._session.meanings(step.check.id))
        return False

    def _finish(self, step: NextStep) -> None:
        try:
            self._kept = self._casebook.save_header(self._session.visit, self._kept)
        except StillflowError as error:
            # The ending follows from the answers, which are kept; it must not be kept from sight.
            self._screen.text(f"The visit could not be closed: {error}")
        show_ending(self._screen, step)
        show_summary(self._screen, summarise(self._session), ended=True)
