"""`stillflow rules compare` and `watch`: what a change of rules changes, and by which entry."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from tempfile import TemporaryDirectory

import click

from stillflow.casebook.cases import Case
from stillflow.casebook.differences import Blamed, Changed, Differences
from stillflow.cli.options import (
    cases_option,
    db_option,
    json_option,
    own_rules,
    rules_option,
    user_rules,
)
from stillflow.cli.output import progress, say, say_json, watched
from stillflow.cli.screen import Screen
from stillflow.engine.base import InputError, KnowledgeError, in_percent
from stillflow.engine.inference import Visit
from stillflow.engine.ruleset import Knowledge

BROKEN = 1
SEED = 1
CALLS = 1000
WATCHED_CALLS = 300

_LISTED = 12
_BAR = 20


@click.command("compare")
@click.option(
    "--with",
    "above",
    multiple=True,
    type=click.Path(),
    metavar="FOLDER",
    help="the rules to try, laid over the others (may be repeated)  [default: your own rules and "
    "--rules, against the shipped ones]",
)
@cases_option
@click.option(
    "--calls",
    type=click.IntRange(0, 100_000),
    default=CALLS,
    show_default=True,
    help="how many made-up calls whose final belief is compared; drawn from the old rules",
)
@click.option(
    "--all-cases", is_flag=True, help="play the cases too that speak of nothing that was changed"
)
@rules_option
@db_option
@json_option
def compare(
    above: tuple[str, ...],
    cases: str | None,
    calls: int,
    all_cases: bool,
    rules: tuple[str, ...],
    db: str | None,
    as_json: bool,
) -> int:
    """Say what changed rules change: conclusions, first fixes, minutes and beliefs, by which entry.

    Worked cases that speak of what was changed are played from start to end, and kept visits
    replayed, under the old rules and the new. Of made-up calls the final belief is compared, over
    what was read and answered on each. Every entry that was added, changed or retired is then taken
    out alone, to see what goes back. The exit code is 1 if a worked case came out as it should and
    does not any more. Playing a case twice takes some two seconds.
    """
    from stillflow.casebook.cases import load_cases
    from stillflow.casebook.store import Casebook

    with Casebook(db) as casebook:
        visits = list(casebook.recent(sys.maxsize))
    below, above = (rules, above) if above else ((), rules)
    known = load_cases(cases)
    found = _compared(below, above, known, visits, calls, all_cases)
    if as_json:
        left = len(known) - found.cases
        say_json({**asdict(found), "breaks": found.breaks, "not_played": left, "seed": SEED})
    else:
        _show(Screen(), found, len(known))
    return BROKEN if found.breaks else 0


def _compared(
    below: Sequence[str],
    above: Sequence[str],
    cases: Sequence[Case],
    kept: Sequence[Visit],
    calls: int,
    all_cases: bool = False,
) -> Differences:
    import numpy as np

    from stillflow.casebook.beliefs import ManyVisits
    from stillflow.casebook.differences import concerned, differences
    from stillflow.casebook.generated import KINDS, draw_kinds, generate
    from stillflow.engine.ruleset import load_folders, load_without, shipped_folder

    if not above:
        right = "name one with --with FOLDER or --rules FOLDER"
        raise InputError("there are no rules of your own to compare", right=right)
    base: list[str | Path] = [shipped_folder(), *below]
    old, new = load_folders(base), load_folders([*base, *above])
    generator = np.random.default_rng(SEED)
    kinds = draw_kinds(old, generator, KINDS)
    drawn = generate(kinds, generator, calls, together=True) if calls else ()
    visits = list(watched(drawn, calls, "Made-up calls"))
    items: list[Case | Visit] = [*(cases if all_cases else concerned(cases, old, new)), *kept]

    def taken_out(section: str, entry_id: str) -> Knowledge:
        return load_without(below, above, section, entry_id)

    with progress("Cases, visits and entries") as told:
        return differences(old, new, items, ManyVisits(visits), taken_out, told)


def _show(screen: Screen, found: Differences, known: int = 0) -> None:
    for kind, count in (("case", found.cases), ("visit", found.visits)):
        moved = [one for one in found.changed if one.kind == kind]
        title = {"case": "Worked cases", "visit": "Kept visits"}[kind]
        screen.head(title, f"{len(moved)} of {count} come out otherwise")
        for one in moved:
            screen.item("-", f"{one.name}: {_moved(one)}")
        if kind == "case" and known > found.cases:
            left = f"{known - found.cases} more speak of nothing that was changed"
            screen.text(f"{left} and were not played; --all-cases plays them.", 2)
    if found.cases + found.visits:
        over = f"the {found.cases} worked cases"
        over += f" and {found.visits} kept visits" if found.visits else ""
        word = "more" if found.minutes > 0 else "less"
        screen.text(f"{abs(found.minutes):.0f} min {word} over {over}.")
        screen.items(f"{name}: {minutes:+.1f} min" for name, minutes in found.longer[:_LISTED])
        if len(found.longer) > _LISTED:
            screen.text(f"{len(found.longer) - _LISTED} more with --json.", 2)
    if found.calls:
        screen.head("Made-up calls", f"{found.conclusions:,} of {found.calls:,} conclude otherwise")
        screen.text(
            f"Belief moves by {in_percent(found.shift)} on average, "
            f"{in_percent(found.largest)} at most (total variation distance)."
        )
        if found.faults:
            rows = [(was, now, f"{count:,}") for was, now, count in found.faults[:_LISTED]]
            screen.table(("likeliest before", "now", "calls"), rows)
    if found.guards:
        screen.head("Cautions, stops and the course", "before and now")
        screen.items(found.guards)
    screen.head("By which entry", "taken out one at a time")
    for entry in found.entries[:_LISTED]:
        screen.item("-", f"{entry.entry}, {entry.how}: {_blame(entry)}")
    if not found.entries:
        screen.text("No entry differs.")
    if len(found.entries) > _LISTED:
        screen.text(f"{len(found.entries) - _LISTED} more with --json.", 2)
    if found.breaks:
        screen.text(f"{found.breaks} worked cases break.", style="bold")


def _moved(one: Changed) -> str:
    said = f"{one.before or 'nothing'} -> {one.now or 'nothing'}"
    if one.first_before != one.first_now:
        said += f"; first fix {one.first_before or 'none'} -> {one.first_now or 'none'}"
    if one.breaks or one.mends:
        said += "; BREAKS" if one.breaks else "; as it should be now"
    said += f"; {one.minutes:+.0f} min"
    return f"{said}; by {', '.join(one.by)}" if one.by else f"{said}; by no entry alone"


def _blame(entry: Blamed) -> str:
    if entry.unknown:
        return f"cannot be taken out alone ({entry.unknown})"
    said = [f"{entry.minutes:+.0f} min over the cases and visits"] if entry.minutes else []
    back = (
        f"{count} {words}"
        for count, words in ((entry.rows, "cases and visits"), (entry.conclusions, "calls"))
        if count
    )
    if gone := " and ".join(back):
        said.append(f"without it {gone} go back")
    return "; ".join([*said, f"moves belief by {in_percent(entry.shift)}"])


@click.command("watch")
@click.argument("folder", type=click.Path(), required=False)
def watch(folder: str | None) -> None:
    """Check and compare the rules of a folder whenever one of its files is saved.

    The folder is that of your own rules where none is named. Interrupt to end. Of comparisons only
    made-up calls are looked at; `rules compare` plays the worked cases too.
    """
    named = Path(folder) if folder else Path(next(iter(own_rules()[-1:]), user_rules()))
    if not named.is_dir():
        raise InputError(f"there is no folder {named}", right="name the folder of your rules")
    say(f"Watching {named}. Save a file there; interrupt to end.")
    seen: dict[Path, tuple[int, int]] | None = None
    while True:
        now = _stamps(named)
        if now != seen:
            seen = now
            with TemporaryDirectory() as copied:
                _told(_copy(named, Path(copied)), lambda: _stamps(named) == now)  # noqa: B023
        time.sleep(1.0)


def _stamps(folder: Path) -> dict[Path, tuple[int, int]]:
    """When each file was written and how long it is; one that goes meanwhile is none."""
    found = {}
    for path in folder.rglob("*.yaml"):
        with suppress(OSError):
            found[path] = (path.stat().st_mtime_ns, path.stat().st_size)
    return found


def _copy(folder: Path, under: Path) -> Path:
    """A folder as it is now, so that one run reads one text of each file."""
    made = under / folder.resolve().name
    made.mkdir()
    for path in _stamps(folder):
        there = made / path.relative_to(folder)
        there.parent.mkdir(parents=True, exist_ok=True)
        with suppress(OSError):
            there.write_bytes(path.read_bytes())
    return made


def _told(folder: Path, holds: Callable[[], bool]) -> None:
    """Check and compare a folder; nothing is said of it where it does not hold any more."""
    from stillflow.engine.audit import audit, refused
    from stillflow.engine.ruleset import load_folders, shipped_folder

    found: Differences | None = None
    try:
        slips: Sequence[object] = audit(load_folders((shipped_folder(), folder)))
        found = _compared((), (str(folder),), [], [], WATCHED_CALLS)
    except KnowledgeError as error:
        slips = refused(error)
    except InputError as error:
        slips = [error]
    say(time.strftime("%H:%M:%S"))
    if not holds():
        say("A file was saved meanwhile; once more.")
        return
    for one in slips:
        say(str(one))
    if found is not None:
        _show(Screen(), found)
