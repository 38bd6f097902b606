"""A loaded rule set: its entries by id, and what follows from them for every visit alike."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from graphlib import TopologicalSorter

from stillflow.engine.base import FLAG, WORD, FactKind, Place, Strength, vocabulary
from stillflow.engine.ruleset.complaints import Circumstance, Combination, Complaint
from stillflow.engine.ruleset.conditions import Leaf, leaves
from stillflow.engine.ruleset.entries import (
    Access,
    Alike,
    CardStep,
    Caution,
    Check,
    Evidence,
    Fault,
    Level,
    Phrase,
    Range,
    Rule,
    Settles,
    Source,
    Stand,
    Tool,
    Turn,
    UnitClass,
    Unsure,
)
from stillflow.engine.ruleset.gathering import Replaced
from stillflow.engine.ruleset.selectors import selecting


@dataclass(frozen=True, eq=False)
class Knowledge:
    """A loaded rule set: entries by id, in id order (levels and classes in file order).

    `files` are those read, with the number of their folder; `replaced` says which of their entries
    took the place of an earlier folder's.
    """

    sources: Mapping[str, Source]
    ranges: Mapping[str, Range]
    cautions: Mapping[str, Caution]
    stands: Mapping[str, Stand]
    accesses: Mapping[str, Access]
    tools: Mapping[str, Tool]
    levels: tuple[Level, ...]
    classes: Mapping[str, UnitClass]
    faults: Mapping[str, Fault]
    alike: Mapping[str, Alike]
    checks: Mapping[str, Check]
    rules: Mapping[str, Rule]
    course: Mapping[str, Turn]
    card: Mapping[str, CardStep]
    phrases: Mapping[str, Phrase]
    unsure: Mapping[str, Unsure]
    complaints: Mapping[str, Complaint]
    circumstances: Mapping[str, Circumstance]
    combinations: Mapping[str, Combination]
    places: Mapping[tuple[str, str], Place]
    files: tuple[tuple[int, str], ...]
    replaced: tuple[Replaced, ...]
    digest: str

    @cached_property
    def facts(self) -> dict[str, FactKind]:
        """Every fact a condition may name."""
        return fact_kinds(self.levels, self.checks.values(), self.faults, self.rules.values())

    @cached_property
    def fault_index(self) -> dict[str, int]:
        """Column of each fault in every array over faults."""
        return {fault_id: index for index, fault_id in enumerate(self.faults)}

    @cached_property
    def evidence(self) -> dict[str, tuple[tuple[Evidence, frozenset[str]], ...]]:
        """Per rule, its evidence with the faults each piece names (exceptions taken out)."""
        named = selecting(self.faults.values())
        return {
            rule.id: tuple(
                (item, _chosen(item, named)) for item in rule.then if isinstance(item, Evidence)
            )
            for rule in self.rules.values()
        }

    @cached_property
    def shown(self) -> dict[tuple[str, str], set[str]]:
        """Per check and answer, the faults that a rule on this answer alone all but proves."""
        return self._told_alone(1)

    @cached_property
    def cleared(self) -> dict[tuple[str, str], set[str]]:
        """Per check and answer, the faults that rules on this answer alone all but rule out."""
        return self._told_alone(-1)

    def _told_alone(self, sign: int) -> dict[tuple[str, str], set[str]]:
        told: dict[tuple[str, str], set[str]] = {}
        for rule in self.rules.values():
            if not isinstance(rule.when, Leaf):
                continue
            check = self.checks.get(rule.when.fact.removeprefix("answer."))
            loud = [
                faults
                for item, faults in self.evidence[rule.id]
                if item.sign == sign and item.factor >= Strength.VERY_STRONG.factor
            ]
            for answer in check.answer_ids if check is not None and loud else ():
                if rule.when.holds(answer):
                    told.setdefault((rule.when.fact.removeprefix("answer."), answer), set()).update(
                        *loud
                    )
        return told

    @cached_property
    def ordered_rules(self) -> tuple[Rule, ...]:
        """Rules so that each finding is derived before it is used (ties by id)."""
        return tuple(self.rules[rule_id] for rule_id in dependency_order(self.rules))

    @cached_property
    def settling(self) -> tuple[tuple[Rule, Settles], ...]:
        """What settles a question, rule by rule in order of id."""
        found = ((rule, item) for rule in self.rules.values() for item in rule.then)
        return tuple((rule, item) for rule, item in found if isinstance(item, Settles))

    @cached_property
    def turns(self) -> tuple[Turn, ...]:
        """The course of a visit, the highest salience first (ties by id)."""
        return tuple(sorted(self.course.values(), key=lambda turn: (-turn.salience, turn.id)))

    @cached_property
    def reach(self) -> dict[str, frozenset[str]]:
        """Per fact, the ids of the rules that can newly fire when it becomes known.

        Rules that use a finding count for every fact the finding can come from.
        """
        reach: dict[str, set[str]] = {}
        # Backwards, so that a finding's users are complete before the rules that derive it.
        for rule in reversed(self.ordered_rules):
            touched = {rule.id}
            for finding in rule.derives:
                touched |= reach.get(finding, set())
            for leaf in leaves(rule.when):
                reach.setdefault(leaf.fact, set()).update(touched)
        return {fact: frozenset(rule_ids) for fact, rule_ids in reach.items()}

    @cached_property
    def grounds(self) -> dict[str, frozenset[str]]:
        """Per rule, every plain fact its firing may hang on, through findings too."""
        made: dict[str, set[str]] = {}
        grounds: dict[str, frozenset[str]] = {}
        for rule in self.ordered_rules:
            used = {leaf.fact for leaf in leaves(rule.when)}
            plain = {fact for fact in used if fact not in made}
            grounds[rule.id] = frozenset(plain.union(*(made.get(fact, set()) for fact in used)))
            for finding in rule.derives:
                made.setdefault(finding, set()).update(grounds[rule.id])
        return grounds

    def rules_using(self, facts: Iterable[str]) -> list[str]:
        """Ids of the rules that these facts can help to fire, findings first."""
        touched = set().union(*(self.reach.get(fact, frozenset()) for fact in facts))
        # What is counted once with others cannot be weighed without them.
        for rule_id in tuple(touched):
            touched.update(self._counted_once.get(self.rules[rule_id].once, ()))
        return sorted(touched, key=self._places_in_order.__getitem__)

    @cached_property
    def _places_in_order(self) -> dict[str, int]:
        return {rule.id: place for place, rule in enumerate(self.ordered_rules)}

    @cached_property
    def _counted_once(self) -> dict[str | None, list[str]]:
        """Ids of the rules that see one thing, by what they see."""
        things: dict[str | None, list[str]] = {}
        for rule in self.ordered_rules:
            if rule.once is not None:
                things.setdefault(rule.once, []).append(rule.id)
        return things


def _chosen(item: Evidence, named: Callable[[str], frozenset[str]]) -> frozenset[str]:
    chosen: frozenset[str] = frozenset().union(*map(named, item.selector))
    return chosen.difference(*map(named, item.except_))


def fact_kinds(
    levels: Iterable[Level], checks: Collection[Check], faults: Iterable[str], rules: Iterable[Rule]
) -> dict[str, FactKind]:
    """The whole vocabulary: base facts, answers, fixes tried and findings."""
    answers = {
        vocabulary.answer_fact(check.id): FactKind(WORD, check.words, check.ask)
        for check in checks
        if check.kind == "choice"
    }
    parts = {
        vocabulary.part_fact(check.part): FactKind(FLAG, (), f"{check.part}: whether there is one")
        for check in checks
        if check.part
    }
    tried = {vocabulary.tried_fact(fault): FactKind(FLAG) for fault in faults}
    findings = {finding: FactKind(FLAG) for rule in rules for finding in rule.derives}
    base = vocabulary.base_facts(level.id for level in levels)
    return vocabulary.merge(base, answers, parts, tried, findings)


def dependency_order(rules: Mapping[str, Rule]) -> list[str]:
    """Rule ids so that every finding is derived before it is used (ties by id).

    Raises:
        graphlib.CycleError: rules wait for each other; its second argument is the circle.
    """
    makers: dict[str, set[str]] = {}
    for rule in rules.values():
        for finding in rule.derives:
            makers.setdefault(finding, set()).add(rule.id)
    sorter: TopologicalSorter[str] = TopologicalSorter()
    for rule_id in sorted(rules):
        used = {leaf.fact for leaf in leaves(rules[rule_id].when)}
        sorter.add(rule_id, *sorted(maker for fact in used for maker in makers.get(fact, ())))
    return list(sorter.static_order())
