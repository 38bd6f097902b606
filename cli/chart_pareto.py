"""`stillflow chart pareto`: what is behind a complaint, by how often, with the sum."""

from __future__ import annotations

from datetime import datetime

import click

from stillflow.cli.drawing import Target, chart_options, day_of, drawn, write_chart
from stillflow.cli.options import rules_option
from stillflow.cli.output import say
from stillflow.engine import load_rules
from stillflow.engine.base import counted, percent, small_first
from stillflow.engine.charts import PLOTTED, Pareto, TitleBlock, pareto_chart
from stillflow.engine.views import known_complaint, pareto_bars


@click.command("pareto")
@click.option("--complaint", metavar="ID", help="what the customer calls about")
@click.option(
    "--most",
    type=click.IntRange(2, 200),
    default=15,
    show_default=True,
    help="how many causes have a bar of their own",
)
@chart_options(PLOTTED)
@rules_option
def pareto(
    complaint: str | None,
    most: int,
    target: Target,
    day: datetime | None,
    rules: tuple[str, ...],
) -> None:
    """Draw the causes of a complaint, the likeliest first, with their sum as a line."""
    knowledge = load_rules(rules)
    known = None if complaint is None else known_complaint(knowledge, complaint)
    bars = pareto_bars(knowledge, known, most)
    own = [bar for bar in bars if not bar.several]
    what = known.title if known else "poor suction"
    title = TitleBlock(
        title=f"What is behind it: {small_first(what)}",
        subtitle="Shares of the calls as people in the trade judge them, not counted calls: causes "
        f"with the same figure are ties, in no order. {counted(len(own), 'cause')} of "
        f"{len(own) + sum(bar.several for bar in bars)} together: "
        f"{percent(sum(bar.share for bar in own))}.",
        date=day_of(day),
        rules_version=knowledge.digest,
        filters=(f"complaint: {known.title}",) if known else (),
    )
    paths = write_chart(pareto_chart(Pareto(title=title, bars=bars)), target)
    if paths:
        say(drawn(paths))
