"""The rules of a live visit, run forward by experta, with the trace of what fired and why.

Conditions are three-valued and monotone (see `conditions`), so facts are declared as they are
learnt; when a fact goes away or changes (a new round of readings) the engine starts afresh.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Protocol

from stillflow.engine.inference._experta import AND, OR, Fact, KnowledgeEngine, P, Rule
from stillflow.engine.ruleset import (
    Condition,
    FactValue,
    Knowledge,
    Leaf,
    Turn,
    fold,
    leaves,
    truth,
)
from stillflow.engine.ruleset import Rule as TradeRule


@dataclass(frozen=True)
class Firing:
    """One rule that fired.

    Attributes:
        rule_id: which.
        facts: the facts that made its condition true, with their values.
        found: the findings it derives.
    """

    rule_id: str
    facts: Mapping[str, FactValue]
    found: tuple[str, ...]


@dataclass(frozen=True)
class Conclusions:
    """What the rules make of a set of facts.

    Attributes:
        firings: the rules that fired, in order (findings before what uses them).
        facts: the plain facts and the findings derived from them.
    """

    firings: tuple[Firing, ...]
    facts: Mapping[str, FactValue]


@lru_cache(maxsize=4)
def inference_for(knowledge: Knowledge) -> Inference:
    """The engine of a rule set, shared by the sessions over it.

    Building its network takes far longer than running it, and what a run concludes depends on
    nothing but the facts given.
    """
    return Inference(knowledge)


@lru_cache(maxsize=4)
def course_for(knowledge: Knowledge) -> Inference:
    """The engine of a rule set's course: the first to fire is what comes next."""
    return Inference(_Course(knowledge.turns))


class Fireable(Protocol):
    """Rules that an engine can run: those on the trade, or those on the course of a visit."""

    @property
    def ordered_rules(self) -> Sequence[TradeRule | Turn]:
        """All of them, in the order in which they fire."""

    def rules_using(self, facts: Iterable[str]) -> list[str]:
        """Ids of those that these facts can help to fire."""


@dataclass(frozen=True)
class _Course:
    ordered_rules: tuple[Turn, ...]

    def rules_using(self, facts: Iterable[str]) -> list[str]:
        known = set(facts)
        return [
            turn.id
            for turn in self.ordered_rules
            if not known.isdisjoint(leaf.fact for leaf in leaves(turn.when))
        ]


class Inference:
    """One experta engine over one rule set."""

    def __init__(self, rules: Fireable) -> None:
        self._rules = rules
        self._built: frozenset[str] = frozenset()
        self._kinds: dict[str, type[Any]] = {}
        self._engine: Any = None
        self._known: dict[str, FactValue] = {}
        self._facts: dict[str, FactValue] = {}
        self._fired: set[str] = set()

    def run(self, facts: Mapping[str, FactValue]) -> Conclusions:
        """Every rule that fires on these facts.

        Args:
            facts: plain facts by name, findings not among them.
        """
        fresh = self._grow(facts)
        if fresh or any(facts.get(name) != value for name, value in self._known.items()):
            self._engine.reset()
            self._known, self._facts, self._fired = {}, {}, set()
        self._declare({name: facts[name] for name in sorted(facts.keys() - self._known.keys())})
        self._known = dict(facts)
        self._engine.run()
        # Told of all that is known now, in the order of the rules: what fired in an earlier run
        # would else stand first, and on the facts of that run.
        firings = (
            Firing(rule.id, supporting(rule.when, self._facts), _found(rule))
            for rule in self._rules.ordered_rules
            if rule.id in self._fired
        )
        return Conclusions(tuple(firings), dict(self._facts))

    def _grow(self, facts: Mapping[str, FactValue]) -> bool:
        """See that the engine holds every rule these facts can fire; True if it was built anew.

        A first engine holds only those, since building the network of all rules takes longer than
        everything else that one `next` does. If a second is needed, it holds them all.
        """
        needed = self._rules.rules_using(facts)
        if self._engine is not None and self._built.issuperset(needed):
            return False
        ordered = self._rules.ordered_rules
        chosen = frozenset((rule.id for rule in ordered) if self._built else needed)
        members: dict[str, Any] = {}
        for index, rule in enumerate(ordered):
            if rule.id in chosen:
                decorate = Rule(self._pattern(rule.when))
                members[f"rule_{index:04d}"] = decorate(self._action(rule))
        # A class of its own per engine: experta's rules remember the instance they last ran on.
        self._engine = type("VisitEngine", (KnowledgeEngine,), members)()
        self._built = chosen
        return True

    def _declare(self, facts: Mapping[str, FactValue]) -> None:
        """Tell the engine, all at once: after each time it looks through all of its rules."""
        self._facts.update(facts)
        kinds = self._kinds
        told = [kinds[name](value=value) for name, value in facts.items() if name in kinds]
        if told:
            self._engine.declare(*told)

    def _action(self, rule: TradeRule | Turn) -> Any:
        def fire(engine: Any) -> None:
            self._fired.add(rule.id)
            self._declare({name: True for name in _found(rule) if name not in self._facts})

        return fire

    def _pattern(self, condition: Condition) -> Any:
        return fold(condition, self._one, lambda parts: AND(*parts), lambda parts: OR(*parts))

    def _one(self, leaf: Leaf, negated: bool) -> Any:
        # A class per fact name lets experta's network prune on the type alone.
        name = leaf.fact
        if name not in self._kinds:
            self._kinds[name] = type(name.replace(".", "_").replace("-", "_"), (Fact,), {})

        def passes(value: FactValue) -> bool:
            return leaf.holds(value) is not negated

        return self._kinds[name](value=P(passes))


def _found(rule: TradeRule | Turn) -> tuple[str, ...]:
    return rule.derives if isinstance(rule, TradeRule) else ()


def supporting(condition: Condition, facts: Mapping[str, FactValue]) -> dict[str, FactValue]:
    """The known facts a true condition rests on."""
    kept: dict[str, FactValue] = {}
    for leaf in leaves(condition):
        if leaf.fact in facts and truth(leaf, facts) is not None:
            kept[leaf.fact] = facts[leaf.fact]
    return kept
