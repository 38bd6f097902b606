"""Readings given as options, one-shot: the options, and the session they make."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from stillflow.cli.options import SUCTION, visit_from
from stillflow.engine import Session
from stillflow.engine.base import AirState, InputError, Station
from stillflow.engine.inference import Pair
from stillflow.engine.ruleset import Knowledge

_PAIRS = (Station.UNIT, Station.UTILITY, Station.OTHER, Station.HOSE)

Found = dict[Station, dict[AirState, float]]


def reading_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options that give readings: sealed and working at any station."""
    for station in reversed(_PAIRS):
        for state in reversed(AirState):
            command = click.option(
                f"--{station}-{state}",
                type=SUCTION,
                help=f"{state} suction at {station.words}, inH2O",
            )(command)
    command = click.option(
        "--also",
        type=(str, SUCTION, SUCTION),
        multiple=True,
        metavar="NAME SEALED WORKING",
        help="both readings at one more inlet, by its name (may be repeated)",
    )(command)
    command = click.option(
        "--station",
        type=click.Choice([station.value for station in Station]),
        default=Station.INLET.value,
        show_default=True,
        help="where --sealed and --working were read",
    )(command)
    command = click.option(
        "--working", type=SUCTION, help="suction with air entering through the orifice"
    )(command)
    return click.option("--sealed", type=SUCTION, help="suction with no air flowing, inH2O")(
        command
    )


def take_readings(options: dict[str, Any]) -> Found:
    """Take the readings out of a command's options, by station and state, inH2O.

    Raises:
        InputError: the same reading was given twice.
    """
    found: Found = {}
    for where in _PAIRS:
        for state in AirState:
            value = options.pop(f"{where}_{state}")
            if value is not None:
                found.setdefault(where, {})[state] = value
    station = options.pop("station")
    for state in AirState:
        value = options.pop(state.value)
        if value is not None:
            at = found.setdefault(Station(station), {})
            if state in at:
                what = f"{state} at {Station(station).words}"
                raise InputError(f"{what} is given twice", right="give it once")
            at[state] = value
    return found


def measured(knowledge: Knowledge, found: Found, options: dict[str, Any]) -> Session:
    """A session that is just measuring, with these readings on record.

    Args:
        knowledge: a loaded rule set.
        found: from `take_readings`.
        options: those of `system_options`.

    Raises:
        InputError: a value that cannot be.
    """
    also = options.pop("also")
    visit = visit_from(options).model_copy(update={"purpose": "measuring"})
    session = Session(knowledge, visit)
    for check in knowledge.checks.values():
        if check.kind == "reading" and check.station is not None and check.condition is not None:
            value = found.get(check.station, {}).get(check.condition)
            if value is not None:
                # Beside others it needs a name too, or the first of those would be taken for it.
                unnamed = also and check.station is Station.OTHER
                inlet = (visit.site.other_inlet or "other") if unnamed else None
                session.record(check.id, value, inlet=inlet)
    others = {
        check.condition: check.id
        for check in knowledge.checks.values()
        if check.station is Station.OTHER
    }
    for name, *values in also:
        for state, value in zip(AirState, values, strict=True):
            if state in others:
                session.record(others[state], value, inlet=name)
    return session


def pairs(found: Found) -> dict[Station, Pair]:
    """The readings as pairs of sealed and working."""
    return {where: Pair(**pair) for where, pair in found.items()}
