"""`stillflow chart tree`: what to check next, for every answer, as a tree to print."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from typing import Any

import click

from stillflow.cli.drawing import Target, chart_options, day_of, drawn, write_chart
from stillflow.cli.options import (
    Share,
    check_tools,
    planning_options,
    rules_option,
    start_options,
    system_options,
    visit_from,
    without_option,
)
from stillflow.cli.output import say
from stillflow.engine import Session, load_rules
from stillflow.engine.base import InputError, Place, in_percent, percent, small_first
from stillflow.engine.charts import Chart, PaperName, TitleBlock, on_paper
from stillflow.engine.dialogue import Act
from stillflow.engine.inference import NO_ANSWER, checked_answer, known_check
from stillflow.engine.planning import PolicyTree, Think
from stillflow.engine.ruleset import Knowledge

REACHES = (
    0.01,
    0.015,
    0.02,
    0.025,
    0.03,
    0.035,
    0.04,
    0.045,
    0.05,
    0.055,
    0.06,
    0.08,
    0.1,
    0.15,
    0.2,
    0.3,
    0.5,
)
"""Shares of the calls below which the card goes on, to try on a paper."""

WITHOUT_PAPER = 0.03
"""That share where there is no paper to fill."""

_SHEETS: dict[PaperName, int] = {"a4": 4, "letter": 4, "tabloid": 3}
"""Pages a tree may take by default, where that is not two: about as much paper as two of A3."""

HELP = """Draw what to check next, for every answer, down to the fix.

\b
stillflow chart tree --paper a3 --out tree.pdf
stillflow chart tree --complaint weak-at-one-inlet --given slider-look=closed
stillflow chart tree --rated-sealed 130 --rated-airflow 114 --until 95%
"""


@click.command("tree", help=HELP)
@start_options
@click.option("--depth", type=click.IntRange(min=1), help="steps after which it ends")
@click.option(
    "--until",
    type=Share(),
    default="1",
    metavar="SHARE",
    help="a fix this sure, such as 95%, ends its branch",
)
@click.option(
    "--reach",
    type=Share(),
    metavar="SHARE",
    help="leave what fewer calls come to to the card beside the tree (default: 3%; on a paper what "
    "fits two pages, three of tabloid, four of a4 or letter)",
)
@without_option
@system_options
@planning_options
@chart_options()
@rules_option
def tree(
    complaint: str | None,
    given: tuple[str, ...],
    depth: int | None,
    until: float,
    reach: float | None,
    without: tuple[str, ...],
    think: Think,
    wrong_part: float,
    target: Target,
    day: datetime | None,
    rules: tuple[str, ...],
    **options: Any,
) -> None:
    """Draw the decision tree from any starting facts."""
    from stillflow.engine.charts import decision_chart
    from stillflow.engine.dialogue import RARE, short_way, visit_tree
    from stillflow.engine.views import decision_tree

    knowledge = load_rules(rules)
    check_tools(knowledge, without)
    visit = visit_from(options).model_copy(update={"missing_tools": without})
    session = Session(knowledge, visit, think, wrong_part)
    filters = [*start_with(session, complaint, given)]
    filters += [f"without {tool.replace('-', ' ')}" for tool in without]
    if depth is not None:
        filters.append(f"{depth} steps" if depth > 1 else "1 step")
    if until < 1.0:
        filters.append(f"until a fix is {in_percent(until)} sure")
    if think != "normal":
        filters.append(f"{think} look-ahead")
    if wrong_part:
        filters.append(f"a wrong part costs {wrong_part:g} minutes")
    what = knowledge.complaints[complaint].title if complaint else "Poor suction"

    def draw(reach: float) -> Chart:
        beyond = short_way(session, min(reach, RARE))
        unrolled = visit_tree(
            session,
            reach=reach,
            depth=depth,
            until=until,
            think=think,
            wrong_part_minutes=wrong_part,
            beyond=beyond,
            wall=target.paper is not None,
        )
        title = TitleBlock(
            title=f"What to check next: {small_first(what)}",
            subtitle=_explained(session, unrolled),
            date=day_of(day),
            rules_version=knowledge.digest,
            filters=(*filters, f"what at least {_one_in(reach)} calls come to"),
        )
        return decision_chart(decision_tree(unrolled, session, title, beyond))

    if reach is not None or target.paper is None:
        chart = draw(WITHOUT_PAPER if reach is None else reach)
    else:
        chart = _fitting(draw, target, target.paper)
    paths = write_chart(chart, target)
    if paths:
        say(drawn(paths))


def _fitting(draw: Callable[[float], Chart], target: Target, paper: PaperName) -> Chart:
    """The tree that shows as much as its few pages have room for."""
    most = _SHEETS.get(paper, 2)

    def too_large(chart: Chart) -> bool:
        return len(on_paper(chart, paper, target.portrait, target.text_size)) > most

    low, high = 0, len(REACHES) - 1
    chart = draw(REACHES[high])
    while low < high:
        middle = (low + high) // 2
        tried = draw(REACHES[middle])
        if too_large(tried):
            low = middle + 1
        else:
            high, chart = middle, tried
    return chart


def start_with(session: Session, complaint: str | None, given: Sequence[str]) -> Iterable[str]:
    """Put starting facts on record; yields each in words."""
    from stillflow.engine.views import known_complaint

    knowledge = session.knowledge
    if complaint is not None:
        known = known_complaint(knowledge, complaint)
        session.record(known.check, known.answer)
        yield f"complaint: {known.title}"
    for one in given:
        name, joined, answer = one.partition("=")
        if not joined:
            right = "write it as check=answer, such as slider-look=closed"
            raise InputError(f"'{one[:40]}' is not an answer", Place(key="--given"), right)
        check = known_check(knowledge, name.strip())
        session.record(check.id, checked_answer(check, answer.strip(), "--given"))
        yield _said(knowledge, session, name.strip())


def _said(knowledge: Knowledge, session: Session, check_id: str) -> str:
    check = knowledge.checks[check_id]
    answer = session.events[-1].answer
    question = check.ask.rstrip("?")
    if answer in NO_ANSWER:
        return f"{question}: {answer}"
    if check.kind == "reading":
        assert check.station is not None
        return f"{check.condition} at {check.station.words}: {answer:.0f} inH2O"
    return f"{question}: {check.labels(str(answer))}"


def _explained(session: Session, unrolled: PolicyTree) -> str:
    checks = session.knowledge.checks
    asked = {node.act.id for node in unrolled.nodes if isinstance(node.act, Act)}
    readings = ""
    if any(checks[one].kind == "reading" for one in asked if one in checks):
        readings = "Readings are in % of what the system at hand should read"
        wide = session.baseline.wide
        readings += ". " if wide else f"; in brackets is that in inH2O by {session.baseline.note}. "
    return (
        "Begins once the question about danger signs is answered with none. "
        f"{readings}In {percent(unrolled.ended)} of calls the fault has a fix box here, in "
        f"{percent(unrolled.found)} a box or a look that is named; for the rest, and where a fix "
        "is not it, the card says what then. "
        "What cannot be done or told here: go the way that is marked most often."
    )


def _one_in(share: float) -> str:
    return "all" if share <= 0.0 else f"1 in {1 / share:,.0f}"
