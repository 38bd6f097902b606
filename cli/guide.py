"""`stillflow guide`: the guided visit as one file, for a phone that has only this."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from stillflow.cli.chart_tree import start_with
from stillflow.cli.drawing import write_file
from stillflow.cli.options import (
    check_tools,
    rules_option,
    start_options,
    system_options,
    visit_from,
    without_option,
)
from stillflow.cli.output import say
from stillflow.cli.serve import missing_package
from stillflow.engine import Session, load_rules

MOST_BYTES = 1_000_000


@click.command("guide")
@click.option(
    "--out",
    type=click.Path(dir_okay=False),
    default="guide.html",
    show_default=True,
    help="where to",
)
@start_options
@without_option
@system_options
@rules_option
def command(
    out: str,
    complaint: str | None,
    given: tuple[str, ...],
    without: tuple[str, ...],
    rules: tuple[str, ...],
    **options: Any,
) -> None:
    """Write the guided visit into one page that needs no server and no signal.

    Open it on a phone; it asks along the decision tree, then by the card, and gives a visit file
    to bring home.
    """
    try:
        from stillflow.cli.web.onefile import one_file
    except ImportError as problem:
        raise missing_package(problem) from None
    knowledge = load_rules(rules)
    check_tools(knowledge, without)
    visit = visit_from(options).model_copy(update={"missing_tools": without})
    session = Session(knowledge, visit)
    list(start_with(session, complaint, given))
    page, reach = one_file(session, MOST_BYTES)
    write_file(Path(out), page)
    say(
        f"Written: {out} ({len(page) / 1000:.0f} kB), with all that at least 1 in "
        f"{1.0 / reach:.0f} calls comes to, and the card beyond it."
    )
