"""`stillflow casebook quiz`: a worked case page by page, at the prompt or on paper."""

from __future__ import annotations

import click

from stillflow.casebook.cases import load_cases
from stillflow.casebook.quiz import QUESTION, Quiz, QuizPage, quiz_of
from stillflow.cli.drawing import Target, day_of, drawn, sheet_options, write_chart
from stillflow.cli.lines import ask
from stillflow.cli.options import rules_option
from stillflow.cli.output import say
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.base import InputError, nearest
from stillflow.engine.charts import Chart

FORMATS = ("svg", "png", "pdf", "json")


@click.command("quiz")
@click.argument("case")
@click.option(
    "--out",
    type=click.Path(dir_okay=False),
    metavar="FILE",
    help="print it instead: a page for each step, which begins with the answer to the one before",
)
@sheet_options(FORMATS, "out", blank=False)
@rules_option
def quiz(case: str, target: Target | None, rules: tuple[str, ...]) -> None:
    """Ask at every step of a worked case what comes next and why, then say it.

    At the prompt, Enter shows the answer and goes on; stop leaves it.
    """
    knowledge = load_rules(rules)
    cases = {one.name: one for one in load_cases()}
    if case not in cases:
        raise InputError(f"there is no worked case '{case}'", right=nearest(case, cases))
    made = quiz_of(cases[case], knowledge)
    if target is not None:
        say(drawn(write_chart(_printed(made, knowledge.digest), target)))
        return
    try:
        _asked(Screen(), made)
    except EOFError:
        say("Input ended.")


def _asked(screen: Screen, made: Quiz) -> None:
    screen.head(made.house or "A call", f"{len(made.pages)} steps")
    screen.text(f'"{made.complaint}"', style="bold")
    screen.text(f"Unit: {made.unit}.")
    for page in made.pages:
        screen.gap()
        screen.head(f"Step {page.number}")
        if page.known:
            screen.item("found:", page.known[-1], 0)
        if ask(f"{QUESTION} (Enter shows it, stop leaves)").strip().lower() == "stop":
            return
        screen.item(">", page.doing, 0, "bold")
        screen.items(page.why)
    screen.gap()
    screen.head("The end")
    screen.text(made.ending, style="bold")
    screen.item("to learn:", made.teaches, 0)
    screen.text(f"The case: {made.name}")


def _printed(made: Quiz, rules: str) -> Chart:
    from stillflow.engine.charts import Handout, HandoutPage, HandoutPart, TitleBlock, handout_chart

    def answer(page: QuizPage) -> tuple[HandoutPart, ...]:
        return (
            HandoutPart(heading=f"Step {page.number}: {page.doing}", lines=page.why),
            HandoutPart(heading="What it showed", lines=(page.found,)),
        )

    def question(page: QuizPage, before: tuple[HandoutPart, ...]) -> HandoutPage:
        told = (f'"{made.complaint}"', f"Unit: {made.unit}")
        # What was found last stands in the answer below it.
        listed = HandoutPart(heading="Found before", lines=page.known[:-1], numbered=True)
        return HandoutPage(
            heading=f"Step {page.number}",
            parts=(
                *(() if before else (HandoutPart(heading="Name, date and marks", write=1),)),
                HandoutPart(heading="The call", lines=told),
                *((listed,) if listed.lines else ()),
                *before,
                HandoutPart(heading=QUESTION, write=8),
            ),
        )

    end = HandoutPage(
        heading="The end",
        parts=(
            *(answer(made.pages[-1]) if made.pages else ()),
            HandoutPart(heading="How it ended", lines=(made.ending,)),
            HandoutPart(heading="What there was to learn", lines=(made.teaches,)),
            HandoutPart(heading="The case", lines=(made.name,)),
        ),
    )
    answers = [(), *map(answer, made.pages)]
    pages = [question(page, before) for page, before in zip(made.pages, answers, strict=False)]
    title = TitleBlock(
        title=f"What next? {made.house}".strip(), date=day_of(None), rules_version=rules
    )
    return handout_chart(Handout(title=title, pages=(*pages, end)), "quiz")
