"""`stillflow visit`: the guided visit at the prompt.

Every answer is in the casebook before the next question is shown, so the process may be killed at
any prompt.
"""

from __future__ import annotations

import shlex
from typing import Any

import click
from click.core import ParameterSource

from stillflow.casebook.sites import Sites
from stillflow.casebook.store import Casebook
from stillflow.cli.guided import Guided
from stillflow.cli.intake import ask_intake
from stillflow.cli.options import (
    check_tools,
    db_option,
    planning_options,
    rules_option,
    system_options,
    visit_from,
)
from stillflow.cli.prompt import ask
from stillflow.cli.screen import Screen
from stillflow.cli.sites_prompt import ask_site
from stillflow.engine import Session, load_rules
from stillflow.engine.base import InputError
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
    help="a tool that is not here, such as gauge or helper (may be repeated)",
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
        new = visit_from(options)
        refused = casebook.refused.get(visit.id, {}) if visit else {}
        for where, why in refused.items():
            screen.text(
                f"{' '.join(where)}: {why}. What is kept cannot be used, so it is asked again."
            )
        begun = visit or new
        if without:
            missing = tuple(dict.fromkeys((*begun.missing_tools, *without)))
            begun = begun.model_copy(update={"missing_tools": missing})
            begun = keep(begun) if visit else begun
        if visit is None:
            chosen, named = ask_site(screen, Sites(casebook), knowledge, begun, keep)
        else:
            chosen, named = begun, False
        asked = chosen and ask_intake(screen, knowledge, chosen, keep, refused, named)

        def opened(known: Visit) -> Session:
            return Session(knowledge, known, think, wrong_part)

        if asked is None or not Guided(screen, casebook, asked, opened).run():
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
