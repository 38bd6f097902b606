"""`stillflow casebook list` and `show`: the worked cases by lesson, fault, difficulty."""

from __future__ import annotations

from collections import Counter
from typing import Any, get_args

import click

from stillflow.casebook.cases import Case, Difficulty, checked_case, load_cases
from stillflow.cli.options import json_option, rules_option
from stillflow.cli.output import say_json
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.base import InputError, Place, named, nearest
from stillflow.engine.dialogue import unit_words
from stillflow.engine.ruleset import Knowledge

LEVELS: tuple[Difficulty, ...] = get_args(Difficulty)
STOPPED = "ends for danger"
SIGNS = {
    "plain": "point the right way",
    "severe": "are gross, and as drawn",
    "misleading": "point the wrong way",
    "stop": "end the visit for danger",
}


@click.command("list")
@click.argument("words", nargs=-1)
@click.option("--fault", metavar="FAULT", help="only cases of this fault")
@click.option("--difficulty", type=click.Choice(LEVELS), help="only cases this hard")
@click.option(
    "--kind",
    type=click.Choice(list(SIGNS)),
    help="only cases whose signs point the right way, are gross, mislead, or are dangerous",
)
@click.option(
    "--by",
    type=click.Choice(["name", "fault", "difficulty"]),
    default="name",
    show_default=True,
    help="what to order them by",
)
@rules_option
@json_option
def list_(
    words: tuple[str, ...],
    fault: str | None,
    difficulty: Difficulty | None,
    kind: str | None,
    by: str,
    rules: tuple[str, ...],
    as_json: bool,
) -> None:
    """List the worked cases, those whose title or lesson holds all WORDS.

    Any of them can be named where a visit is named: stillflow why clogged-hose.
    """
    knowledge = load_rules(rules)
    if fault is not None:
        named(knowledge.faults, fault, "fault", Place(key="--fault"))
    chosen = [
        case
        for case in load_cases()
        if all(word.casefold() in _about(case, knowledge) for word in words)
        and (fault is None or fault in case.expect.fixes)
        and difficulty in (None, case.difficulty)
        and kind in (None, case.kind)
    ]
    order = {
        "name": lambda case: (case.name,),
        "fault": lambda case: (case.expect.fixes or ("~",), case.name),
        "difficulty": lambda case: (LEVELS.index(case.difficulty), case.name),
    }[by]
    chosen.sort(key=order)
    if as_json:
        say_json({"cases": [_row(case) for case in chosen]})
        return
    # One of every fault, drawn by one procedure: they would bury those that somebody has written.
    gross = [case for case in chosen if case.kind == "severe"]
    hidden = gross if not (words or fault or kind) and len(gross) < len(chosen) else []
    screen = Screen()
    often = Counter(case.difficulty for case in chosen if case not in hidden)
    counts = ", ".join(f"{often[level]} {level}" for level in LEVELS if often[level])
    screen.head("Worked cases", counts or "0")
    if not chosen:
        screen.text("None is like that.")
    for case in (one for one in chosen if one not in hidden):
        screen.item("-", f"{case.name}: {case.difficulty}, {_faults(case)}", 0, "bold")
        screen.text(case.teaches, 2)
    if hidden:
        screen.text(f"And {len(hidden)} whose signs are gross, one of each fault: --kind severe.")


@click.command("show")
@click.argument("case")
@rules_option
@json_option
def show(case: str, rules: tuple[str, ...], as_json: bool) -> None:
    """Show one worked case: what it teaches, its house, what is found, what it comes to."""
    knowledge = load_rules(rules)
    cases = {one.name: one for one in load_cases()}
    if case not in cases:
        right = nearest(case, cases)
        raise InputError(f"there is no worked case '{case}'", right=right)
    one = cases[case]
    checked_case(one, knowledge)
    if as_json:
        say_json({**_row(one), **one.model_dump(mode="json", by_alias=True, exclude_none=True)})
        return
    screen = Screen()
    screen.head(one.name, one.difficulty)
    screen.text(f"{one.title}.", style="bold")
    screen.item("teaches:", one.teaches, 0)
    screen.item("signs:", SIGNS[one.kind], 0)
    screen.item("complaint:", one.visit.complaint, 0)
    screen.item("unit:", unit_words(one.visit.unit) or "nothing is known of it", 0)
    screen.text("Found:", style="bold")
    for check_id, answers in one.finds.items():
        said = ", then ".join(_said(knowledge, check_id, answer) for answer in answers)
        screen.item("-", f"{knowledge.checks[check_id].ask} {said}")
    screen.text("A good technician:", style="bold")
    for name in one.expect.fixes:
        screen.item("-", f"{knowledge.faults[name].title}: {knowledge.faults[name].confirm}")
    if not one.expect.fixes:
        screen.item("-", "stops, and hands over")
    screen.text(f"See also: stillflow why {one.name}, stillflow chart stations {one.name}")


def _row(case: Case) -> dict[str, Any]:
    return {
        "name": case.name,
        "title": case.title,
        "teaches": case.teaches,
        "faults": list(case.expect.fixes),
        "kind": case.kind,
        "difficulty": case.difficulty,
    }


def _faults(case: Case) -> str:
    return ", then ".join(case.expect.fixes) or STOPPED


def _about(case: Case, knowledge: Knowledge) -> str:
    titles = (
        knowledge.faults[name].title for name in case.expect.fixes if name in knowledge.faults
    )
    return " ".join((case.name, case.title, case.teaches, *titles)).casefold()


def _said(knowledge: Knowledge, check_id: str, answer: float | str) -> str:
    if isinstance(answer, float):
        return f"{answer:.0f} inH2O"
    labels = {one.id: one.label for one in knowledge.checks[check_id].answers}
    return labels.get(answer, answer)
