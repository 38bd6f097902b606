"""Checks that what the entries of a rule set name exists: ids, facts, values, faults meant.

Runs once, when loading, over entries that are each well formed.
"""

from __future__ import annotations

from collections.abc import Iterable

from stillflow.engine.base import NUMBER, FactKind, Strength, nearest, vocabulary
from stillflow.engine.ruleset.conditions import Condition, Leaf, Not, parts
from stillflow.engine.ruleset.entries import (
    NONE_HERE,
    Check,
    Doubt,
    Entry,
    Evidence,
    Fault,
    Rule,
    Settles,
    Warn,
)
from stillflow.engine.ruleset.gathering import Gathered
from stillflow.engine.ruleset.selectors import selecting

_LISTED = {
    "cautions": "cautions",
    "access": "accesses",
    "also": "accesses",
    "at": "stands",
    "confirm_first": "checks",
    "faults": "faults",
    "circumstances": "circumstances",
    "rests_on": "sources",
}
"""Keys that name entries of a section, in whatever section they stand."""


class References:
    """One pass over a loader's entries; findings go to the loader."""

    def __init__(self, loader: Gathered, facts: dict[str, FactKind]) -> None:
        self.loader = loader
        self.facts = facts
        faults: Iterable[Fault] = loader.entries["faults"].values()
        self.named = selecting(faults)

    def check(self) -> None:
        """Report every reference that leads nowhere."""
        for section, group in self.loader.entries.items():
            for entry in group.values():
                if section != "sources":
                    self._known("sources", entry.source, section, entry.id, "source")
                for key in _LISTED:
                    # A model takes long to say that it lacks an attribute.
                    if key in type(entry).model_fields:
                        self._listed(section, entry, key)
        for fault in self.loader.entries["faults"].values():
            self._fault(fault)
        for check in self.loader.entries["checks"].values():
            self._check(check)
        for rule in self.loader.entries["rules"].values():
            self._rule(rule)
        self.facts = {**self.facts, **vocabulary.course_facts()}
        for turn in self.loader.entries["course"].values():
            self._condition(turn.when, "course", turn.id, "when")
        for section in ("complaints", "phrases"):
            for entry in self.loader.entries[section].values():
                self._known("checks", entry.check, section, entry.id, "check")
                self._answer(entry.check, entry.answer, section, entry.id, "answer")

    def _known(self, wanted: str, name: str, section: str, entry: str, *inside: str | int) -> None:
        group = self.loader.entries[wanted]
        if name not in group:
            kind = {"accesses": "access"}.get(wanted, wanted.removesuffix("s"))
            self.loader.fail(
                f"there is no {kind} '{name}'",
                self.loader.place(section, entry, *inside),
                nearest(name, group) or f"'stillflow rules list {wanted}' lists them",
            )

    def _listed(self, section: str, entry: Entry, key: str) -> None:
        value = getattr(entry, key) or ()
        for name in (value,) if isinstance(value, str) else value:
            self._known(_LISTED[key], name, section, entry.id, key)

    def _fault(self, fault: Fault) -> None:
        for name in fault.fix.cautions:
            self._known("cautions", name, "faults", fault.id, "fix", "cautions")
        if fault.fix.access:
            self._known("accesses", fault.fix.access, "faults", fault.id, "fix", "access")
        if fault.fix.at:
            self._known("stands", fault.fix.at, "faults", fault.id, "fix", "at")
        self._condition(fault.possible_when, "faults", fault.id, "possible_when")

    def _check(self, check: Check) -> None:
        for name in check.tools if self.loader.entries["tools"] else ():
            self._known("tools", name, "checks", check.id, "tools")
        self._condition(check.possible_when, "checks", check.id, "possible_when")
        self._condition(check.asked_when, "checks", check.id, "asked_when")

    def _answer(
        self, check_id: str, answer: str, section: str, entry: str, *inside: str | int
    ) -> None:
        """See that an answer is one of the check's, or says that its part is not there."""
        check = self.loader.entries["checks"].get(check_id)
        if check is None or answer in check.answer_ids:
            return
        if answer != NONE_HERE or not check.part:
            self.loader.fail(
                f"'{answer}' is not an answer to '{check_id}'",
                self.loader.place(section, entry, *inside),
                nearest(answer, check.answer_ids),
            )

    def _rule(self, rule: Rule) -> None:
        self._condition(rule.when, "rules", rule.id, "when")
        for index, item in enumerate(rule.then):
            inside = ("then", index)
            if isinstance(item, Evidence):
                self._strength(rule, item, index)
                for phrase in (*item.selector, *item.except_):
                    try:
                        self.named(phrase)
                    except ValueError as problem:
                        what, _, right = str(problem).partition("; ")
                        self.loader.fail(what, self.loader.place("rules", rule.id, *inside), right)
                if item.source:
                    self._known("sources", item.source, "rules", rule.id, *inside)
            elif isinstance(item, Warn):
                self._known("cautions", item.caution, "rules", rule.id, *inside)
            elif isinstance(item, Doubt):
                for name in item.doubt:
                    self._known("checks", name, "rules", rule.id, *inside)
            elif isinstance(item, Settles):
                self._known("checks", item.settles, "rules", rule.id, *inside)
                self._answer(item.settles, item.as_, "rules", rule.id, *inside)

    def _strength(self, rule: Rule, item: Evidence, index: int) -> None:
        """How much readings weigh is the airflow model's say; all else needs a strength."""
        declared = item.strength is not Strength.COMPUTED
        if declared and rule.gauged and not rule.weighed:
            what = "evidence on readings alone is computed; a strength here needs 'weighed:'"
            right = "say there why the airflow model does not know better, or drop the strength"
        elif not declared and not rule.gauged:
            what = "this evidence needs 'strength:'"
            right = "only evidence on readings alone is computed"
        else:
            return
        self.loader.fail(what, self.loader.place("rules", rule.id, "then", index), right)

    def _condition(
        self, condition: Condition | None, section: str, entry: str, *inside: str | int
    ) -> None:
        if condition is None:
            return
        if isinstance(condition, Leaf):
            self._leaf(condition, section, entry, inside)
        for index, part in enumerate(parts(condition)):
            key = {"All": "all", "AnyOf": "any", "Not": "not"}[type(condition).__name__]
            step = (key,) if isinstance(condition, Not) else (key, index)
            self._condition(part, section, entry, *inside, *step)

    def _leaf(self, leaf: Leaf, section: str, entry: str, inside: tuple[str | int, ...]) -> None:
        place = self.loader.place(section, entry, *inside)
        kind = self.facts.get(leaf.fact)
        if kind is None:
            right = nearest(leaf.fact, self.facts)
            self.loader.fail(f"there is no fact '{leaf.fact}'", place, right)
            return
        for name, value in leaf.comparisons().items():
            if name in Leaf.NUMERIC and kind.kind != NUMBER:
                self.loader.fail(
                    f"'{leaf.fact}' is a {kind.kind}, not a number", place, "use is or one_of"
                )
            elif name in Leaf.LISTED:
                for one in value if isinstance(value, tuple) else (value,):
                    if not vocabulary.fits(kind, one):
                        flag = "write true or false" if kind.kind == vocabulary.FLAG else ""
                        right = flag or nearest(str(one), kind.words)
                        self.loader.fail(f"'{leaf.fact}' is never {one!r}", place, right)
