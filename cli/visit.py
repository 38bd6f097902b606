"""`stillflow visit`: the guided visit at the prompt.

Every answer is in the casebook before the next question is shown, so the process may be killed at
any prompt.
"""

from __future__ import annotations

import shlex
from datetime import UTC, datetime
from typing import Any

import click
from click.core import ParameterSource

from stillflow.casebook.ids import short_id
from stillflow.casebook.sites import Sites
from stillflow.casebook.store import Casebook
from stillflow.cli.guided import Guided
from stillflow.cli.intake import ask_intake
from stillflow.cli.lines import ask
from stillflow.cli.options import (
    DAY,
    check_tools,
    db_option,
    planning_options,
    rules_option,
    system_options,
    visit_from,
)
from stillflow.cli.screen import Screen
from stillflow.cli.settings import load_settings, settings_option
from stillflow.cli.sites_prompt import ask_site
from stillflow.engine import Session, load_rules
from stillflow.engine.base import InputError, Place, counted
from stillflow.engine.inference import PAPER, Visit
from stillflow.engine.planning import Think

LOST = 1
"""The exit code where the casebook was deleted meanwhile, so that what was answered is nowhere."""


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
@click.option(
    "--date",
    "day",
    type=DAY,
    help="the day of a visit that is written up from paper, such as 2026-03-04",
)
@system_options
@planning_options
@settings_option
@rules_option
@db_option
def command(
    resume: str | None,
    fresh: bool,
    without: tuple[str, ...],
    day: datetime | None,
    think: Think,
    wrong_part: float,
    settings: str | None,
    who: str | None,
    rules: tuple[str, ...],
    db: str | None,
    **options: Any,
) -> int:
    """Be guided through a call, from complaint to verified fix.

    At any prompt: an answer, ? for how to do it, why, back, skip, can't tell, can't do here, or
    stop. Each answer is kept at once; stop or lose the connection, and --resume goes on.
    """
    screen = Screen()
    knowledge = load_rules(rules)
    check_tools(knowledge, without)
    if day is not None:
        day = datetime.combine(day, PAPER, UTC)
        if day.date() > datetime.now(UTC).date():
            what = f"{day:%Y-%m-%d} is yet to come"
            raise InputError(what, Place(key="--date"), "give a day that is past")
    shop = load_settings(settings)
    who = who or shop.technician
    casebook = Casebook(db, who)
    visit: Visit | None = None

    def keep(changed: Visit) -> Visit:
        nonlocal visit
        # A new visit is begun with its first answer, so that none is kept that holds nothing.
        visit = casebook.save_header(changed, visit) if visit else casebook.begin(changed)
        return visit

    try:
        visit = _chosen(screen, casebook, resume, fresh)
        new = visit_from(options)
        gauge = new.gauge.model_copy(update={"name": shop.gauge})
        new = new.model_copy(update={"technician": who[:200], "gauge": gauge, "opened": day})
        refused = casebook.refused.get(visit.id, {}) if visit else {}
        for where, why in refused.items():
            screen.text(
                f"{' '.join(where)}: {why}. What is kept cannot be used, so it is asked again."
            )
        begun = visit or new
        if day is None and visit is not None and (day := visit.written_up) is not None:
            screen.text(f"It is written up from paper, as of {day:%Y-%m-%d}.")
        if without:
            missing = tuple(dict.fromkeys((*begun.missing_tools, *without)))
            begun = begun.model_copy(update={"missing_tools": missing})
            begun = keep(begun) if visit else begun
        if visit is None:
            chosen, named = ask_site(screen, Sites(casebook), knowledge, begun, keep)
        else:
            chosen, named = begun, False
        met = chosen is not None and _met(casebook, chosen)
        asked = chosen and ask_intake(screen, knowledge, chosen, keep, refused, named, met)

        def opened(known: Visit) -> Session:
            return Session(knowledge, known, think, wrong_part)

        if asked is None or not Guided(screen, casebook, asked, opened, day).run():
            screen.gap()
            screen.text(f"Stopped. {_later(casebook, visit, db, rules)}")
        elif casebook.lasting:
            page = _typed(("stillflow", "sheet", short_id(asked.id)), db, rules)
            screen.text(f"The page for the customer: {page}")
    except _Stopped:
        screen.text("Stopped. Nothing was changed.")
    except EOFError:
        screen.gap()
        screen.text(f"Input ended. {_later(casebook, visit, db, rules)}")
    except KeyboardInterrupt:
        screen.gap()
        screen.text(f"Interrupted. {_later(casebook, visit, db, rules)}")
        raise
    return LOST if visit is not None and casebook.gone else 0


def _met(casebook: Casebook, visit: Visit) -> bool:
    """Whether the house was asked about at another visit."""
    house = Sites(casebook).visits(visit.site.id) if visit.site.id else []
    return any(one.described for one in house if one.id != visit.id)


def _later(casebook: Casebook, visit: Visit | None, db: str | None, rules: tuple[str, ...]) -> str:
    """How to go on later, if that can be."""
    if visit is None:
        return "No visit was begun."
    if not casebook.lasting:
        return "The casebook is in memory or has been deleted, so nothing of it is kept."
    resume = ("stillflow", "visit", "--resume", short_id(visit.id))
    return f"Every answer is kept; go on with: {_typed(resume, db, rules)}"


def _typed(command: tuple[str, ...], db: str | None, rules: tuple[str, ...]) -> str:
    """A command to type, with the rules and the casebook of this one."""
    words = [*command, *(word for folder in rules for word in ("--rules", folder))]
    source = click.get_current_context().get_parameter_source("db")
    also = ""
    if db is not None and source is not ParameterSource.ENVIRONMENT:
        if db.startswith("sqlite"):
            words += ["--db", db]
        else:
            also = ", with the same --db"  # it may hold a password
    return f"{shlex.join(words)}{also}"


class _Stopped(Exception):  # noqa: N818 - it is no error
    """The person stopped before a visit was chosen."""


def _chosen(screen: Screen, casebook: Casebook, resume: str | None, fresh: bool) -> Visit | None:
    """The visit to resume, or None for a new one."""
    if resume is not None and resume != "latest":
        return casebook.find(resume)
    if fresh:
        return None
    waiting = casebook.open_visits()
    if resume == "latest" and not waiting:
        raise InputError("no visit is open", right="start one with: stillflow visit")
    if not waiting:
        return None
    if len(waiting) == 1:
        screen.text(f"A visit is open: {standing(waiting[0])}")
        if resume == "latest":
            return waiting[0]
        while True:
            line = ask("Go on with it? yes or no").strip().lower()
            if line in ("yes", "y", "no", "n"):
                return waiting[0] if line[0] == "y" else None
            if line == "stop":
                raise _Stopped
            screen.text("Type yes to go on with it, no for a new visit, or stop.")
    screen.text(f"{len(waiting)} visits are open:")
    for number, one in enumerate(waiting[:_MOST_OPEN], 1):
        screen.item(str(number), standing(one))
    if len(waiting) > _MOST_OPEN:
        screen.text("More of them: stillflow visits list --open")
    also = "" if resume else ", or no for a new one"
    while True:
        line = ask(f"Go on with which? Its number or id{also}; Enter for 1").strip().lower()
        if line in ("", "yes", "y"):
            return waiting[0]
        if line in ("no", "n") and not resume:
            return None
        if line == "stop":
            raise _Stopped
        if line.isascii() and line.isdigit() and 1 <= int(line[:3]) <= len(waiting[:_MOST_OPEN]):
            return waiting[int(line[:3]) - 1]
        try:
            return casebook.find(line)
        except InputError as error:
            screen.text(str(error))


_MOST_OPEN = 9


def standing(visit: Visit) -> str:
    """Which house an open visit is to, and where it stands, in a line."""
    began = f", begun {visit.opened:%Y-%m-%d %H:%M} UTC" if visit.opened else ""
    name = visit.site.name or visit.site.address or "an unnamed house"
    street = f", {visit.site.address}" if visit.site.name and visit.site.address else ""
    fixes = sum(bool(one.done) for one in visit.believed)
    done = f", {fixes} {'fix' if fixes == 1 else 'fixes'} done" if fixes else ""
    answers = sum(one.check is not None for one in visit.believed)
    said = f"{name}{street}{began}, {counted(answers, 'answer')} so far{done}"
    return f"{said} ({short_id(visit.id)})."
