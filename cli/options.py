"""Options that several commands share: the unit, the house, the gauge, the store."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource
from pydantic import ValidationError

from stillflow.engine.base import InputError, Place, nearest, quantity, vocabulary
from stillflow.engine.inference import LIMITS, Gauge, House, Site, Unit, Visit
from stillflow.engine.ruleset import Knowledge

Command = Callable[..., Any]


class Quantity(click.ParamType[float]):
    """A number with or without a unit, turned into the trade's unit."""

    name = "number"

    def __init__(self, unit: str, low: float, high: float) -> None:
        self.unit, self.low, self.high = unit, low, high

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the quantity; errors name the option."""
        name = param.opts[0] if param is not None else ""
        return quantity(str(value), self.unit, name, self.low, self.high)


class Share(click.ParamType[float]):
    """A share of the whole, as 0.95 or 95%."""

    name = "share"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the share; errors name the option."""
        text = str(value).strip()
        try:
            share = float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
        except ValueError:
            share = -1.0
        if not 0.0 <= share <= 1.0:
            name = param.opts[0] if param is not None else ""
            right = "write it as 95% or 0.95"
            raise InputError(f"'{text[:40]}' is not a share", Place(key=name), right)
        return share


class Number(click.FloatRange):
    """A plain number within a range; `nan` lies in none, though it compares with nothing."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the number; errors name the option."""
        number: float = super().convert(value, param, ctx)
        if math.isnan(number):
            self.fail(f"{value!r} is not a number.", param, ctx)
        return number


SUCTION = Quantity(*LIMITS["suction"])

_UNIT: tuple[tuple[str, str, click.ParamType[Any] | type[str], str], ...] = (
    (
        "--rated-sealed",
        "rated_sealed",
        Quantity(*LIMITS["rated_sealed"]),
        "rated sealed suction, inH2O",
    ),
    ("--rated-airflow", "rated_airflow", Quantity(*LIMITS["rated_airflow"]), "rated airflow, cfm"),
    ("--class", "class_", str, "class of unit, such as present-day-unit or old-unit"),
    ("--age", "age_years", Number(0, 100), "age of the unit, years"),
    ("--motors", "motors", click.IntRange(1, 2), "how many motors the unit has"),
    (
        "--filter",
        "filter",
        click.Choice(vocabulary.FILTERS),
        "what keeps dust from the motor",
    ),
    ("--altitude-ft", "altitude_ft", Quantity(*LIMITS["altitude_ft"]), "feet above sea level"),
    (
        "--tubing-ft",
        "tubing_ft",
        Quantity(*LIMITS["tubing_ft"]),
        "tubing from the unit to the inlet",
    ),
    ("--hose-ft", "hose_ft", Quantity(*LIMITS["hose_ft"]), "length of the hose"),
    (
        "--hose-bore-in",
        "hose_bore_in",
        Quantity(*LIMITS["hose_bore_in"]),
        "inside diameter of the hose",
    ),
    (
        "--orifice-in",
        "orifice_in",
        Quantity(*LIMITS["orifice_in"]),
        "orifice of the fitting, 0.625",
    ),
)


SYSTEM_FIELDS: dict[str, tuple[str, ...]] = {
    "site": ("altitude_ft",),
    "unit": ("rated_sealed", "rated_airflow", "class_", "age_years", "motors", "filter"),
    "house": ("tubing_ft", "hose_ft", "hose_bore_in"),
    "gauge": ("orifice_in",),
}
"""Part of a visit -> fields that the options of `system_options` set."""


def system_options(command: Command) -> Command:
    """Add the options that describe the unit and the house."""
    for flag, name, kind, text in reversed(_UNIT):
        command = click.option(flag, name, type=kind, help=text)(command)
    return command


def visit_from(options: dict[str, Any]) -> Visit:
    """An empty visit that describes what the options say.

    Raises:
        InputError: a value that cannot be.
    """
    given = {name: value for name, value in options.items() if value is not None}

    def only(part: str) -> dict[str, Any]:
        return {name: given[name] for name in SYSTEM_FIELDS[part] if name in given}

    try:
        return Visit(
            site=Site(**only("site")),
            unit=Unit(**only("unit")),
            house=House(**only("house")),
            gauge=Gauge(**only("gauge")),
        )
    except ValidationError as problem:
        first = problem.errors()[0]
        raise InputError(str(first["msg"]), Place(key=str(first["loc"][-1]))) from None


def check_tools(knowledge: Knowledge, without: tuple[str, ...]) -> None:
    """Refuse a tool that nobody knows.

    Raises:
        InputError: with the nearest tool.
    """
    known = {*knowledge.tools, *(n for one in knowledge.checks.values() for n in one.tools)}
    for tool in without:
        if tool not in known:
            raise InputError(
                f"there is no tool '{tool}'", Place(key="--without"), nearest(tool, known)
            )


def planning_options(command: Command) -> Command:
    """Add how far the planner looks ahead, and what a wrong part costs."""
    command = click.option(
        "--wrong-part",
        "wrong_part",
        type=Number(0, 10_000),
        default=0.0,
        metavar="MINUTES",
        help="what fitting a part that was not needed costs you, in minutes",
    )(command)
    return click.option(
        "--think",
        type=click.Choice(["quick", "normal", "deep"]),
        default="normal",
        show_default=True,
        help="how far to look ahead for the next check",
    )(command)


class _Day(click.ParamType[datetime]):
    """A day as it is written, such as 2026-03-04."""

    name = "day"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> datetime:
        if isinstance(value, datetime):
            return value
        try:
            return datetime.strptime(value, "%Y-%m-%d")
        except ValueError:
            self.fail(f"'{value}' is not a day; write it as 2026-03-04", param, ctx)


DAY = _Day()


def db_option(command: Command) -> Command:
    """Add the option that says where visits are kept; given before a subcommand it holds for it."""

    def given_nearest(
        context: click.Context, option: click.Parameter, value: str | None
    ) -> str | None:
        given, where = value, context
        while where.get_parameter_source("db") is not ParameterSource.COMMANDLINE:
            if where.parent is None:
                return value
            where = where.parent
            given = where.params.get("db")
        return given

    return click.option(
        "--db",
        envvar="STILLFLOW_DB",
        callback=given_nearest,
        metavar="URL",
        help="where visits are kept; a database URL (default: your user-data folder)",
    )(command)


def json_option(command: Command) -> Command:
    """Add `--json`."""
    return click.option("--json", "as_json", is_flag=True, help="print JSON for programs")(command)


def own_rules() -> tuple[str, ...]:
    """Folders laid over the shipped rules without being asked for.

    Those that `STILLFLOW_RULES` names; where that is not set (an empty one is), the folder `rules`
    of the user's data, if there is one with a rule file in it.
    """
    named = os.environ.get("STILLFLOW_RULES")
    if named is not None:
        return tuple(part for part in named.split(os.pathsep) if part)
    folder = user_rules()
    return (str(folder),) if any(folder.rglob("*.yaml")) else ()


def user_rules() -> Path:
    """Where a user's own rules belong, whether there are any or not."""
    from platformdirs import user_data_dir

    return Path(user_data_dir("stillflow", appauthor=False)) / "rules"


def start_options(command: Command) -> Command:
    """Add what is known at the start of a tree: the complaint, and answers."""
    for option in (
        click.option(
            "--given",
            multiple=True,
            metavar="CHECK=ANSWER",
            help="an answer known at the start (may be repeated)",
        ),
        click.option("--complaint", metavar="ID", help="what the customer calls about"),
    ):
        command = option(command)
    return command


def without_option(command: Command) -> Command:
    """Add the option that names the tools that are not here, of a chart."""
    return click.option(
        "--without", multiple=True, metavar="TOOL", help="a tool that is not here (may be repeated)"
    )(command)


def cases_option(command: Command) -> Command:
    """Add the option for a folder of worked cases."""
    return click.option(
        "--cases",
        type=click.Path(),
        metavar="FOLDER",
        help="a folder of worked cases in place of the shipped ones",
    )(command)


def rules_option(command: Command) -> Command:
    """Add the option that lays further rule folders over the shipped rules."""
    return click.option(
        "--rules",
        "rules",
        multiple=True,
        type=click.Path(),
        metavar="FOLDER",
        callback=lambda _ctx, _param, given: (*own_rules(), *given),
        help="a folder of rules laid over the shipped ones (may be repeated); over those of "
        "STILLFLOW_RULES or your user-data folder",
    )(command)
