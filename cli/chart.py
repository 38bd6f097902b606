"""`stillflow chart`: charts to pin to the wall, of the rules or of a visit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import click

from stillflow.casebook.cases import measured as all_readings
from stillflow.cli.chart_faults import faults
from stillflow.cli.chart_legend import legend
from stillflow.cli.chart_pareto import pareto
from stillflow.cli.chart_tree import tree
from stillflow.cli.drawing import (
    Decorator,
    Target,
    chart_options,
    day_of,
    drawn,
    titled,
    write_chart,
)
from stillflow.cli.options import Command, db_option, rules_option, system_options
from stillflow.cli.output import say
from stillflow.cli.readings import measured, reading_options, take_readings
from stillflow.cli.visits import OfCase, any_visit, as_played
from stillflow.engine import Session, load_rules
from stillflow.engine.base import InputError, Station
from stillflow.engine.charts import AIRFLOW_FORMATS, FORMATS, Chart, Role, TitleBlock
from stillflow.engine.dialogue import Believed, telling_round
from stillflow.engine.inference import Spot, found_system, name_of
from stillflow.engine.ruleset import Knowledge


@click.group("chart")
def command() -> None:
    """Draw charts to pin to the wall: decision tree, fault tree, stations, airflow.

    The reasoning path of a visit is drawn by 'stillflow why VISIT --chart FILE'.
    """


command.add_command(tree)
command.add_command(faults)
command.add_command(pareto)
command.add_command(legend)


def _of_visit_or_readings(formats: tuple[str, ...] = FORMATS) -> Decorator:
    """Add what says which readings to draw, and where to."""

    def add_all(command: Command) -> Command:
        made = chart_options(formats)
        for add in (db_option, rules_option, made, system_options, reading_options):
            command = add(command)
        return click.argument("visits", nargs=-1, metavar="[VISIT]...")(command)

    return add_all


Make = Callable[[Session, Believed, TitleBlock, Mapping[Spot, float]], Chart]
_AFTER = click.option(
    "--after", is_flag=True, help="also what was read after the last fix, on one chart"
)


@command.command("stations")
@_of_visit_or_readings()
@_AFTER
def stations(visits: tuple[str, ...], after: bool, **options: Any) -> None:
    """Draw the air path as a strip, expected beside found, to see where suction is lost.

    Of a visit (a file, the id of one that is kept, a worked case), or of readings given as for
    'stillflow read'; several visits stand side by side.
    """
    _draw("Where suction is lost", visits, options, _station_chart, after)


@command.command("airflow")
@_of_visit_or_readings(AIRFLOW_FORMATS)
@_AFTER
def airflow(visits: tuple[str, ...], after: bool, **options: Any) -> None:
    """Draw suction against airflow: the fan, the system in good order and as found, the readings.

    Of a visit (a file, the id of one that is kept, a worked case), or of readings given as for
    'stillflow read'; several visits stand side by side.
    """
    _draw("Suction and airflow", visits, options, _airflow_chart, after, "verdict")


def _draw(
    what: str,
    visits: tuple[str, ...],
    options: dict[str, Any],
    make: Make,
    after: bool,
    tells: Role = "fixed",
) -> None:
    from stillflow.engine.charts import side_by_side

    target: Target = options.pop("target")
    day = options.pop("day")
    knowledge = load_rules(options.pop("rules"))
    db = options.pop("db")
    charts = []
    for visit in visits or (None,):
        of_case = as_played if after else all_readings
        session, at, filters = _chosen(visit, knowledge, db, dict(options), of_case)
        title = TitleBlock(
            title=titled(what, _site(session)) if len(visits) < 2 else _site(session) or str(visit),
            date=day_of(day, session),
            rules_version=knowledge.digest,
            filters=filters,
        )
        charts.append(make(session, at, title, _read_again(session) if after else {}))
    chart = charts[0]
    if len(charts) > 1:
        shown = TitleBlock(
            title=f"{what}: {len(charts)} visits", date=day_of(day), rules_version=knowledge.digest
        )
        chart = side_by_side(shown, charts, tells)
    paths = write_chart(chart, target)
    if paths:
        say(drawn(paths))


def _chosen(
    visit: str | None,
    knowledge: Knowledge,
    db: str | None,
    options: dict[str, Any],
    of_case: OfCase,
) -> tuple[Session, Believed, tuple[str, ...]]:
    """The session, the moment of it to draw, and what narrows the chart down to that moment."""
    found = take_readings(options)
    if visit is None:
        if not found:
            right = "name a visit, or give readings such as --sealed 90 --working 50"
            raise InputError("there is nothing to draw", right=right)
        session = measured(knowledge, found, options)
        if not session.progress.situation.readings:
            what = "these readings cannot be on this system, so they are set aside"
            raise InputError(what, right="read again, or say what unit it is (--rated-sealed)")
        return session, session.progress, ()
    if found or any(value not in (None, ()) for value in options.values()):
        right = "name a visit, or give readings"
        raise InputError("a visit has its own readings and its own system", right=right)
    session = any_visit(visit, knowledge, db, of_case)
    return (session, *_told(session))


def draw_stations(session: Session, target: Target) -> list[Path]:
    """Draw the air path of a visit; see `visit_stations`."""
    return write_chart(visit_stations(session), target)


def visit_stations(session: Session) -> Chart:
    """The air path of a visit as it was before its last fix, or as it stands.

    Raises:
        InputError: no readings were taken.
    """
    at, filters = _told(session)
    title = TitleBlock(
        title=titled("Where suction is lost", _site(session)),
        date=day_of(None, session),
        rules_version=session.knowledge.digest,
        filters=filters,
    )
    return _station_chart(session, at, title, {})


def _told(session: Session) -> tuple[Believed, tuple[str, ...]]:
    """The readings a visit is drawn with, and what to say of when they were taken."""
    one = telling_round(session)
    if not one.situation.readings:
        raise InputError("no readings were taken on this visit", right="there is nothing to draw")
    if one.repair is None:
        return one, ()
    title = session.knowledge.faults[one.repair.fault_id].title
    return one, (f"readings before the fix: {title}",)


def _read_again(session: Session) -> Mapping[Spot, float]:
    """What was read after the last fix.

    Raises:
        InputError: nothing was fixed, or nothing was read after it.
    """
    after = session.progress.situation.readings
    if not session.progress.round or not after:
        right = "leave out --after"
        raise InputError("nothing was read after a fix on this visit", right=right)
    return after


def _station_chart(
    session: Session,
    at: Believed,
    title: TitleBlock,
    after: Mapping[Spot, float],
) -> Chart:
    from stillflow.engine.charts import station_chart
    from stillflow.engine.views import air_path

    aside = [
        f"{state} {value:.0f} inH2O" + (f" ({name})" if (name := name_of(station)) else "")
        for (state, station), value in at.situation.readings.items()
        if station.value == Station.OTHER
    ]
    left_out = f" Read at {Station.OTHER.words}, off this path: {', '.join(aside)}."
    words = _expected(session) + (left_out if aside else "")
    title = title.model_copy(update={"subtitle": words})
    tolerance = session.visit.gauge.tolerance
    path = air_path(at.situation.readings, session.baseline, tolerance, title, after)
    return station_chart(path)


def _airflow_chart(
    session: Session, at: Believed, title: TitleBlock, after: Mapping[Spot, float]
) -> Chart:
    from stillflow.engine.airflow import Reading, airflow_chart
    from stillflow.engine.charts import airflow_lines_chart

    sizes, said = session.sizes(at), session.said(at)
    assert sizes is not None
    words = " ".join((said.verdict, *said.sizes, *said.left))
    title = title.model_copy(update={"subtitle": f"{words} {_expected(session)}"})
    system = session.baseline.system
    found = found_system(session.knowledge, system, sizes)
    # Where a further inlet hangs is not known, so nothing can be drawn of it.
    drawn = [
        (one, expected)
        for one, expected in zip(sizes.readings, sizes.expected, strict=True)
        if one.inlet is None
    ]
    again = [
        (
            Reading(station=station, condition=state, inh2o=value),
            session.baseline.at(state, station),
        )
        for (state, station), value in after.items()
    ]
    taken, expected = zip(*drawn, strict=True)
    data = airflow_chart(system, found, taken, expected, again)
    return airflow_lines_chart(data, title, words)


def _site(session: Session) -> str:
    return session.visit.site.name


def _expected(session: Session) -> str:
    return f"Expected from {session.baseline.note}."
