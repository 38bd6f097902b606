"""`stillflow casebook stats`: what closed, verified visits add up to."""

from __future__ import annotations

from dataclasses import asdict

import click

from stillflow.cli.options import db_option, json_option, rules_option
from stillflow.cli.output import say_json
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.base import counted, in_percent


@click.command("stats")
@click.option("--technician", metavar="NAME", help="only visits of this technician")
@rules_option
@db_option
@json_option
def stats(technician: str | None, rules: tuple[str, ...], db: str | None, as_json: bool) -> None:
    """Say how common faults were, the minutes, first fixes, and which checks were worth theirs.

    Only visits count that were closed with the fault put right and readings that say so.
    """
    from stillflow.casebook.listing import Wanted
    from stillflow.casebook.statistics import CREDIBLE, statistics, verified
    from stillflow.casebook.store import Casebook

    knowledge = load_rules(rules)
    with Casebook(db) as casebook, casebook.transaction() as connection:
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
        screen.text(f"On average {found.minutes:.0f} min.")
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
