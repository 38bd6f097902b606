"""`stillflow visits`: the visits on record, listed, found, shown, carried, and put right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from stillflow.casebook.files import visit_text
from stillflow.cli.options import DAY, Command, db_option, json_option, rules_option
from stillflow.cli.output import say, say_json
from stillflow.cli.screen import Screen, within
from stillflow.cli.settings import load_settings, settings_option
from stillflow.engine import load_rules
from stillflow.engine.base import InputError, Place, counted, small_first
from stillflow.engine.inference import ASIDE, Conclusion, Event, Visit
from stillflow.engine.ruleset import Knowledge

if TYPE_CHECKING:
    from stillflow.casebook.listing import VisitLine

limit_option = click.option(
    "--limit",
    type=click.IntRange(1, 100_000),
    default=20,
    show_default=True,
    help="at most so many",
)


@click.group("visits", invoke_without_command=True)
@db_option
@click.pass_context
def command(ctx: click.Context, db: str | None) -> None:
    """List, find, show and carry the visits on record; a wrong answer is struck, never lost."""
    # One that the environment names is every command's.
    typed = ctx.get_parameter_source("db") is ParameterSource.COMMANDLINE
    if ctx.invoked_subcommand is None:
        if not typed:
            say(ctx.get_help())
            return
        ctx.invoke(list_, db=db)
    elif typed:
        raise click.UsageError(f"--db stands after '{ctx.invoked_subcommand}'; write it there")


def _filters(function: Command) -> Command:
    for option in reversed(
        (
            click.option("--site", metavar="TEXT", help="part of name, street or phone, or an id"),
            click.option("--since", type=DAY, metavar="DAY", help="begun on this day or later"),
            click.option("--until", type=DAY, metavar="DAY", help="begun on this day or earlier"),
            click.option("--fault", metavar="ID", help="closed with this fault"),
            click.option("--technician", metavar="NAME", help="who was on site, or one of them"),
            click.option("--open", "status", flag_value="open", help="only open ones"),
            click.option("--closed", "status", flag_value="closed", help="only closed ones"),
        )
    ):
        function = option(function)
    return function


def _wanted(casebook: Any, options: dict[str, Any]) -> Any:
    from stillflow.casebook.listing import Wanted
    from stillflow.casebook.sites import Sites

    site, since, until = options["site"], options["since"], options["until"]
    entries = None
    if site is not None:
        sites = Sites(casebook)
        entries = sites.entries(sites.named(site).id)
    return Wanted(
        entries=entries,
        since=since and since.replace(tzinfo=UTC),
        until=until and until.replace(tzinfo=UTC) + timedelta(days=1),
        fault=options["fault"],
        technician=options["technician"],
        status=options["status"],
    )


@command.command("list")
@_filters
@limit_option
@rules_option
@db_option
@json_option
def list_(
    limit: int, rules: tuple[str, ...], db: str | None, as_json: bool, **options: Any
) -> None:
    """List visits, the latest first. All filters may be combined."""
    from stillflow.casebook.listing import listed
    from stillflow.casebook.store import kept_in

    with kept_in(db) as casebook:
        lines = listed(casebook, _wanted(casebook, options), limit)
    if as_json:
        say_json([{**asdict(one), "opened": str(one.opened or "")} for one in lines])
        return
    screen = Screen()
    if not lines:
        screen.text("No visit is on record like that.")
        return
    knowledge = load_rules(rules)
    screen.columns(
        ("id", "begun", "house", "found", "by"),
        [
            (
                one.short,
                f"{one.opened:%Y-%m-%d}" if one.opened else "-",
                within(one.site, _HOUSE) or "-",
                found_words(one, knowledge),
                _by(one),
            )
            for one in lines
        ],
    )
    if len(lines) == limit:
        screen.text("There may be more: --limit, or a filter such as --site.")


def found_words(line: VisitLine, knowledge: Knowledge) -> str:
    """What a visit came to, in a column; what the rules do not know any more by its id."""
    if line.status == "open":
        return "(open)"
    fault = knowledge.faults.get(line.fault)
    words = fault.title if fault else line.fault
    ended = _NOT_DONE.get(line.ended, "")
    if ended:
        words = f"{ended}: {small_first(words)}" if words else ended
    return within(words or "-", _FOUND)


def _by(line: VisitLine) -> str:
    """Whose visit it is in a column, and how many others wrote in it."""
    if not line.others:
        return within(line.technician, _NAME) or "-"
    more = f" +{line.others}"
    return f"{within(line.technician.partition(' ')[0], _NAME - len(more))}{more}".strip()


_NOT_DONE = {"refer": "handed over", "stop": "stopped", ASIDE: "set aside"}
_HOUSE, _FOUND, _NAME = 18, 32, 8
"""Letters that a column has room for, 80 in all."""


@command.command("show")
@click.argument("visit")
@rules_option
@db_option
@json_option
def show(visit: str, rules: tuple[str, ...], db: str | None, as_json: bool) -> None:
    """Show all that is on record of a visit, struck answers too, and who wrote what when."""
    from stillflow.casebook.store import kept_in

    with kept_in(db) as casebook:
        kept = casebook.find(visit)
        trail = casebook.trail(kept.id)
    if as_json:
        lines = [{"at": one.at.isoformat(), "who": one.who, "what": one.what} for one in trail]
        say_json({**kept.model_dump(mode="json", by_alias=True), "trail": lines})
        return
    show_visit(Screen(), kept, load_rules(rules))
    screen = Screen()
    screen.text("Who wrote what when:", style="bold")
    for one in trail:
        screen.item("-", f"{one.at:%Y-%m-%d %H:%M} {one.who or 'somebody'}: {one.what}")


def show_visit(screen: Screen, visit: Visit, knowledge: Knowledge) -> None:
    """A visit with every event by its number; a struck one says why."""
    from stillflow.casebook.ids import short_id

    name = visit.site.name or visit.site.address or "an unnamed house"
    screen.head(f"{short_id(visit.id)}  {name}", f"{visit.opened:%Y-%m-%d}" if visit.opened else "")
    if visit.complaint:
        screen.text(f'"{visit.complaint}"')
    struck, undone = visit.struck, visit.undone
    for number, event in enumerate(visit.events, 1):
        word = "undone" if number in undone else "struck"
        why = f" ({word}: {struck[number]})" if number in struck else ""
        screen.item(f"{number}.", f"{event_words(event, knowledge)}{why}")
    ending = visit.conclusion.text if visit.conclusion else "Still open."
    screen.text(ending or "Closed.")


def event_words(event: Event, knowledge: Knowledge) -> str:
    """An event in words; what the rules do not know any more by its id."""
    from stillflow.engine.views import noted_words

    at = f" at the {event.inlet} inlet" if event.inlet else ""
    if event.strikes is not None:
        return f"{event.strikes} was {'undone' if event.done else 'wrong'}: {event.note}"
    if event.part is not None:
        return noted_words(event)
    if event.fix is not None:
        fault = knowledge.faults.get(event.fix)
        done = "done" if event.done else "not there" if event.found is False else "left"
        return f"fix{at}: {fault.title if fault else event.fix} ({done})"
    if event.check is None:
        return f"note: {event.note}"
    check = knowledge.checks.get(event.check)
    labels = {one.id: one.label for one in check.answers} if check else {}
    answer = event.answer
    said = (
        f"{answer:g} inH2O" if isinstance(answer, int | float) else labels.get(str(answer), answer)
    )
    return f"{check.ask if check else event.check}{at} {said}"


@command.command("reopen")
@click.argument("visit")
@settings_option
@db_option
def reopen(visit: str, settings: str | None, who: str | None, db: str | None) -> None:
    """Open a closed visit again; go on with stillflow visit --resume."""
    casebook, kept = _writing(visit, settings, who, db)
    if kept.conclusion is None:
        raise InputError("this visit is open already", Place(visit), "stillflow visit --resume")
    casebook.reopen(kept)
    say("Open again.")


@command.command("aside")
@click.argument("visit")
@click.argument("reason")
@settings_option
@db_option
def aside(visit: str, reason: str, settings: str | None, who: str | None, db: str | None) -> None:
    """Set a visit aside, with a REASON, such as one of the two versions a sync has kept.

    It stays on record as set aside, and counts no more: not in figures and learning, not in the
    history of its house, and no other visit is judged by it. Opening it again takes that back.
    """
    from stillflow.casebook.ids import short_id

    casebook, kept = _writing(visit, settings, who, db)
    if not reason.strip():
        raise InputError("why it is set aside is not said", right="such as: the other one counts")
    ended = Conclusion(step=ASIDE, text=f"Set aside: {reason.strip()[:1900]}")
    casebook.save_header(kept.model_copy(update={"conclusion": ended}), kept)
    say(f"Set aside, and kept. To take it back: stillflow visits reopen {short_id(kept.id)}")


@command.command("strike")
@click.argument("visit")
@click.argument("number", type=click.IntRange(1))
@click.argument("reason")
@click.option("--undone", is_flag=True, help="NUMBER is a fix that was made, and undone since")
@settings_option
@db_option
def strike(
    visit: str,
    number: int,
    reason: str,
    undone: bool,
    settings: str | None,
    who: str | None,
    db: str | None,
) -> None:
    """Strike answer, fix, note or part NUMBER, with a REASON; it stays on record as struck.

    What is struck counts as never so, a fix as never made; one that was made in vain and undone,
    such as an old part put back, is struck with --undone. A closed visit whose answer or fix is
    struck is open again, since its conclusion rested on all of them.
    """
    _add(visit, Event(strikes=number, note=reason[:2000], done=undone or None), settings, who, db)


@command.command("note")
@click.argument("visit")
@click.argument("text")
@settings_option
@db_option
def note(visit: str, text: str, settings: str | None, who: str | None, db: str | None) -> None:
    """Write a note into a visit."""
    _add(visit, Event(note=text[:2000]), settings, who, db)


@command.command("part")
@click.argument("visit")
@click.argument("name")
@click.option("--count", type=click.FloatRange(0.001, 10_000), help="how many (default: one)")
@click.option("--price", type=click.FloatRange(-1e6, 1e6), help="of one; minutes of work too")
@settings_option
@db_option
def part(
    visit: str,
    name: str,
    count: float | None,
    price: float | None,
    settings: str | None,
    who: str | None,
    db: str | None,
) -> None:
    """Write a part, or another line of the price, into a visit."""
    _add(visit, Event(part=name[:200], count=count, price=price), settings, who, db)


@command.command("export")
@click.argument("visits", nargs=-1)
@click.option("--to", "folder", metavar="FOLDER", help="one YAML file a visit, into this folder")
@click.option("--csv", "table", metavar="FILE", help="their readings as a table, - for the screen")
@click.option("--no-names", is_flag=True, help="without names, addresses, phones")
@_filters
@rules_option
@db_option
def export(
    visits: tuple[str, ...],
    folder: str | None,
    table: str | None,
    no_names: bool,
    rules: tuple[str, ...],
    db: str | None,
    **options: Any,
) -> None:
    """Write visits to files: those named by id, or those the filters find.

    With neither --to nor --csv one visit goes to the screen as YAML.
    """
    from stillflow.casebook.exchange import readings_csv
    from stillflow.casebook.listing import listed
    from stillflow.casebook.nameless import anonymous, unsigned
    from stillflow.casebook.store import kept_in

    with kept_in(db) as casebook:
        if visits:
            found = [casebook.find(one) for one in visits]
        else:
            wanted = _wanted(casebook, options)
            found = [casebook.get(one.id) for one in listed(casebook, wanted, 1_000_000)]
    if not found:
        raise InputError("no visit is on record like that", right="stillflow visits list")
    if no_names:
        found = [unsigned(anonymous(one)) for one in found]
    if table is not None:
        text = readings_csv(found, load_rules(rules), names=not no_names)
        if table == "-":
            say(text, end="")
        else:
            _private(Path(table), text)
    if folder is not None:
        Path(folder).mkdir(parents=True, exist_ok=True)
        for one in found:
            _private(Path(folder, f"{_file_name(one.id)}.yaml"), visit_text(one))
        say(f"{counted(len(found), 'visit')} written to {folder}")
    if table is None and folder is None:
        if len(found) > 1:
            raise InputError(
                f"{len(found)} visits are meant", right="say where to with --to FOLDER"
            )
        say(visit_text(found[0]), end="")


def _file_name(visit_id: str) -> str:
    """The id as a file's name: no slash, no dot at its beginning."""
    return "".join(one if one.isalnum() or one == "-" else "_" for one in visit_id) or "visit"


def _private(path: Path, text: str) -> None:
    """Write a file that is for its owner only: it holds names."""
    import os

    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
    except OSError as problem:
        reason = (problem.strerror or "it cannot be written").lower()
        raise InputError(reason, Place(str(path)), "choose another place") from None


@command.command("import")
@click.argument("files", nargs=-1, required=True)
@click.option("--replace", is_flag=True, help="let a different visit with the same id go")
@settings_option
@db_option
def import_(
    files: tuple[str, ...], replace: bool, settings: str | None, who: str | None, db: str | None
) -> None:
    """Take in visit files, or folders of them; a second time changes nothing.

    What a house is called here, and what it was edited to, stays; a forgotten one stays nameless.
    """
    from stillflow.casebook.exchange import take_in, visits_in
    from stillflow.casebook.store import Casebook

    with Casebook(db, _who(settings, who)) as casebook:
        found = visits_in(files)
        done = take_in(casebook, found, replace)
    say(f"{counted(len(found) - len(done.refused), 'visit')} taken in.")
    if done.nameless:
        count = counted(len(done.nameless), "visit")
        say(f"{count} without names, since who lives there was forgotten: {_ids(done.nameless)}.")
    if done.called:
        count = counted(len(done.called), "visit")
        say(f"{count} of a house that is called otherwise here, as it stays: {_ids(done.called)}.")
    if done.refused:
        count = counted(len(done.refused), "file")
        raise InputError(
            f"{count} with another visit than the casebook has under its id: "
            f"{', '.join(map(str, done.refused))}",
            right="--replace lets those here go, or give the visits other ids",
        )


def _ids(visits: Sequence[Visit]) -> str:
    from stillflow.casebook.ids import short_id

    return ", ".join(short_id(one.id) for one in visits)


def _who(settings: str | None, who: str | None) -> str:
    return who or load_settings(settings).technician


def _writing(
    visit: str, settings: str | None, who: str | None, db: str | None
) -> tuple[Any, Visit]:
    from stillflow.casebook.store import kept_in

    casebook = kept_in(db, _who(settings, who))
    return casebook, casebook.find(visit)


def _add(visit: str, event: Event, settings: str | None, who: str | None, db: str | None) -> None:
    """Write one event into a visit, and say what stands there and how it is struck."""
    from stillflow.casebook.ids import short_id
    from stillflow.engine.views import noted_words

    casebook, kept = _writing(visit, settings, who, db)
    now = casebook.add_event(kept, event.model_copy(update={"at": datetime.now(UTC)}))
    if event.strikes is not None:
        opened = " The visit is open again." if kept.conclusion and not now.conclusion else ""
        struck = kept.events[event.strikes - 1]
        what = event_words(struck, load_rules())
        say(f"{'Undone' if event.done else 'Struck'}: {event.strikes}. {what}.{opened}")
        if struck.fix is not None and struck.done and not event.done:
            again = f"stillflow visits strike {short_id(kept.id)} {event.strikes} REASON --undone"
            say(f"It counts as never made. Made, and undone since? {again}")
        return
    number = len(now.events)
    said = noted_words(event).removeprefix("part: ")
    say(f"{number}. {said}  (wrong? stillflow visits strike {short_id(kept.id)} {number} REASON)")
