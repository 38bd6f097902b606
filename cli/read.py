"""`stillflow read`: what a pair of readings says, in one go."""

from __future__ import annotations

from typing import Any

import click

from stillflow.cli.describe import MODE_WORDS, show_baseline, show_belief
from stillflow.cli.options import json_option, rules_option, system_options
from stillflow.cli.output import say_json
from stillflow.cli.readings import measured, pairs, reading_options, take_readings
from stillflow.cli.screen import Screen
from stillflow.engine import Session, load_rules
from stillflow.engine.base import InputError, Station, minutes, percent
from stillflow.engine.dialogue import NextStep
from stillflow.engine.inference import Pair


@click.command("read")
@reading_options
@system_options
@rules_option
@json_option
def command(rules: tuple[str, ...], as_json: bool, **options: Any) -> None:
    """Say what a pair of readings means, in one go.

    Readings are in inH2O unless a unit is written: 90, '90 inH2O', '22.4 kPa'. What they are
    held against is the unit's rating, or its class and age, corrected for altitude and orifice.
    """
    found = take_readings(options)
    if not found:
        raise InputError("there is nothing to read", right="give --sealed, --working or both")
    session = measured(load_rules(rules), found, options)
    step = session.next_step()
    if as_json:
        say_json(_as_json(session, step))
    else:
        _show(Screen(), session, step, pairs(found))


def _as_json(session: Session, step: NextStep) -> dict[str, Any]:
    whole = step.model_dump(mode="json", by_alias=True)
    sizes = session.sizes()
    kept: dict[str, Any] = {"verdict": session.said().verdict}
    kept |= {key: whole[key] for key in ("faults", "modes", "baseline", "because")}
    kept["sizes"] = sizes.model_dump(mode="json") if sizes else None
    kept["next"] = {key: whole[key] for key in ("step", "check", "fix", "ending", "choice")}
    return kept


def _show(screen: Screen, session: Session, step: NextStep, found: dict[Station, Pair]) -> None:
    said = session.said()
    screen.text(said.verdict, style="bold")
    screen.gap()
    if step.check is not None:
        screen.item("next:", f"{step.check.ask} ({minutes(step.check.minutes)})", 0)
        screen.cautions(step.check.cautions)
    elif step.fix is not None:
        screen.item("next:", f"{step.fix.title} ({minutes(step.fix.minutes)})", 0)
        screen.cautions(step.fix.cautions)
    elif step.ending is not None:
        screen.item("next:", step.ending.what, 0)
    screen.gap()
    screen.items((*said.sizes, *said.left))
    screen.gap()
    screen.head("Readings")
    show_baseline(screen, session, found)
    screen.gap()
    sizes = session.sizes()
    if sizes is None or (sizes.odd is not None and not sizes.together):
        return  # What is left is how common faults are; that is nothing that was measured.
    modes = [(MODE_WORDS[mode], share) for mode, share in step.modes.items() if share >= 0.05]
    # Where there are two, shares of which one is the only one say nothing.
    if not sizes.together:
        screen.text(", ".join(f"{name} {percent(share)}" for name, share in modes))
    show_belief(screen, step)
    screen.items(step.because)
