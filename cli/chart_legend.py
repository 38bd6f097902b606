"""`stillflow chart legend`: the page that says how to read the others."""

from __future__ import annotations

from datetime import datetime

import click

from stillflow.cli.drawing import Target, chart_options, day_of, drawn, write_chart
from stillflow.cli.output import say
from stillflow.engine.base import HowCommon, Strength
from stillflow.engine.charts import (
    PLOTTED,
    Handout,
    HandoutPage,
    HandoutPart,
    TitleBlock,
    handout_chart,
    whole_key,
)

LIKELY = (
    "Likely is a share of calls: of a hundred calls on which just this is known, so many have "
    "that fault. It is no promise about this one.",
    "Shares of faults that exclude one another add up to 100 %. Under 1 % is called ruled out, and "
    "may still be it once in some hundreds of calls.",
    "The figure on an answer is how often that answer is given there.",
)
MINUTES = (
    "The minutes in a box are those of that step, with what must be opened for it.",
    '"In all" is every step from the start to there, the fix, and measuring after it.',
    "Minutes to a verified fix are a mean over all that may still be wrong.",
)
READINGS = (
    "Sealed is suction with no air flowing, working is suction left with air entering through the "
    "5/8 in orifice. The % is the share of what this very system should read in good order.",
)


@click.command("legend")
@chart_options(PLOTTED)
def legend(target: Target, day: datetime | None) -> None:
    """Make the page that goes with the charts: symbols, words for strength, likely, minutes."""
    strengths = tuple(
        f"{one.replace('-', ' ')}: seen about {_round(one.factor)} times as often where it is so "
        "as where it is not"
        for one in Strength
        if one is not Strength.COMPUTED
    )
    common = tuple(
        f"{one.replace('-', ' ')}: "
        + (
            f"about {_round(one.weight)} calls for one of an occasional fault"
            if one.weight >= 1.0
            else f"one call for about {_round(1.0 / one.weight)} of an occasional fault"
        )
        for one in HowCommon
        if one.weight != 1.0
    )
    page = HandoutPage(
        heading="How to read the charts",
        parts=(
            HandoutPart(heading="Likely", lines=LIKELY),
            HandoutPart(
                heading="Words for strength",
                lines=(*strengths, "computed: as much as the airflow model says"),
            ),
            HandoutPart(heading="How common a fault is", lines=common),
            HandoutPart(heading="Minutes", lines=MINUTES),
            HandoutPart(heading="Readings", lines=READINGS),
        ),
    )
    title = TitleBlock(title="Legend", date=day_of(day))
    chart = handout_chart(Handout(title=title, pages=(page,)), "legend", whole_key())
    paths = write_chart(chart, target)
    if paths:
        say(drawn(paths))


def _round(factor: float) -> str:
    """A factor as it is meant: to one digit."""
    return f"{float(f'{factor:.1g}'):g}"
