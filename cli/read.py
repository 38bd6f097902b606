"""`stillflow read`: what a pair of readings says, in one go."""

from __future__ import annotations

import json
from typing import Any

import click

from stillflow.cli.describe import MODE_WORDS, show_baseline, show_belief, show_sizes
from stillflow.cli.options import SUCTION, json_option, rules_option, system_options, visit_from
from stillflow.cli.screen import Screen, minutes, percent
from stillflow.engine import Session, load_rules
from stillflow.engine.errors import InputError
from stillflow.engine.scales import AirState, Station
from stillflow.engine.steps import NextStep
from stillflow.engine.visit import Pair

_PAIRS = (Station.UNIT, Station.UTILITY, Station.OTHER, Station.HOSE)


def _pair_options(command: Any) -> Any:
    for station in reversed(_PAIRS):
        for state in reversed(AirState):
            command = click.option(
                f"--{station}-{state}",
                type=SUCTION,
                help=f"{state} suction at the {station}, inH2O",
            )(command)
    return command


@click.command("read")
@click.option("--sealed", type=SUCTION, help="suction with no air flowing, inH2O")
@click.option("--working", type=SUCTION, help="suction with air entering through the orifice")
@click.option(
    "--station",
    type=click.Choice([station.value for station in Station]),
    default=Station.INLET.value,
    show_default=True,
    help="where --sealed and --working were read",
)
@_pair_options
@system_options
@rules_option
@json_option
def command(
    sealed: float | None,
    working: float | None,
    station: str,
    rules: tuple[str, ...],
    as_json: bool,
    **options: Any,
) -> None:
    """Say what a pair of readings means, in one go.

    Readings are in inH2O unless a unit is written: 90, '90 inH2O', '22.4 kPa'. What they are
    held against is the unit's rating, or its class and age, corrected for altitude and orifice.
    """
    found: dict[Station, dict[AirState, float]] = {}
    for where in _PAIRS:
        for state in AirState:
            value = options.pop(f"{where}_{state}")
            if value is not None:
                found.setdefault(where, {})[state] = value
    for state, value in ((AirState.SEALED, sealed), (AirState.WORKING, working)):
        if value is not None:
            at = found.setdefault(Station(station), {})
            if state in at:
                raise InputError(f"{state} at the {station} is given twice", right="give it once")
            at[state] = value
    if not found:
        raise InputError("there is nothing to read", right="give --sealed, --working or both")
    knowledge = load_rules(rules)
    visit = visit_from(options).model_copy(update={"purpose": "measuring"})
    session = Session(knowledge, visit)
    for check in knowledge.checks.values():
        if check.kind == "reading" and check.station is not None and check.condition is not None:
            value = found.get(check.station, {}).get(check.condition)
            if value is not None:
                session.record(check.id, value)
    step = session.next_step()
    if as_json:
        click.echo(json.dumps(_as_json(session, step), indent=2))
    else:
        _show(Screen(), session, step, {where: Pair(**pair) for where, pair in found.items()})


def _as_json(session: Session, step: NextStep) -> dict[str, Any]:
    whole = step.model_dump(mode="json", by_alias=True)
    estimate = session.sizes()
    kept = {key: whole[key] for key in ("faults", "modes", "baseline", "because")}
    kept["sizes"] = estimate.model_dump(mode="json") if estimate else None
    kept["next"] = {key: whole[key] for key in ("step", "check", "fix", "ending", "choice")}
    return kept


def _show(screen: Screen, session: Session, step: NextStep, found: dict[Station, Pair]) -> None:
    screen.head("Readings")
    show_baseline(screen, session.baseline, found)
    screen.gap()
    modes = [(MODE_WORDS[mode], share) for mode, share in step.modes.items() if share >= 0.05]
    screen.text(", ".join(f"{name} {percent(share)}" for name, share in modes), style="bold")
    show_belief(screen, step.faults)
    show_sizes(screen, session.sizes())
    screen.gap()
    screen.items(step.because)
    screen.gap()
    if step.check is not None:
        screen.item("next:", f"{step.check.ask} ({minutes(step.check.minutes)})", 0)
        screen.cautions(step.check.cautions)
    elif step.fix is not None:
        screen.item("next:", f"{step.fix.title} ({minutes(step.fix.minutes)})", 0)
        screen.cautions(step.fix.cautions)
    elif step.ending is not None:
        screen.item("next:", step.ending.what, 0)
