"""`stillflow casebook stats` and `learn`: what closed, verified visits add up to and teach."""

from __future__ import annotations

from dataclasses import asdict
from math import inf
from pathlib import Path

import click

from stillflow.cli.options import db_option, json_option, rules_option
from stillflow.cli.output import say, say_json
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.base import InputError, Place, SetupError, counted, in_percent


@click.command("stats")
@click.option("--technician", metavar="NAME", help="only visits this technician wrote in")
@rules_option
@db_option
@json_option
def stats(technician: str | None, rules: tuple[str, ...], db: str | None, as_json: bool) -> None:
    """Say how common faults were, the minutes, first fixes, and which checks were worth theirs.

    Only visits count that were closed with the fault put right and readings that say so.
    """
    from stillflow.casebook.listing import Wanted
    from stillflow.casebook.statistics import CREDIBLE, statistics, verified
    from stillflow.casebook.store import kept_in

    knowledge = load_rules(rules)
    with kept_in(db) as casebook, casebook.transaction() as connection:
        visits = casebook.load(connection, verified(Wanted(technician=technician)))
    found = statistics(visits, knowledge)
    if as_json:
        say_json({"credible": CREDIBLE, **asdict(found)})
        return
    screen = Screen()
    screen.head("Closed, verified visits", counted(found.visits, "visit"))
    if not found.visits:
        screen.text("None yet: a visit counts once its fix is proved by readings.")
        return
    first = found.first_fix_right
    screen.text(
        f"First fix right in {first.count} of {first.of} ({in_percent(first.low)} to "
        f"{in_percent(first.high)}). Intervals hold the share in {in_percent(CREDIBLE)} of cases."
    )
    if found.minutes is not None:
        screen.text(f"By the rules' minutes for what was done: {found.minutes:.0f} min on average.")
    if found.unusable:
        screen.text(
            f"{counted(found.unusable, 'visit')} of them cannot be replayed by these rules, and "
            "count only as the fault they came to."
        )
    screen.columns(
        ("fault", "visits", "share", "from", "to", "min"),
        [
            (
                one.fault,
                str(one.share.count),
                in_percent(one.share.count / one.share.of),
                in_percent(one.share.low),
                in_percent(one.share.high),
                "-" if one.minutes is None else f"{one.minutes:.0f}",
            )
            for one in found.faults
        ],
    )
    if found.checks:
        screen.gap()
        screen.text(
            "What checks were worth before the fix: a bit doubles the chance of the fault that was "
            "found; below zero it misled."
        )
        screen.columns(
            ("check", "asked", "min", "bits", "bits a min"),
            [
                (
                    one.check,
                    str(one.asked),
                    f"{one.minutes / one.asked:.1f}",
                    f"{one.bits:+.2f}",
                    f"{one.bits_per_minute:+.2f}",
                )
                for one in found.checks
            ],
        )


@click.command("learn")
@click.option(
    "--to", metavar="FOLDER", help="write what moved into FOLDER/learnt.yaml, to be laid over"
)
@click.option(
    "--counts-as",
    type=click.FloatRange(1, 1e6),
    metavar="CALLS",
    help="so many calls, or answers, each of the rules' own numbers counts as  [default: 200]",
)
@rules_option
@db_option
@json_option
def learn(
    to: str | None, counts_as: float | None, rules: tuple[str, ...], db: str | None, as_json: bool
) -> None:
    """Re-weigh how common faults and how telling answers are by closed, verified visits.

    What comes out is laid over the rules only by whoever names its folder; the shipped rules stay.
    Look at what it would change with: stillflow rules compare --with FOLDER.
    """
    from stillflow.casebook.learning import (
        SHIPPED_CALLS,
        counted_faults,
        lesson,
        next_to_move,
        overlay,
    )
    from stillflow.casebook.store import kept_in
    from stillflow.casebook.telling import counted_answers

    knowledge = load_rules(rules)
    with kept_in(db) as casebook:
        counts, given = counted_faults(casebook), counted_answers(casebook, knowledge)
    found = lesson(counts, knowledge, counts_as or SHIPPED_CALLS, given)
    if to is not None:
        _write(Path(to) / "learnt.yaml", overlay(found, knowledge))
    moved = [one for one in found.faults if one.moved]
    if as_json:
        rows = {
            name: [
                {**asdict(one), "moves_after": one.moves_after if one.moves_after < inf else None}
                for one in some
            ]
            for name, some in (("faults", found.faults), ("answers", found.answers))
        }
        say_json({**asdict(found), **rows, "next": next_to_move(found)})
        return
    screen = Screen()
    screen.head("Learnt from closed, verified visits", counted(found.visits, "visit"))
    screen.text(
        f"Each of the rules' own numbers counts as {found.counts_as:g} calls, or answers to it."
    )
    if found.unknown:
        screen.text(f"Not counted, as these rules lack their fault: {found.unknown}.")
    if moved:
        moved.sort(key=lambda one: one.shipped - one.now)
        screen.columns(
            ("fault", "visits", "share", "now"),
            [
                (o.fault, str(o.visits), f"{100 * o.shipped:.1f} %", f"{100 * o.now:.1f} %")
                for o in moved
            ],
        )
    telling = [one for one in found.answers if one.moved]
    if telling:
        telling.sort(key=lambda one: -abs(one.now - one.shipped))
        screen.gap()
        screen.text("Answers, and how often they are given: elsewhere, or with a rule's faults.")
        screen.columns(
            ("check: answer", "by rule", "asked", "share", "now"),
            [
                (
                    f"{o.check}: {' or '.join(o.answers)}",
                    o.rule or "elsewhere",
                    str(o.answered),
                    f"{100 * o.shipped:.0f} %",
                    f"{100 * o.now:.0f} %",
                )
                for o in telling
            ],
        )
    if not moved and not telling:
        screen.text("No number has moved.")
    screen.text(next_to_move(found))
    if to is not None:
        say(f"Written. What it changes: stillflow rules compare --with {to}")


def _write(file: Path, text: str) -> None:
    from stillflow.engine.ruleset import shipped_folder

    if file.parent.resolve().is_relative_to(Path(str(shipped_folder())).resolve()):
        right = "name a folder of your own"
        raise InputError("the shipped rules are not written to", Place(key="--to"), right)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")
    except OSError as problem:
        reason = (problem.strerror or str(problem)).lower()
        right = "name another folder with --to"
        raise SetupError(f"it cannot be written ({reason})", Place(str(file)), right) from None
