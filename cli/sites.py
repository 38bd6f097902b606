"""`stillflow sites`: the houses on record, what is known of them, and how they have done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

import click

from stillflow.cli.options import (
    DAY,
    SYSTEM_FIELDS,
    db_option,
    json_option,
    rules_option,
    system_options,
)
from stillflow.cli.output import say, say_json
from stillflow.cli.records import found_words, limit_option
from stillflow.cli.screen import Screen, within
from stillflow.cli.settings import load_settings, settings_option
from stillflow.engine import load_rules
from stillflow.engine.base import InputError, Place, counted
from stillflow.engine.dialogue import unit_words
from stillflow.engine.inference import NamedInlet

_PLOT_WIDTH = 40


_HOUSE = 44
"""Letters of a house in a list, so that the list fits 80 columns."""


@click.group("sites")
def command() -> None:
    """List, find and put right the houses on record; see how one has done over the years."""


def _lines(db: str | None, words: str, limit: int, as_json: bool) -> None:
    from stillflow.casebook.sites import Sites
    from stillflow.casebook.store import kept_in

    with kept_in(db) as casebook:
        found = Sites(casebook).find(words, limit)
    if as_json:
        say_json([{**asdict(one), "last": one.last and one.last.isoformat()} for one in found])
        return
    screen = Screen()
    if not found:
        screen.text("No house is on record like that.")
        return
    rows = [
        (
            one.short,
            within(one.words, _HOUSE),
            f"{one.last:%Y-%m-%d}" if one.last else "-",
            str(one.visits),
        )
        for one in found
    ]
    screen.columns(("id", "house", "last visit", "visits"), rows)
    if len(found) == limit:
        screen.text("There may be more: give more of the name, or --limit.")


@command.command("list")
@limit_option
@db_option
@json_option
def list_(limit: int, db: str | None, as_json: bool) -> None:
    """List houses, the last visited first."""
    _lines(db, "", limit, as_json)


@command.command("find")
@click.argument("words", nargs=-1, required=True)
@limit_option
@db_option
@json_option
def find(words: tuple[str, ...], limit: int, db: str | None, as_json: bool) -> None:
    """Find houses whose name, street, customer or phone holds all WORDS."""
    _lines(db, " ".join(words), limit, as_json)


@command.command("show")
@click.argument("site")
@rules_option
@db_option
@json_option
def show(site: str, rules: tuple[str, ...], db: str | None, as_json: bool) -> None:
    """Show what is known of a house: people, unit, units before, inlets, visits."""
    from stillflow.casebook.listing import Wanted, listed
    from stillflow.casebook.sites import Sites
    from stillflow.casebook.store import kept_in
    from stillflow.cli.sites_prompt import known_facts

    with kept_in(db) as casebook:
        sites = Sites(casebook)
        known = sites.known(sites.named(site).id)
        visits = listed(casebook, Wanted(entries=sites.entries(known.line.id)), 1000)
        trail = casebook.trail(known.line.id)
    if as_json:
        say_json(
            {
                "site": known.site.model_dump(mode="json"),
                "house": known.house.model_dump(mode="json"),
                "unit": known.unit.model_dump(mode="json", by_alias=True),
                "units": [unit.model_dump(mode="json", by_alias=True) for _, unit in known.units],
                "entries": [{"short": short, "name": name} for short, name in known.entries],
                "visits": [one.id for one in visits],
            }
        )
        return
    screen = Screen()
    screen.head(f"{known.line.short}  {known.line.words}")
    screen.items(known_facts(known))
    if len(known.units) > 1:
        when = [day or "the first one known" for day, _ in known.units]
        screen.item("-", f"Units over time, fitted: {', '.join(when)}.")
    for day, unit in known.units:
        if unit != known.unit and (words := unit_words(unit)):
            screen.item("-", f"{'Another' if day else 'The first'} unit: {words}.")
    for short, name in known.entries:
        screen.item("-", f"Merged into it: {short} {name}".rstrip())
    if visits:
        knowledge = load_rules(rules)
        rows = [
            (
                one.short,
                f"{one.opened:%Y-%m-%d}" if one.opened else "-",
                found_words(one, knowledge),
            )
            for one in visits
        ]
        screen.columns(("visit", "begun", "found"), rows)
    for line in trail:
        screen.item("-", f"{line.at:%Y-%m-%d %H:%M} {line.who or 'somebody'}: {line.what}")


@command.command("edit")
@click.argument("site")
@click.option("--name", help="what the house or job is called")
@click.option("--address", help="where it is")
@click.option("--customer", help="whose it is")
@click.option("--phone", help="where they are called back")
@click.option("--inlet", "named", multiple=True, metavar="NAME", help="an inlet more")
@click.option("--no-inlet", "unnamed", multiple=True, metavar="NAME", help="an inlet less")
@click.option("--replaced", type=DAY, metavar="DAY", help="a new unit was fitted on this day")
@click.option(
    "--not-replaced", type=DAY, metavar="DAY", help="no unit was fitted on this day after all"
)
@system_options
@settings_option
@db_option
def edit(
    site: str,
    named: tuple[str, ...],
    unnamed: tuple[str, ...],
    replaced: datetime | None,
    not_replaced: datetime | None,
    settings: str | None,
    who: str | None,
    db: str | None,
    **options: Any,
) -> None:
    """Put right what is known of a house. An empty text takes a name away."""
    from stillflow.casebook.sites import Sites
    from stillflow.casebook.store import kept_in

    given = {name: value for name, value in options.items() if value is not None}
    unit = {name: given.pop(name) for name in SYSTEM_FIELDS["unit"] if name in given}
    if replaced is not None and replaced.date() > datetime.now().date():
        what = f"{replaced.date()} is still to come"
        raise InputError(what, Place(key="--replaced"), "the day the new unit was fitted")
    if "orifice_in" in given:
        raise InputError("the orifice is the gauge's, not the house's", right="leave it out")
    with kept_in(db, who or load_settings(settings).technician) as casebook:
        sites = Sites(casebook)
        line = sites.named(site)
        inlets = [NamedInlet(name=one) for one in named if one.strip()]
        changed = given or unit or inlets or unnamed or replaced
        if not changed and not_replaced is None:
            raise InputError("nothing is to be changed", right="see stillflow sites edit --help")
        if not_replaced is not None:
            sites.unreplace(line.id, not_replaced.date())
        if changed:
            sites.edit(line.id, given, unit, replaced and replaced.date(), inlets, unnamed)
    say("Put right.")


@command.command("merge")
@click.argument("site")
@click.argument("into")
@settings_option
@db_option
def merge(site: str, into: str, settings: str | None, who: str | None, db: str | None) -> None:
    """Say that SITE is the same house as INTO. `sites part` undoes it."""
    from stillflow.casebook.sites import Sites
    from stillflow.casebook.store import kept_in

    with kept_in(db, who or load_settings(settings).technician) as casebook:
        sites = Sites(casebook)
        child, parent = sites.named(site), sites.named(into)
        sites.merge(child.id, parent.id)
    say(f"One house now. To part them: stillflow sites part {child.short}")


@command.command("part")
@click.argument("site")
@settings_option
@db_option
def part(site: str, settings: str | None, who: str | None, db: str | None) -> None:
    """Part an entry, by its id, from the house it was merged into."""
    from stillflow.casebook.ids import short_id
    from stillflow.casebook.sites import Sites
    from stillflow.casebook.store import kept_in

    with kept_in(db, who or load_settings(settings).technician) as casebook:
        parent = short_id(Sites(casebook).part(site))
    say("Two houses again, each with its visits. To join them anew: ", end="")
    say(f"stillflow sites merge {site} {parent}")


@command.command("forget")
@click.argument("site")
@click.option("--yes", is_flag=True, help="without being asked")
@settings_option
@db_option
def forget(site: str, yes: bool, settings: str | None, who: str | None, db: str | None) -> None:
    """Remove names, address, phone and photos of a house for good; its readings stay."""
    from stillflow.casebook.sites import Sites
    from stillflow.casebook.store import kept_in

    with kept_in(db, who or load_settings(settings).technician) as casebook:
        sites = Sites(casebook)
        line = sites.named(site)
        asked = f"Forget who lives at {line.words}, and all photos? It cannot be undone"
        if not yes and not click.confirm(asked):
            say("Nothing was forgotten.")
            return
        count = sites.forget(line.id)
    say(f"Forgotten. {counted(count, 'visit')} and what was read in them stay.")
    say("Exports, backups and pages that were made before still bear the names: delete them too.")


@command.command("history")
@click.argument("site")
@click.option("--chart", metavar="FILE", help="draw it: a name ending in .svg, .png or .pdf")
@click.option("--paper", type=click.Choice(["a4", "letter"]), help="cut into pages")
@rules_option
@db_option
@json_option
def history(
    site: str,
    chart: str | None,
    paper: Any,
    rules: tuple[str, ...],
    db: str | None,
    as_json: bool,
) -> None:
    """Show how a house has done: sealed and working over the years, against expected."""
    from stillflow.casebook.sites import Sites
    from stillflow.casebook.store import kept_in
    from stillflow.engine.views import drift_words, replaced_words, site_history, weak_share

    knowledge = load_rules(rules)
    with kept_in(db) as casebook:
        sites = Sites(casebook)
        line = sites.named(site)
        visits = sites.visits(line.id)
    spots = site_history(visits, knowledge)
    if as_json:
        say_json([one.model_dump(mode="json") for one in spots])
    screen = Screen()
    if not as_json:
        screen.head(line.words, counted(line.visits, "visit"))
        if replaced := replaced_words(visits):
            screen.text(replaced)
        if not spots:
            screen.text("No visit to it has ended well with readings yet, so there is no history.")
    for one in () if as_json else spots:
        screen.gap()
        screen.text(f"{one.state.value.capitalize()} at {one.place}, inH2O", style="bold")
        rows = [
            (
                f"{row.at:%Y-%m-%d}",
                bar(row.share, weak_share(knowledge)),
                f"{row.suction:.3g}",
                f"{row.expected:.0f}",
                f"{100 * row.share:.0f} %",
            )
            for row in one.rows
        ]
        screen.columns(("", "| weak  o read  + expected", "read", "expected", ""), rows)
        for row in one.rows:
            if row.fix:
                screen.item("*", f"{row.at:%Y-%m-%d} after: {row.fix}")
        for left_out in one.apart:
            screen.item("-", left_out)
        screen.text(f"Drift: {drift_words(one)}.", 2)
        if one.warning:
            screen.text(one.warning, 2, "bold")
    if chart is not None:
        _draw(chart, paper, spots, line, knowledge)


def bar(share: float, weak: float) -> str:
    """A reading as a place on a line from 0 to 125 % of expected."""
    cells = ["."] * _PLOT_WIDTH

    def put(value: float, mark: str) -> None:
        cells[max(0, min(_PLOT_WIDTH - 1, round(value / 1.25 * (_PLOT_WIDTH - 1))))] = mark

    put(weak, "|")
    put(1.0, "+")
    put(share, "o")
    return "".join(cells)


def _draw(chart: str, paper: Any, spots: Sequence[Any], line: Any, knowledge: Any) -> None:
    from stillflow.cli.drawing import Target, day_of, drawn, titled, write_chart
    from stillflow.engine.charts import TitleBlock, history_chart
    from stillflow.engine.views import history_chart_model, weak_share

    if not spots:
        raise InputError("there is nothing to draw yet", right="close a visit with readings first")
    title = TitleBlock(
        title=titled("Over the years", line.name or line.address),
        date=day_of(None),
        rules_version=knowledge.digest[:12],
    )
    model = history_chart_model(spots, weak_share(knowledge), title)
    say(drawn(write_chart(history_chart(model), Target(chart, "", paper))))
