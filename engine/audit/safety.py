"""Inspections of what is laid over the shipped rules: what it takes away of their safety."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from stillflow.engine.audit.dangers import said_before, steps
from stillflow.engine.audit.finding import Severity, Slips, inspection
from stillflow.engine.audit.subject import Subject
from stillflow.engine.base import counted
from stillflow.engine.ruleset import Knowledge, Rule, Warn, leaves

_GUARDING = ("stop", "ask-first", "put-back")
_UNSURE = "now.unsure"


@dataclass(frozen=True)
class Safeguard:
    """An entry that keeps people from harm: what it does, and what of it must stay as it is."""

    section: str
    id: str
    does: str
    kept: object


@inspection(Severity.HIGH)
def guard_lost(subject: Subject) -> Slips:
    """A shipped stop, danger question or turn of the course for safety that is gone or changed."""
    if subject.shipped is None:
        return
    now = {(one.section, one.id): one.kept for one in _guards(subject.knowledge)}
    for one in _guards(subject.shipped):
        kept = now.get((one.section, one.id))
        if kept != one.kept:
            done = "gone" if kept is None else "changed"
            what = f"'{one.id}' {one.does} in the shipped rules, and is {done} here"
            yield one.section, one.id, what, "leave it as it is, and add to it by an entry of yours"


@inspection(Severity.HIGH)
def caution_gone(subject: Subject) -> Slips:
    """A shipped caution that is retired, so that every step it was shown with lacks it."""
    shipped = subject.shipped
    if shipped is None:
        return
    for name in sorted(subject.cautions_gone):
        count = sum(name in said_before(shipped, one) for one in steps(shipped))
        what = f"{counted(count, 'step')} of the shipped rules lack the caution '{name}' now"
        yield "cautions", name, what, "leave it in, or change its words"


@inspection(Severity.MEDIUM)
def caution_changed(subject: Subject) -> Slips:
    """A shipped caution that reads otherwise, or that a step is no longer shown with."""
    shipped, knowledge = subject.shipped, subject.knowledge
    if shipped is None:
        return
    right = "see that no danger goes unsaid, or add a caution of yours beside it"
    for name in sorted(shipped.cautions.keys() & knowledge.cautions.keys()):
        was, now = shipped.cautions[name], knowledge.cautions[name]
        if (was.text, was.again) != (now.text, now.again):
            yield "cautions", name, f"the shipped caution '{name}' reads otherwise here", right
    for section, entry_id, lost in _taken_off(shipped, knowledge):
        for name in sorted(lost & knowledge.cautions.keys()):
            yield section, entry_id, f"it is no longer shown with '{name}'", right


def _guards(knowledge: Knowledge) -> Iterator[Safeguard]:
    first = {one.id for one in knowledge.checks.values() if one.first}
    for rule in knowledge.rules.values():
        if rule.stop is not None:
            yield Safeguard("rules", rule.id, "ends the visit for danger", (rule.when, rule.stop))
    for name in first:
        answers = frozenset(knowledge.checks[name].answer_ids)
        yield Safeguard("checks", name, "asks about danger", answers)
    for turn in knowledge.course.values():
        unsure = any(leaf.fact == _UNSURE for leaf in leaves(turn.when))
        if turn.next in _GUARDING or unsure:
            so = (turn.when, turn.next, turn.salience)
            yield Safeguard("course", turn.id, "keeps the visit safe", so)
    for phrase in knowledge.phrases.values():
        if phrase.check in first:
            heard = (phrase.says, phrase.answer)
            yield Safeguard("phrases", phrase.id, "hears of danger in the complaint", heard)


def _taken_off(shipped: Knowledge, knowledge: Knowledge) -> Iterator[tuple[str, str, set[str]]]:
    """Section and id of the steps and rules that are left, and the cautions taken off them."""
    here = {(one.section, one.id): said_before(knowledge, one) for one in steps(knowledge)}
    for one in steps(shipped):
        now = here.get((one.section, one.id))
        if now is not None:
            yield one.section, one.id, set(said_before(shipped, one) - now)
    for rule in shipped.rules.values():
        if rule.id in knowledge.rules:
            yield "rules", rule.id, _warned(rule) - _warned(knowledge.rules[rule.id])


def _warned(rule: Rule) -> set[str]:
    return {item.caution for item in rule.then if isinstance(item, Warn)}
