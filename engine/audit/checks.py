"""Inspections of the checks: those that cannot be asked, say nothing, or ask nothing."""

from __future__ import annotations

from collections.abc import Iterator

from stillflow.engine.audit.finding import Severity, Slips, inspection
from stillflow.engine.audit.subject import Subject
from stillflow.engine.ruleset import Knowledge, Leaf, leaves, observation, observation_of, say


@inspection(Severity.HIGH)
def never_asked(subject: Subject) -> Slips:
    """A follow-up question whose condition cannot come to be true."""
    for check in subject.knowledge.checks.values():
        if check.asked_when is not None and check.id not in subject.logic.askable:
            what = f"it is asked only when {say(check.asked_when)}, which can never be"
            right = "let asked_when name answers that can be given before it"
            yield "checks", check.id, what, right


@inspection(Severity.MEDIUM)
def says_nothing(subject: Subject) -> Slips:
    """A check that no rule uses and that verifies nothing."""
    knowledge = subject.knowledge
    used = {
        seen
        for rule_id in subject.logic.firing
        for leaf in leaves(knowledge.rules[rule_id].when)
        for seen in observation(leaf.fact)
    }
    for check in knowledge.checks.values():
        if observation_of(check) not in used and not check.verifies:
            what = "no rule uses its answer"
            right = "write what each answer speaks for, or drop the check"
            yield "checks", check.id, what, right


@inspection(Severity.MEDIUM)
def only_against(subject: Subject) -> Slips:
    """A check whose every answer speaks against the same fault, which cannot be."""
    knowledge = subject.knowledge
    rules: dict[tuple[str, str], dict[str, str]] = {}
    for check_id, answer, rule_id in _on_one_answer(knowledge):
        for fault, signs in subject.signs[rule_id].items():
            if signs == {-1}:
                rules.setdefault((check_id, fault), {})[answer] = rule_id
    for (check_id, fault), by_answer in rules.items():
        if len(by_answer) == len(knowledge.checks[check_id].answer_ids):
            latest = max(by_answer.values(), key=lambda one: subject.layer("rules", one))
            what = f"every answer of '{check_id}' speaks against '{fault}' now"
            yield "rules", latest, what, "turn round the rule for what shows it"


def _on_one_answer(knowledge: Knowledge) -> Iterator[tuple[str, str, str]]:
    """Check, answer and rule, of every rule that fires on an answer alone."""
    for rule in knowledge.rules.values():
        when = rule.when
        if isinstance(when, Leaf):
            check = knowledge.checks.get(when.fact.removeprefix("answer."))
            if check is not None:
                found = (answer for answer in check.answer_ids if when.holds(answer))
                yield from ((check.id, answer, rule.id) for answer in found)


@inspection(Severity.MEDIUM)
def not_a_question(subject: Subject) -> Slips:
    """A prompt that is not a question."""
    for check in subject.knowledge.checks.values():
        if not check.ask.rstrip().endswith("?"):
            what = f'it asks "{check.ask}", which is not a question'
            yield "checks", check.id, what, "end it with a question mark"
