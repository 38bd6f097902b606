"""`stillflow chart`: charts to pin to the wall, of the rules or of a visit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

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
from stillflow.cli.visits import any_visit
from stillflow.engine import Session, load_rules
from stillflow.engine.base import InputError, Station
from stillflow.engine.charts import FORMATS, PLOTTED, Chart, Role, TitleBlock
from stillflow.engine.dialogue import Believed, rounds
from stillflow.engine.inference import Spot, found_system, name_of, spot_of
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
    "--after",
    is_flag=True,
    help="also what was read after the fix, on one chart; after each of several",
)


@command.command("stations")
@_of_visit_or_readings()
@_AFTER
def stations(visits: tuple[str, ...], after: bool, **options: Any) -> None:
    """Draw the air path as a strip, expected beside found, to see where suction is lost.

    Of a visit (a file, the id of one that is kept, a worked case as it is played), or of readings
    given as for 'stillflow read'. Several visits stand side by side; so do several fixes of one.
    """
    _draw("Where suction is lost", visits, options, _station_chart, after)


@command.command("airflow")
@_of_visit_or_readings(PLOTTED)
@_AFTER
def airflow(visits: tuple[str, ...], after: bool, **options: Any) -> None:
    """Draw suction against airflow: the fan, the system in good order and as found, the readings.

    Of a visit (a file, the id of one that is kept, a worked case as it is played), or of readings
    given as for 'stillflow read'. Several visits stand side by side; so do several fixes of one.
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
    target: Target = options.pop("target")
    day = options.pop("day")
    knowledge = load_rules(options.pop("rules"))
    db = options.pop("db")
    several = len(visits) > 1
    charts = []
    for visit in visits or (None,):
        session = _chosen(visit, knowledge, db, dict(options))
        name = _site(session) or str(visit) if several else ""
        charts += _of_visit(session, what, make, after, day, name, target.blank is None)
    subject = f"{len(visits)} visits" if several else _site(session)
    when = day_of(day, None if several else session)
    paths = write_chart(_beside(charts, titled(what, subject), when, after, tells), target)
    if paths:
        say(drawn(paths))


def _beside(
    charts: Sequence[Chart], title: str, day: date, after: bool = False, tells: Role = "fixed"
) -> Chart:
    """A chart alone as it is, several on one."""
    from stillflow.engine.charts import side_by_side

    if len(charts) == 1:
        return charts[0]
    read = "before and after" if after else "before"
    shown = TitleBlock(
        title=title,
        date=day,
        rules_version=charts[0].picture.title.rules_version,
        filters=(f"readings {read} each fix",),
    )
    return side_by_side(shown, charts, tells)


def _chosen(
    visit: str | None, knowledge: Knowledge, db: str | None, options: dict[str, Any]
) -> Session:
    """The session to draw: a visit as it was played, or readings alone."""
    found = take_readings(options)
    if visit is None:
        if not found:
            right = "name a visit, or give readings such as --sealed 90 --working 50"
            raise InputError("there is nothing to draw", right=right)
        session = measured(knowledge, found, options)
        if not session.progress.situation.readings:
            what = "these readings cannot be on this system, so they are set aside"
            raise InputError(what, right="read again, or say what unit it is (--rated-sealed)")
        return session
    if found or any(value not in (None, ()) for value in options.values()):
        right = "name a visit, or give readings"
        raise InputError("a visit has its own readings and its own system", right=right)
    return any_visit(visit, knowledge, db)


def _of_visit(
    session: Session,
    what: str,
    make: Make,
    after: bool,
    day: datetime | None = None,
    name: str = "",
    tell: bool = True,
) -> list[Chart]:
    """The readings of a visit as charts: those before each of its fixes, or as it stands.

    Args:
        session: the visit.
        what: the chart's title.
        make: draws one moment of it.
        after: also what was read after each fix.
        day: written on it; by default the visit's.
        name: what it is called among several.
        tell: name what was fixed, which on an exercise is to be found out.

    Raises:
        InputError: no readings were taken, or with `after` none after a fix.
    """
    every = rounds(session)
    led = [one for one in every if one.repair is not None]
    again = [_read_again(session, one.number + 1) for one in led]
    if after and not any(again):
        right = "leave out --after"
        raise InputError("nothing was read after a fix on this visit", right=right)
    moments = [
        (one, later) for one, later in zip(led, again, strict=True) if one.situation.readings
    ] or [(every[-1], {})]
    if not moments[0][0].situation.readings:
        raise InputError("no readings were taken on this visit", right="there is nothing to draw")
    charts = []
    for one, later in moments:
        title, filters = titled(what, _site(session)), tuple[str, ...]()
        if one.repair is not None:
            fault = f": {session.knowledge.faults[one.repair.fault_id].title}" if tell else ""
            fix = f"fix {one.number + 1} of {len(led)}" if len(led) > 1 else "the fix"
            filters = (f"readings before {'and after ' * after}{fix}{fault}",)
            if len(led) > 1:
                title = f"{fix.capitalize()}{fault}"
        if name:
            title = f"{name}: {fix}" if one.repair is not None and len(led) > 1 else name
        block = TitleBlock(
            title=title,
            date=day_of(day, session),
            rules_version=session.knowledge.digest,
            filters=filters,
        )
        charts.append(make(session, one, block, later if after else {}))
    return charts


def _read_again(session: Session, number: int) -> Mapping[Spot, float]:
    """What was read in a round after a fix, the last of each place, and nothing that outlasted."""
    one = next((one for one in rounds(session) if one.number == number), None)
    if one is None:
        return {}
    checks = session.knowledge.checks
    read = {
        spot_of(checks[asked.check_id])
        for asked in one.asked
        if checks[asked.check_id].kind == "reading" and not asked.further
    }
    return {spot: value for spot, value in one.situation.readings.items() if spot in read}


def draw_stations(session: Session, target: Target) -> list[Path]:
    """Draw the air path of a visit; see `visit_stations`."""
    return write_chart(visit_stations(session), target)


def visit_stations(session: Session) -> Chart:
    """The air path of a visit as it was before each fix, or as it stands.

    Raises:
        InputError: no readings were taken.
    """
    what = "Where suction is lost"
    charts = _of_visit(session, what, _station_chart, False)
    return _beside(charts, titled(what, _site(session)), day_of(None, session))


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
