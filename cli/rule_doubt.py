"""`stillflow rules doubt`: which conclusions, and which minutes, hang on which judged numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from math import sqrt
from typing import TYPE_CHECKING

import click

from stillflow.cli.drawing import Target, day_of, drawn, write_chart
from stillflow.cli.options import cases_option, json_option, rules_option
from stillflow.cli.output import progress, say, say_json, watched
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.base import in_figures, in_percent, minutes
from stillflow.engine.charts import Chart, TitleBlock, Tornado, TornadoBar, tornado_chart
from stillflow.engine.ruleset import JudgedNumber, Knowledge

if TYPE_CHECKING:
    from stillflow.casebook.cases import Case
    from stillflow.casebook.doubt import Sensitivity, Timed

SEED = 1
_LISTED = 12
_HALF = 8
"""Letters of a bar to either side of the middle."""


@click.command("doubt")
@click.option(
    "--draws",
    type=click.IntRange(50, 5000),
    default=200,
    show_default=True,
    help="how often all numbers are drawn",
)
@click.option(
    "--calls",
    type=click.IntRange(0, 20_000),
    default=100,
    show_default=True,
    help="how many made-up calls are looked at beside the worked cases",
)
@click.option(
    "--played",
    type=click.IntRange(0, 1000),
    default=4,
    show_default=True,
    help="how many of them are played for the minutes they take",
)
@click.option(
    "--worked",
    type=click.IntRange(0, 1000),
    default=60,
    show_default=True,
    help="how many worked cases are looked at, evenly over all of them",
)
@click.option(
    "--chart",
    metavar="FILE",
    help="draw the tornado chart into this file as well: .svg, .png or .pdf",
)
@cases_option
@rules_option
@json_option
def doubt_(
    draws: int,
    calls: int,
    played: int,
    chart: str | None,
    worked: int,
    cases: str | None,
    rules: tuple[str, ...],
    as_json: bool,
) -> None:
    """Say which conclusions hang on which judged numbers: where a better one is worth having.

    How common faults are, strengths, usual shares, shares mistaken, sizes and minutes are
    judgements, each with a range: its own, or that of its kind in ranges.yaml. All are drawn from
    their ranges at once, many times; each time the final belief of worked cases and made-up calls
    is worked out anew. What a conclusion hangs on is told by first-order Sobol indices, what one
    number alone turns by a tornado chart.
    """
    import numpy as np

    from stillflow.casebook.cases import load_cases, play
    from stillflow.casebook.doubt import case_calls, doubt, timed
    from stillflow.casebook.generated import KINDS, draw_kinds, generate

    knowledge = load_rules(rules)
    generator = np.random.default_rng(SEED)
    known = _spread([one for one in load_cases(cases) if one.expect.fixes], worked)
    visits = list(case_calls(known, knowledge))
    if calls:
        kinds = draw_kinds(knowledge, generator, KINDS)
        visits += generate(kinds, generator, calls, together=True)
    with progress("Houses and draws") as told:
        found = doubt(visits, knowledge, generator, draws, told)
    took: Timed | None = None
    if played and known:
        some = _spread(known, played)
        went = [
            play(case, knowledge).visit.events
            for case in watched(some, len(some), "Cases played for their minutes")
        ]
        took = timed(went, knowledge, generator, draws)
    if as_json:
        timing = None if took is None else asdict(took)
        say_json({**asdict(found), "minutes": timing, "seed": SEED})
        return
    screen = Screen()
    with screen.sheet():
        _show(screen, found)
        if took is not None:
            _show_minutes(screen, took)
    if chart:
        say(drawn(write_chart(_tornado(found, knowledge), Target(chart))))


def _tornado(found: Sensitivity, knowledge: Knowledge) -> Chart:
    title = TitleBlock(
        title="What each judged number alone turns",
        subtitle=f"Of {found.items} conclusions of worked cases and made-up calls: those that come "
        "out otherwise with one number at its least and at its most, of the numbers on which most "
        "hang.",
        date=day_of(None),
        rules_version=knowledge.digest,
    )
    bars = tuple(
        TornadoBar(title=said(one.number), least=one.least, most=one.most)
        for one in found.held
        if one.least or one.most
    )
    return tornado_chart(Tornado(title=title, counted="conclusions that turn", bars=bars))


def _spread(cases: Sequence[Case], most: int) -> list[Case]:
    """So many of them, evenly over all."""
    return [cases[n * len(cases) // most] for n in range(min(most, len(cases)))]


def _show(screen: Screen, found: Sensitivity) -> None:
    count = len(found.shaky)
    screen.head("Doubt", f"{count} of {found.items} conclusions are not the same always")
    screen.text(
        f"{found.numbers:,} numbers drawn {found.draws} times, each from its range. A share of the "
        f"draws is off by some {in_percent(0.5 / sqrt(found.draws))}."
    )
    screen.text(
        "Tornado: conclusions that come out otherwise with one number alone at its least (left) "
        "and at its most (right), and how many hang on it by first-order Sobol indices:",
        style="bold",
    )
    shown = found.held[:_LISTED]
    reach = max((count for one in shown for count in (one.least, one.most)), default=0) or 1
    for one in shown:
        left, right = ("#" * round(_HALF * count / reach) for count in (one.least, one.most))
        bar = f"{one.least:3} {left:>{_HALF}}|{right:<{_HALF}} {one.most:<3}"
        screen.item(bar, f"{said(one.number)}; {len(one.conclusions)}")
    screen.text("The least sure conclusions, and the indices of what they hang on:", style="bold")
    for shaky in found.shaky[:_LISTED]:
        on = "; ".join(f"{said(number)}, {index:.2f}" for number, index in shaky.numbers)
        words = f"{shaky.name}: {shaky.fault}, another in {in_percent(shaky.flips)}"
        screen.item("-", f"{words}; hangs on {on}" if on else words)
    screen.text("More with --json.", 2)


def _show_minutes(screen: Screen, took: Timed) -> None:
    screen.head("Minutes", f"{took.calls} worked cases as they go by these rules")
    screen.text(
        f"{minutes(took.minutes)} as the numbers stand; nine draws in ten come to "
        f"{took.low:.0f} to {took.high:.0f} min. They hang on:"
    )
    for number, index in took.numbers[:_LISTED]:
        screen.item("-", f"{said(number)}: {index:.2f}")


def said(number: JudgedNumber) -> str:
    """A judged number with its range."""
    return f"{number.name}, {in_figures(number.low)} to {in_figures(number.high)}"
