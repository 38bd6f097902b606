"""`stillflow why`: a visit explained, in words and drawn."""

from __future__ import annotations

from pathlib import Path

import click

from stillflow.cli.describe import show_sizes
from stillflow.cli.options import db_option, rules_option
from stillflow.cli.screen import Screen, percent
from stillflow.cli.visits import any_visit
from stillflow.engine import Session, load_rules
from stillflow.engine.conditions import FactValue
from stillflow.engine.errors import InputError, Place
from stillflow.engine.located import nearest
from stillflow.engine.trace import Round, contributions, rounds
from stillflow.engine.visit import NO_ANSWER


@click.command("why")
@click.argument("visit")
@click.option("--chart", type=click.Path(dir_okay=False), help="also draw it: .svg, .png or .dot")
@click.option("--fault", metavar="ID", help="only what bears on one fault")
@rules_option
@db_option
def command(
    visit: str, chart: str | None, fault: str | None, rules: tuple[str, ...], db: str | None
) -> None:
    """Explain a visit: a visit file, or the id of a visit that is kept."""
    knowledge = load_rules(rules)
    if fault is not None and fault not in knowledge.faults:
        right = nearest(fault, knowledge.faults)
        raise InputError(f"there is no fault '{fault}'", Place(key="--fault"), right)
    session = any_visit(visit, knowledge, db)
    screen = Screen()
    for one in rounds(session):
        show_round(screen, session, one, fault)
    if chart is not None:
        from stillflow.cli.drawing import draw_reasoning

        draw_reasoning(session, Path(chart), fault)
        screen.gap()
        screen.text(f"Drawn: {chart}")


def show_round(screen: Screen, session: Session, one: Round, only: str | None) -> None:
    """One round: what was asked, what fired, what is believed, what was done."""
    knowledge = session.knowledge
    screen.head("Before any fix" if one.number == 0 else f"After fix {one.number}")
    screen.text("Asked, in order:", style="bold")
    for asked in one.asked:
        said = _answer(session, asked.check_id, asked.answer)
        note = ""
        if asked.doubted_by:
            note = " (set aside: " + knowledge.rules[asked.doubted_by].because + ")"
        elif asked.answer not in NO_ANSWER and asked.moved < 0.01:
            note = " (told nothing apart)"
        screen.item(f"{asked.number}.", f"{knowledge.checks[asked.check_id].ask} {said}{note}")
    if not one.asked:
        screen.text("Nothing yet.", 2)
    shares = sorted(
        zip(one.probabilities, knowledge.faults.values(), strict=True),
        key=lambda pair: (-pair[0], pair[1].id),
    )
    shown = only or shares[0][1].id
    screen.text(f"What speaks on '{knowledge.faults[shown].title}':", style="bold")
    said_by = contributions(session, one, knowledge.faults[shown])
    by_rule = {firing.rule_id: firing for firing in one.firings}
    for said_item in said_by:
        rule = knowledge.rules[said_item.rule_id]
        mark = "+" if said_item.sign > 0 else "-"
        facts = ", ".join(
            f"{name} {_value(value)}" for name, value in by_rule[rule.id].facts.items()
        )
        source = knowledge.sources[rule.source].title
        screen.item(mark, f"{said_item.strength}: {rule.because}")
        screen.text(f"{rule.id}; {facts}; source: {source}", 4, style="dim")
    if not said_by:
        screen.text("No rule.", 2)
    show_sizes(screen, one.sizes)
    rows = [(fault.title, percent(float(share))) for share, fault in shares[:5]]
    screen.table(("then likely", ""), rows)
    if one.repair is not None:
        title = knowledge.faults[one.repair.fault_id].title
        screen.item("fix:", f"{title}, {percent(one.repair.probability)} likely when chosen", 0)


def _answer(session: Session, check_id: str, answer: float | str) -> str:
    if answer in NO_ANSWER:
        return f"- {answer}."
    check = session.knowledge.checks[check_id]
    if check.kind == "reading":
        return f"- {answer:.0f} inH2O."
    return f"- {next(one.label for one in check.answers if one.id == answer)}."


def _value(value: FactValue) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.2f}" if isinstance(value, float) else value
