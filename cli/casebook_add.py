"""`stillflow casebook add`: a kept visit becomes a worked case, without whose house it was."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import click

from stillflow.casebook.cases import Case
from stillflow.cli.options import db_option, rules_option
from stillflow.cli.output import say
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.base import InputError, Place

KINDS = get_args(Case.model_fields["kind"].annotation)


@click.command("add")
@click.argument("visit")
@click.option("--to", metavar="FOLDER", required=True, help="your own folder of cases")
@click.option("--name", metavar="NAME", help="of the case and its file (default: its title)")
@click.option("--title", metavar="SENTENCE", prompt="What is the matter, in a sentence")
@click.option("--teaches", metavar="SENTENCE", prompt="What is there to learn from it")
@click.option("--kind", type=click.Choice(KINDS), help="default: by the fixes that were tried")
@click.option("--yes", is_flag=True, help="without being asked")
@rules_option
@db_option
def add(
    visit: str,
    to: str,
    name: str | None,
    title: str,
    teaches: str,
    kind: str | None,
    yes: bool,
    rules: tuple[str, ...],
    db: str | None,
) -> None:
    """Make the closed VISIT a worked case in a folder of your own.

    Names, address, phone, technician and day are taken out, and shown before anything is written.
    """
    from stillflow.casebook.adding import case_of
    from stillflow.casebook.cases import play
    from stillflow.casebook.store import kept_in
    from stillflow.cli.drawing import write_file

    knowledge = load_rules(rules)
    with kept_in(db) as casebook:
        kept = casebook.find(visit)
    name = re.sub(r"[^a-z0-9]+", "-", (name or title).lower()).strip("-")[:60] or "case"
    path = Path(to, f"{name}.yaml")
    if path.exists():
        raise InputError("there is such a case already", Place(str(path)), "give another --name")
    found = case_of(kept, knowledge, name, title, teaches, kind or "")
    screen = Screen()
    screen.text("Taken out:" if found.removed else "There is nothing to take out.", style="bold")
    screen.items(found.removed)
    screen.text(f"What {path} will hold:", style="bold")
    say(found.text, end="")
    if not yes:
        click.confirm("Write it? Read it through for names first", abort=True)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_file(path, found.text.encode())
    screen.text(f"Written: {path}")
    problems = play(found.case, knowledge).problems
    if problems:
        screen.text("The rules of today come to something else in it:")
        screen.items(problems)
        screen.text("A fix that was tried in vain does not belong under 'expect: fixes'.")
    screen.text(f"Play all of yours: stillflow casebook replay --cases {to}")
