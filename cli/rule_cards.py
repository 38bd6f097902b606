"""A rule, a fault or a check on the screen."""

from __future__ import annotations

from collections.abc import Sequence

from stillflow.cli.screen import Screen
from stillflow.engine.audit import (
    Card,
    CheckCard,
    EvidenceCard,
    FaultCard,
    RuleCard,
    SourceCard,
    Voice,
)
from stillflow.engine.base import Strength, in_figures, minutes

FEW = 6
"""Faults that are named one by one; of more, the rule's own phrases are shown."""


def show_card(screen: Screen, card: Card, every: bool = True) -> None:
    """Everything about one entry; of what speaks for and against a fault the loudest, or all."""
    screen.gap()
    screen.head(card.id, card.kind)
    if isinstance(card, RuleCard):
        _show_rule(screen, card)
    elif isinstance(card, FaultCard):
        _show_fault(screen, card, every)
    elif isinstance(card, CheckCard):
        _show_check(screen, card)
    else:
        for key, words in card.says:
            screen.item(f"{key}:", words, 0)
    if card.judged:
        said = (f"{one.key} {in_figures(one.low)} to {in_figures(one.high)}" for one in card.judged)
        screen.item("judged, from least to most:", "; ".join(said), 0)
    if card.kind != "source":
        _show_source(screen, card.source)
    screen.item("stands in:", f"{card.file}:{card.line}", 0)
    for words in card.takes_place_of:
        screen.item("", words, 0)


def _show_rule(screen: Screen, card: RuleCard) -> None:
    screen.text(f"When {card.when}:", style="bold")
    for item in card.evidence:
        screen.item("+" if item.direction == "for" else "-", evidence_words(item))
        if item.source is not None:
            screen.item("source:", item.source.words, 4)
    for name in card.finds:
        used = f" (used by {', '.join(card.used_by)})" if card.used_by else ""
        screen.item("=", f"it is found: {name}{used}")
    screen.items(card.advice, "say:")
    if card.doubts:
        asked = "; ".join(f"{one.title} ({one.id})" for one in card.doubts)
        screen.item("again:", f"these readings cannot all be right, take them again: {asked}")
    screen.cautions(card.cautions)
    for stop in card.stops:
        screen.item("STOP", stop.what, 0, "bold red")
        screen.item("call:", stop.call, 0)
        screen.item("do not:", stop.do_not, 0)
    screen.item("because:", card.because, 0)
    _maybe(screen, "misleads:", card.misleads)
    _maybe(screen, "not as physics:", card.weighed)
    _maybe(screen, "counts once with:", ", ".join(card.once_with))
    if card.status == "trial":
        screen.item("status:", "on trial", 0)
    if card.checks:
        screen.item("asks for:", ", ".join(one.id for one in card.checks), 0)


def evidence_words(item: EvidenceCard) -> str:
    """What a rule says of some faults, with its strength."""
    count = len(item.faults)
    head = f"{item.direction}, {_strength(item)}"
    if item.strength != Strength.COMPUTED:
        head += f" (x {item.times:g})"
    if count <= FEW:
        return f"{head}: {'; '.join(one.title for one in item.faults)}"
    but = f"; except {'; '.join(item.except_for)}" if item.except_for else ""
    return f"{head}, {count} faults: {'; '.join(item.named)}{but}"


def _strength(said: EvidenceCard | Voice) -> str:
    if said.strength != Strength.COMPUTED:
        return said.strength.replace("-", " ")
    least = said.least if isinstance(said, EvidenceCard) else said.times
    span = f"{least:g}" if least == said.times else f"{least:g} to {said.times:g}"
    return f"{span} times; by the airflow model"


def _show_fault(screen: Screen, card: FaultCard, every: bool) -> None:
    screen.text(card.title, style="bold")
    screen.text(f"{card.mode} in {card.place}; {card.how_common.replace('-', ' ')}.")
    screen.item("does:", card.effect, 0)
    screen.item("sure when:", card.confirm, 0)
    _maybe(screen, "only where:", card.possible_when)
    if card.confirm_first:
        screen.item("first:", ", ".join(one.id for one in card.confirm_first), 0)
    _show_voices(screen, "What speaks for it:", "+", card.raised_by, every)
    _show_voices(screen, "What speaks against it:", "-", card.lowered_by, every)
    fix = card.fix
    screen.text(f"Fix, about {minutes(fix.minutes)}:", style="bold")
    screen.cautions(fix.cautions)
    _maybe(screen, "cautions by id:", ", ".join(fix.caution_ids))
    if fix.opens:
        screen.text(f"First: {fix.opens}.", 2)
    screen.numbered(fix.steps)
    _maybe(screen, "parts:", ", ".join(fix.parts))
    _maybe(screen, "belongs to:", fix.refer)
    if fix.if_wrong_minutes:
        screen.item("if it was not this:", f"{minutes(fix.if_wrong_minutes)} lost", 0)
    screen.item("after:", card.after, 0)
    if card.alike:
        others = ", ".join(one.title for one in card.alike)
        screen.item("looks the same as:", f"{others}. {card.alike_because}", 0)


def _show_voices(
    screen: Screen, title: str, mark: str, voices: Sequence[Voice], every: bool
) -> None:
    screen.text(title, style="bold")
    shown = voices if every else voices[:FEW]
    for voice in shown:
        screen.item(mark, f"{_strength(voice)}: {voice.because}")
        screen.text(f"{voice.rule}, when {voice.when}", 4, style="dim")
    if len(shown) < len(voices):
        screen.text(f"{len(voices) - len(shown)} weaker ones with --all.", 2)
    if not voices:
        screen.text("Nothing.", 2)


def _show_check(screen: Screen, card: CheckCard) -> None:
    screen.text(card.ask, style="bold")
    screen.text(f"About {minutes(card.minutes)}{f'; {card.gauge}' if card.gauge else ''}.")
    screen.cautions(card.cautions)
    _maybe(screen, "cautions by id:", ", ".join(card.caution_ids))
    if card.opens:
        screen.text(f"First: {card.opens}.")
    screen.numbered(card.how)
    _maybe(screen, "needs:", ", ".join(tool.replace("-", " ") for tool in card.tools))
    _maybe(screen, "only where:", card.possible_when)
    _maybe(screen, "asked only when:", card.asked_when)
    notes = {
        "asked before anything else": card.first,
        "asked again after a fix": card.again_after_fix,
        "shows whether a fix has worked": card.verifies,
    }
    _maybe(screen, "note:", "; ".join(words for words, holds in notes.items() if holds))
    seen = "over all faults" if card.gauge else "when the fault is elsewhere"
    screen.text(f"Answers, how often each is seen {seen}, rules:", style="bold")
    for answer in card.answers:
        good = ", good" if answer.good else ""
        screen.item("-", f"{answer.label} ({answer.usual * 100:g} %{good})")
        if answer.looks:
            screen.text(answer.looks, 4)
        screen.text(", ".join(answer.rules) or "no rule", 4, style="dim")
    if card.rules:
        screen.item("with other answers:", ", ".join(card.rules), 0)


def _show_source(screen: Screen, source: SourceCard) -> None:
    memory = "From memory, not read again. " if source.remembered else ""
    screen.item("source:", f"{source.words}. {memory}{source.note}".strip(), 0)
    for words in source.rests_on:
        screen.item("rests on:", words, 2)


def _maybe(screen: Screen, mark: str, words: str | None) -> None:
    if words:
        screen.item(mark, words, 0)
