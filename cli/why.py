"""`stillflow why`: a visit explained, in words and drawn."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from stillflow.cli.describe import show_said
from stillflow.cli.drawing import (
    ENDINGS,
    STDOUT,
    Target,
    draw_reasoning,
    drawn,
    format_of,
    sheet_options,
)
from stillflow.cli.options import db_option, rules_option
from stillflow.cli.screen import Screen
from stillflow.cli.visits import any_visit
from stillflow.engine import Session, load_rules
from stillflow.engine.base import Place, capital_first, named, percent
from stillflow.engine.charts import FORMATS, RULED_OUT
from stillflow.engine.dialogue import (
    Asked,
    Contribution,
    NextStep,
    Round,
    contributions,
    loudness,
    rounds,
    ruled_out,
    stops,
    telling_round,
    titled,
    why_not,
)
from stillflow.engine.inference import NO_ANSWER, inlet_words
from stillflow.engine.ruleset import Fault, fact_words


@click.command("why")
@click.argument("visit")
@click.option(
    "--chart",
    type=click.Path(dir_okay=False, allow_dash=True),
    metavar="FILE",
    help=f"also draw it: a file ending in {', '.join(ENDINGS)}; - for standard output",
)
@sheet_options(FORMATS, "chart")
@click.option("--focus", metavar="FAULT", help="only what bears on one fault")
@click.option("--not", "other", metavar="FAULT", help="why it is not this fault")
@rules_option
@db_option
def command(
    visit: str,
    target: Target | None,
    focus: str | None,
    other: str | None,
    rules: tuple[str, ...],
    db: str | None,
) -> None:
    """Explain a visit: its file, the id of one that is kept, or the name of a worked case."""
    knowledge = load_rules(rules)
    for name, fault in (("--focus", focus), ("--not", other)):
        if fault is not None:
            named(knowledge.faults, fault, "fault", Place(key=name))
    if target is not None and target.out != STDOUT and not target.format:
        format_of(Path(target.out))
    session = any_visit(visit, knowledge, db)
    paths: list[Path] = []
    if target is not None:
        # Before the words, so that a file that cannot be written is not found out after them.
        paths = draw_reasoning(session, target, focus, other)
    if target is not None and target.out == STDOUT:
        return
    screen = Screen()
    if other is not None:
        show_why_not(screen, session, telling_round(session), other)
    else:
        for one in rounds(session):
            show_round(screen, session, one, focus)
        show_now(screen, session.next_step())
    if paths:
        screen.gap()
        screen.text(drawn(paths))


WHY_NOT = "ask of one with --not FAULT"


def show_round(
    screen: Screen, session: Session, one: Round, only: str | None, further: str = WHY_NOT
) -> None:
    """One round: what was asked, what fired, what is believed, what was done.

    Args:
        screen: where to write.
        session: the visit.
        one: a round of it.
        only: the one fault it is about; None for all.
        further: how to ask of one that is not listed.
    """
    knowledge = session.knowledge
    ended = stops(session, one)
    deciding = {name for firing in one.firings if firing.rule_id in ended for name in firing.facts}
    screen.head("Before any fix" if one.number == 0 else f"After fix {one.number}")
    screen.text("Asked, in order:", style="bold")
    for asked in one.asked:
        said = _answer(session, asked)
        note = ""
        if f"answer.{asked.check_id}" in deciding:
            note = " (stops the visit)"
        elif asked.doubted_by:
            note = " (set aside: " + knowledge.rules[asked.doubted_by].because + ")"
        elif asked.answer not in NO_ANSWER and asked.moved < 0.01:
            note = " (told nothing apart)"
        note += "" if asked.number else " (taken from the complaint)"
        screen.item(_mark(asked.number), f"{knowledge.checks[asked.check_id].ask} {said}{note}")
    if not one.asked:
        screen.text("Nothing yet.", 2)
    # What is likely, once nothing more hangs on it, would only be mistaken for a finding.
    mended = [led.repair.fault_id for led in rounds(session)[: one.number] if led.repair]
    if only in mended:
        screen.text(f"'{knowledge.faults[only].title}' was mended by fix {mended.index(only) + 1}.")
    elif only is not None or not one.over:
        show_speaking(screen, session, one, only)
    if one.situation.readings:
        unproved = one.repair is None and bool(session.next_step().verifying)
        show_said(screen, session.said(one), mended=one.over or unproved)
    if not one.over:
        show_likely(screen, session, one)
        if only is None:
            show_ruled_out(screen, session, one, further)
    for name, item in ended.items():
        because = knowledge.rules[name].because
        screen.item("stop:", f"{item.stop} {because} Call: {item.call}", 0)
    if one.repair is not None:
        title = titled(knowledge.faults[one.repair.fault_id], one.repair.inlet)
        screen.item("fix:", f"{title}, {percent(one.repair.probability)} likely when chosen", 0)


def show_now(screen: Screen, step: NextStep) -> None:
    """What comes next, and why it and nothing else."""
    what = "The visit is over."
    if step.check is not None:
        what = step.check.ask
    elif step.fix is not None:
        what = f"Fix: {step.fix.title}."
    screen.item("now:", f"{what} {step.why_now}", 0)


def show_speaking(screen: Screen, session: Session, one: Round, only: str | None) -> None:
    """What speaks on one fault, or on the likeliest."""
    fault = session.knowledge.faults[only or _ranked(session, one)[0][1].id]
    screen.text(f"What speaks on '{fault.title}':", style="bold")
    said_by = sorted(contributions(session, one, fault), key=loudness)
    show_contributions(screen, session, one, said_by)
    if not said_by:
        screen.text("No rule.", 2)


def show_likely(screen: Screen, session: Session, one: Round, most: int = 5) -> None:
    """The likeliest faults at the end of a round."""
    step = session.next_step()
    # Until a fix is proved, belief is over what else there might be.
    unproved = one.repair is None and step.verifying
    rows = [(fault.title, percent(share)) for share, fault in _ranked(session, one)[:most]]
    screen.table(("if that was not all, likely" if unproved else "then likely", ""), rows)


def _ranked(session: Session, one: Round) -> list[tuple[float, Fault]]:
    shares = zip(map(float, one.probabilities), session.knowledge.faults.values(), strict=True)
    return sorted(shares, key=lambda pair: (-pair[0], pair[1].id))


def show_contributions(
    screen: Screen, session: Session, one: Round, said: Sequence[Contribution]
) -> None:
    """What rules say, how strongly, on what facts and from what source."""
    knowledge = session.knowledge
    by_rule = {firing.rule_id: firing for firing in one.firings}
    for item in said:
        rule = knowledge.rules[item.rule_id]
        facts = by_rule[rule.id].facts.items()
        because = "; ".join(fact_words(name, value, knowledge) for name, value in facts)
        screen.item("+" if item.sign > 0 else "-", f"{item.strength}: {rule.because}")
        source = knowledge.sources[rule.source].title
        screen.text(f"{rule.id}: {because} (source: {source})", 4, style="dim")


def show_ruled_out(
    screen: Screen, session: Session, one: Round, further: str, most: int = 5
) -> None:
    """What was likely before and is not now, with the rule that speaks loudest against it."""
    knowledge = session.knowledge
    out = ruled_out(session, one)
    share = {name: float(one.probabilities[knowledge.fault_index[name]]) for name in out}
    for words, names in (
        ("Much less likely than before:", [name for name in out if share[name] >= RULED_OUT]),
        ("Ruled out:", [name for name in out if share[name] < RULED_OUT]),
    ):
        if names:
            screen.text(words, style="bold")
        for name in names[:most]:
            because = knowledge.rules[out[name].rule_id].because
            title = f"{knowledge.faults[name].title}, {percent(share[name])}"
            screen.item("-", f"{title}: {because}")
        if len(names) > most:
            screen.text(f"and {len(names) - most} more; {further}.", 2)


def show_why_not(screen: Screen, session: Session, one: Round, fault_id: str) -> None:
    """Why it is not a certain fault: what it lost, what spoke, and what explains more."""
    knowledge = session.knowledge
    answer = why_not(session, one, fault_id)
    title = answer.fault.title
    screen.head(f"Why not: {title}?")
    if answer.leads:
        screen.text(f"It is the likeliest fault, {percent(answer.probability)}.", style="bold")
    else:
        screen.text(
            f"It was {percent(answer.first)} likely at first and is {percent(answer.probability)} "
            f"now; '{answer.leader.title}' leads with {percent(answer.leading)}.",
            style="bold",
        )
    if answer.never:
        screen.text(f"{capital_first(answer.never)}.")
    if answer.falls:
        screen.text("What cost it most:", style="bold")
    for fall in answer.falls:
        asked = fall.asked
        said = _answer(session, asked)
        before, after = percent(fall.before), percent(fall.after)
        lost = f"from {before} to {after}"
        if before == after:
            lost = f"to {percent(fall.after / fall.before)} of what it was"
        what = f"{knowledge.checks[asked.check_id].ask} {said} ({lost})"
        screen.item(_mark(asked.number), what)
    for words, said_by in (
        ("What speaks against it:", answer.against),
        ("What speaks for it:", answer.speaks_for),
    ):
        screen.text(words, style="bold")
        show_contributions(screen, session, one, said_by)
        if not said_by:
            screen.text("No rule that fired.", 2)
    if not answer.leads:
        screen.text(f"What speaks for '{answer.leader.title}':", style="bold")
        rest = contributions(session, one, answer.leader)
        speaks = sorted((item for item in rest if item.sign > 0), key=loudness)
        show_contributions(screen, session, one, speaks)


def _mark(number: int) -> str:
    """The place of an answer among the others; none for what was not asked."""
    return f"{number}." if number else "-"


def _answer(session: Session, asked: Asked) -> str:
    answer = asked.answer
    if answer in NO_ANSWER:
        return f"- {answer}."
    check = session.knowledge.checks[asked.check_id]
    at = f" (at {inlet_words(asked.inlet)})" if asked.inlet else ""
    if check.kind == "reading":
        return f"- {answer:.0f} inH2O{at}."
    return f"- {check.labels(str(answer))}{at}."
