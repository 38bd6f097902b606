"""`stillflow casebook`: the visits and cases on record, run through the rules again."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import click

from stillflow.casebook.cases import Case, load_cases
from stillflow.casebook.replay import Report, Row, replay
from stillflow.cli.casebook_add import add
from stillflow.cli.casebook_cases import list_, show
from stillflow.cli.casebook_learning import learn, stats
from stillflow.cli.casebook_quiz import quiz
from stillflow.cli.options import cases_option, db_option, json_option, rules_option
from stillflow.cli.output import say, say_json, watched
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.base import counted
from stillflow.engine.inference import ASIDE, Visit
from stillflow.engine.ruleset import Knowledge

MISSED = 1
"""The exit code where a worked case came out otherwise, or a backup was damaged."""

SEED = 1
"""Generated visits are the same ones every time, so that figures can be compared."""

_LISTED = 8


@click.group("casebook")
def command() -> None:
    """Look up the worked cases; run what is on record through the rules again."""


command.add_command(add)
command.add_command(list_)
command.add_command(show)
command.add_command(quiz)
command.add_command(stats)
command.add_command(learn)


@command.command("replay")
@cases_option
@click.option(
    "--generated",
    type=click.IntRange(1, 1_000_000),
    metavar="N",
    help="also run N made-up visits, drawn from the shipped rules, in one table",
)
@rules_option
@db_option
@json_option
def replay_(
    cases: str | None,
    generated: int | None,
    rules: tuple[str, ...],
    db: str | None,
    as_json: bool,
) -> int:
    """Run the worked cases and the kept visits through the rules.

    A worked case is played from its beginning and held against what a good technician comes to; a
    kept visit is taken up before its last fix and held against that fix. With --rules, what
    comes out otherwise than by the shipped rules is shown too. The exit code is 1 if a worked case
    does not come out as it should.
    """
    from stillflow.casebook.store import Casebook

    now, shipped = load_rules(rules), load_rules()
    with Casebook(db) as casebook:
        kept = [
            one
            for one in casebook.recent(sys.maxsize)
            if one.conclusion is None or one.conclusion.step != ASIDE
        ]
    items: list[Case | Visit] = [*load_cases(cases), *kept]
    report = _replayed(items, now, "Cases and visits")
    other = now.digest != shipped.digest
    before = _replayed(items, shipped, "The same by the shipped rules") if other else None
    shown: dict[str, Any] = {
        "rules": now.digest,
        "shipped_rules": shipped.digest,
        "cases": _rows(report, before, "case"),
        "visits": _rows(report, before, "visit"),
    }
    if generated is not None:
        shown["generated"] = _generated(generated, shipped, now)
    if as_json:
        say_json(shown)
    else:
        _show(Screen(), shown)
    return MISSED if any(row["agrees"] is False for row in shown["cases"]) else 0


def _replayed(items: Sequence[Case | Visit], knowledge: Knowledge, label: str) -> Report:
    return replay(watched(items, len(items), label), knowledge)


def _rows(report: Report, before: Report | None, kind: str) -> list[dict[str, Any]]:
    old: dict[str, Row] = {one.name: one for one in before.rows} if before else {}
    return [
        {**asdict(row), "by_shipped_rules": old[row.name].reached if old else None}
        for row in report.rows
        if row.kind == kind
    ]


def _generated(count: int, shipped: Knowledge, now: Knowledge) -> dict[str, Any]:
    import numpy as np

    from stillflow.casebook.comparison import compare
    from stillflow.casebook.generated import KINDS, draw_kinds, generate

    generator = np.random.default_rng(SEED)
    kinds = draw_kinds(shipped, generator, KINDS)
    drawn = generate(kinds, generator, count)
    visits = list(watched(drawn, count, "Generated visits"))
    return {"kinds": KINDS, "seed": SEED, **asdict(compare(visits, shipped, now))}


def _show(screen: Screen, shown: Mapping[str, Any]) -> None:
    _show_rows(screen, "Worked cases", "as expected", shown["cases"])
    _show_rows(screen, "Kept visits", "as they ended", shown["visits"])
    if "generated" in shown:
        _show_generated(screen, shown["generated"], shown["rules"] != shown["shipped_rules"])


def _show_rows(screen: Screen, title: str, good: str, rows: list[dict[str, Any]]) -> None:
    compared = [row for row in rows if row["agrees"] is not None]
    agreeing = sum(row["agrees"] for row in compared)
    screen.head(title, f"{agreeing} of {len(compared)} {good}")
    if len(rows) > len(compared):
        open_ = len(rows) - len(compared)
        screen.text(f"{open_} more {'has' if open_ == 1 else 'have'} nothing to compare with.")
    if rows:
        checks = sum(row["checks"] for row in rows) / len(rows)
        minutes = sum(row["minutes"] for row in rows) / len(rows)
        screen.text(f"On average {checks:.1f} checks and {minutes:.0f} min.")
    remarked = 0
    for row in rows:
        moved = row["by_shipped_rules"] not in (None, row["reached"])
        if row["agrees"] and not moved:
            remarked += bool(row["notes"])
        elif row["agrees"] is False or moved or row["notes"]:
            screen.item("-", f"{row['name']}: {_said(row, moved)}")
            for note in row["notes"]:
                screen.text(note, 4)
    if remarked:
        screen.text(f"{remarked} that agree have a remark: see --json.")


def _said(row: Mapping[str, Any], moved: bool) -> str:
    said = "agrees" if row["agrees"] else f"comes to {row['reached'] or 'nothing'}"
    if row["agrees"] is False:
        said += f", not {row['expected']}"
    if moved:
        said += f"; by the shipped rules it comes to {row['by_shipped_rules'] or 'nothing'}"
    return said


def _show_generated(screen: Screen, shown: Mapping[str, Any], other: bool) -> None:
    count, agreeing = shown["visits"], shown["agreeing"]
    screen.head("Generated visits", f"{agreeing:,} of {count:,} agree" if other else f"{count:,}")
    screen.text(
        f"{shown['fewest']} to {shown['most']} rules fire on a visit; {len(shown['silent'])} rules "
        f"fire on none. The engine of live visits fires the same on {shown['live_agreeing']} of "
        f"the first {shown['live']}."
    )
    if other:
        same_rules = count - agreeing - shown["other_rules"]
        screen.text(
            f"On {shown['other_rules']:,} visits other rules fire than of the shipped ones; on "
            f"{same_rules:,} more the same rules say something else."
        )
        _show_changes(screen, shown)
    screen.text(
        "Their answers are drawn from the shipped rules, so this says what the rules do, not "
        "whether they are right."
    )


def _show_changes(screen: Screen, shown: Mapping[str, Any]) -> None:
    rules, faults = shown["rules"], shown["faults"]
    if rules:
        rows = [(one["rule_id"], f"+{one['gained']:,}", f"-{one['lost']:,}") for one in rules]
        screen.table(("rules that fire on other visits", "gained", "lost"), rows[:_LISTED])
    if shown["believed"]:
        screen.text(
            f"Of the first {shown['believed']} visits that do not agree, the likeliest fault is "
            f"another on {shown['other_fault']}."
        )
    if faults:
        rows = [(one["before"], one["now"], f"{one['visits']:,}") for one in faults]
        screen.table(("likeliest fault before", "now", "visits"), rows[:_LISTED])
    left = max(len(rules) - _LISTED, 0) + max(len(faults) - _LISTED, 0)
    if left:
        screen.text(f"{left} more lines with --json.", 2)


@command.command("backup")
@click.argument("file")
@db_option
def backup_(file: str, db: str | None) -> None:
    """Copy the casebook into FILE, while others may go on writing to it."""
    from stillflow.casebook.backup import backup
    from stillflow.casebook.store import kept_in

    with kept_in(db) as casebook:
        count = backup(casebook, file)
    say(f"{counted(count, 'visit')} in {file}")


@command.command("restore")
@click.argument("file")
@db_option
def restore_(file: str, db: str | None) -> int:
    """Take the backup FILE into an empty casebook.

    Of a damaged file, also of a damaged casebook, all that can be read is saved, and what cannot be
    is said; the exit code is 1 then, and 2 where the file is no casebook.
    """
    from stillflow.casebook.backup import restore
    from stillflow.casebook.store import Casebook

    with Casebook(db) as casebook:
        found = restore(file, casebook)
    say(f"{counted(found.visits, 'visit')} restored.")
    if found.damaged:
        missing = [
            f"perhaps {_ROWS[table]}s" if count is None else counted(count, _ROWS[table])
            for table, count in found.lost.items()
        ]
        said = f"{', '.join(missing)} could not be read" if missing else "nothing is missing"
        say(f"The file is damaged: {said}, as far as can be told.")
        for what, ids in (
            ("Only answers are left", found.bare),
            ("Who wrote what when is gone", found.trail_gone),
            ("Who wrote what when is in part gone", found.trail_part),
        ):
            if ids:
                more = ", ..." if len(ids) > _LISTED else ""
                say(f"{what} of: {', '.join(ids[:_LISTED])}{more}.")
        say("Compare with an older backup.")
    return MISSED if found.damaged else 0


_ROWS = {
    "events": "answer",
    "inlets": "inlet",
    "people": "name",
    "phones": "paired phone",
    "photos": "photo",
    "sites": "house",
    "trail": "trail line",
    "units": "unit",
    "visits": "visit",
}
"""What a row of a table is to people."""
