"""`stillflow rules try`, `explain` and `play`: what rules make of facts, of a fault, of a call."""

from __future__ import annotations

from dataclasses import asdict

import click

from stillflow.cli.options import json_option, rules_option
from stillflow.cli.output import say_json
from stillflow.cli.rule_cards import evidence_words
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.audit import Grounds, Sign, Trial
from stillflow.engine.base import in_percent, minutes, percent

_LISTED = 12
NOT_FOUND = 1


@click.command("try")
@click.argument("facts", nargs=-1, required=True, metavar="FACT=VALUE ...")
@rules_option
@json_option
def try_(facts: tuple[str, ...], rules: tuple[str, ...], as_json: bool) -> None:
    """Say which rules fire on some facts, and which nearly do and what is missing for it.

    A fact is one that rules may name, or a check with its answer or reading, such as
    hose-look=holed or sealed-inlet=70.
    """
    from stillflow.engine.audit import tried

    trial = tried(load_rules(rules), facts)
    if as_json:
        fired = [card.model_dump(mode="json") for card in trial.fired]
        nearly = [asdict(one) for one in trial.nearly]
        say_json({"facts": dict(trial.facts), "fired": fired, "nearly": nearly})
        return
    _show_trial(Screen(), trial)


def _show_trial(screen: Screen, trial: Trial) -> None:
    screen.head("Fires", str(len(trial.fired)))
    for card in trial.fired:
        screen.item("-", f"{card.id}: {card.because}", 0)
        for item in card.evidence:
            screen.item("+" if item.direction == "for" else "-", evidence_words(item), 4)
        for stop in card.stops:
            screen.item("STOP", stop.what, 4, "bold red")
    screen.head("Nearly fires", str(len(trial.nearly)))
    for near in trial.nearly[:_LISTED]:
        screen.item("-", f"{near.rule}: {near.because}", 0)
        screen.items(near.missing, "missing:", 4)
    if len(trial.nearly) > _LISTED:
        screen.text(f"{len(trial.nearly) - _LISTED} more with --json.", 2)


@click.command("explain")
@click.argument("fault", metavar="FAULT")
@rules_option
@json_option
def explain(fault: str, rules: tuple[str, ...], as_json: bool) -> None:
    """Say all that can be seen for and against a fault, and the cheapest way to be sure of it.

    Readings count as the airflow model has them; all of it is weighed against the other faults,
    each as common as it is, on a visit to an ordinary unit that can have it, that of 'rules play'.
    """
    from stillflow.engine.audit import grounds_of

    grounds = grounds_of(load_rules(rules), fault)
    if as_json:
        say_json({**asdict(grounds), "minutes": grounds.minutes})
        return
    screen = Screen()
    screen.head(grounds.title, grounds.fault)
    screen.text(f"Before anything is seen: {percent(grounds.start)} of calls.")
    _show_signs(screen, "For it, times likelier than elsewhere:", grounds.signs_for, False)
    _show_signs(screen, "Against it, times rarer:", grounds.signs_against, True)
    _show_way(screen, grounds)


def _show_signs(screen: Screen, title: str, signs: tuple[Sign, ...], against: bool) -> None:
    screen.text(title, style="bold")
    for sign in signs[:_LISTED]:
        times = 1.0 / sign.times if against else sign.times
        by = "; by the airflow model" if sign.reading else ""
        shown = f"{times:.3g}" if times < 1000.0 else "over 1000"
        screen.item(f"x {shown}", f"{sign.ask} - {sign.answer} ({sign.check}{by})")
    if len(signs) > _LISTED:
        screen.text(f"{len(signs) - _LISTED} more with --json.", 2)
    if not signs:
        screen.text("Nothing.", 2)


def _show_way(screen: Screen, grounds: Grounds) -> None:
    screen.text("The cheapest way to be sure:", style="bold")
    for number, look in enumerate(grounds.way, 1):
        said = f"{look.ask} - {look.answer} ({look.check}, {minutes(look.minutes)})"
        screen.item(f"{number}.", f"{said}: {in_percent(look.chance)}")
    if grounds.sure:
        screen.text(f"About {minutes(grounds.minutes)} in all.", 2)
    else:
        name, chance = grounds.rival
        screen.text(
            f"Nothing more tells it from '{name}', which still has {in_percent(chance)}. A visit "
            "goes by minutes and may fix before anybody is that sure: see 'stillflow rules play'.",
            2,
        )


@click.command("play")
@click.argument("fault", metavar="FAULT")
@rules_option
@json_option
def play(fault: str, rules: tuple[str, ...], as_json: bool) -> int:
    """Play a call in which a fault is there, at its smallest and at its largest size.

    In an ordinary house, with exact readings and every question answered as is likeliest. The exit
    code is 1 if a call does not come to the fault.
    """
    from stillflow.engine.simulate import at_extremes

    played = at_extremes(load_rules(rules), fault)
    if as_json:
        rows = [
            {
                "size": one.size,
                "found": one.found,
                "ending": one.played.ending,
                "concluded": one.played.concluded,
                "fixes": [name for name, _ in one.played.offered],
                "checks": one.played.checks,
                "minutes": one.played.minutes,
                "events": [event.model_dump(exclude_none=True) for event in one.events],
            }
            for one in played
        ]
        say_json(rows)
    else:
        screen = Screen()
        for one in played:
            size = " and ".join(f"{number:g}" for number in one.size)
            screen.head(f"{fault}, size {size}" if size else fault, minutes(one.played.minutes))
            for event in one.events:
                if event.fix is not None:
                    screen.item("fix:", event.fix if event.done else f"{event.fix}, not done")
                else:
                    screen.item("-", f"{event.check}: {event.answer}")
            words = "found" if one.found else f"not found; it came to {one.played.concluded}"
            screen.text(f"{one.played.ending}: {words}.")
    return 0 if all(one.found for one in played) else NOT_FOUND
