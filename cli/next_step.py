"""`stillflow next`: a visit file in, the next step out; nothing is kept."""

from __future__ import annotations

import click

from stillflow.casebook.files import locate, read_visit
from stillflow.casebook.parsing import text_of, written_as_case
from stillflow.cli.options import json_option, planning_options, rules_option
from stillflow.cli.output import say_json
from stillflow.engine import Session, load_rules
from stillflow.engine.dialogue import read_with
from stillflow.engine.planning import Think


@click.command("next")
@click.argument("visit", type=click.Path())
@planning_options
@rules_option
@json_option
def command(
    visit: str, think: Think, wrong_part: float, rules: tuple[str, ...], as_json: bool
) -> None:
    """Give the next step of a visit file. The same file gives the same step.

    Of the file of a worked case it is the first step.
    """
    text = text_of(visit)
    with locate(visit):
        if written_as_case(text):
            from stillflow.casebook.cases import read_case

            known = read_case(text, visit).visit
        else:
            known = read_visit(text, visit)
        session = Session(load_rules(rules), known, think, wrong_part)
    step = session.next_step()
    # Without readings there is nothing to be said that the list of faults does not say.
    measured = session.progress.situation.readings or session.progress.again
    verdict = session.said().verdict if measured else ""
    if as_json:
        then = read_with(session)
        said = {**step.model_dump(mode="json", by_alias=True), "verdict": verdict}
        say_json({**said, "then": None if then is None else then.id})
        return
    # What people read is laid out by rich, which a program that wants JSON need not wait for.
    from stillflow.cli.describe import (
        show_because,
        show_belief,
        show_check,
        show_ending,
        show_fix,
        show_put_back,
    )
    from stillflow.cli.screen import Screen

    screen = Screen()
    number = session.progress.events + 1
    if step.put_back is not None:
        show_put_back(screen, step.put_back)
    if step.check is not None:
        show_check(screen, step.check, number, then=read_with(session))
    elif step.fix is not None:
        show_fix(screen, step.fix, number)
    elif step.ending is not None:
        show_ending(screen, step)
    screen.gap()
    show_because(screen, step)
    screen.gap()
    if verdict and step.ending is None:
        screen.text(verdict, style="bold")
    show_belief(screen, step)
