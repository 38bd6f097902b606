"""Inspections of the checks: those that cannot be asked, say nothing, or ask nothing."""

from __future__ import annotations

from collections.abc import Iterator

from stillflow.engine.audit.finding import Finding, Inspection, Severity
from stillflow.engine.audit.subject import Subject
from stillflow.engine.ruleset import leaves, observation, observation_of, say


class NeverAsked(Inspection):
    """Follows `asked_when` from question to question."""

    name = "never-asked"
    finds = "A follow-up question whose condition cannot come to be true."
    severity = Severity.HIGH

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Checks that nobody will ever be asked."""
        for check in subject.knowledge.checks.values():
            if check.asked_when is not None and check.id not in subject.logic.askable:
                what = f"it is asked only when {say(check.asked_when)}, which can never be"
                right = "let asked_when name answers that can be given before it"
                yield self.found(subject, "checks", check.id, what, right)


class SaysNothing(Inspection):
    """Looks for rules on each check's answers."""

    name = "says-nothing"
    finds = "A check that no rule uses and that verifies nothing."
    severity = Severity.MEDIUM

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Checks whose answers change nothing."""
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
                yield self.found(subject, "checks", check.id, what, right)


class NotAQuestion(Inspection):
    """Looks at the end of each prompt."""

    name = "not-a-question"
    finds = "A prompt that is not a question."
    severity = Severity.MEDIUM

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Prompts that leave open what is to be answered."""
        for check in subject.knowledge.checks.values():
            if not check.ask.rstrip().endswith("?"):
                what = f'it asks "{check.ask}", which is not a question'
                yield self.found(subject, "checks", check.id, what, "end it with a question mark")
