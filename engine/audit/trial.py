"""Facts tried on the rules: which rules fire, and which nearly do and for want of what.

The facts are given by whoever tries, as `name=value`; nothing else is known.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stillflow.engine.audit.cards import RuleCard
from stillflow.engine.audit.lookup import rule_card
from stillflow.engine.base import (
    FLAG,
    NUMBER,
    FactKind,
    InputError,
    Place,
    answer_fact,
    nearest,
    quantity,
    vocabulary,
)
from stillflow.engine.inference import (
    Spot,
    Visit,
    baseline_for,
    reading_facts,
    rule_table,
    spot_of,
)
from stillflow.engine.ruleset import (
    FactValue,
    Knowledge,
    Leaf,
    Rule,
    condition_words,
    fold,
)

MOST_MISSING = 2
"""Comparisons that a rule may lack and still be called near."""

Wanting = tuple[tuple[Leaf, bool], ...]
"""Comparisons that do not hold, each with whether its negation is what is wanted."""


@dataclass(frozen=True)
class Near:
    """A rule that does not fire, and what would have to hold besides; `met` of it holds already."""

    rule: str
    because: str
    missing: tuple[str, ...]
    met: int


@dataclass(frozen=True)
class Trial:
    """What some facts come to.

    Attributes:
        facts: those given, and what follows from readings among them.
        fired: the rules that fire, findings first.
        nearly: the rules that nearly do, the nearest first.
    """

    facts: Mapping[str, FactValue]
    fired: tuple[RuleCard, ...]
    nearly: tuple[Near, ...]


def tried(knowledge: Knowledge, given: Sequence[str]) -> Trial:
    """Try facts on the rules.

    Args:
        knowledge: the rule set.
        given: each `name=value`; the name is a fact, or a check: a choice with the id of an answer,
            a reading in inH2O, from which level and shares follow as on a visit to a plain unit.

    Raises:
        InputError: no such fact or check, or a value it cannot have; names the nearest.
    """
    facts = _facts(knowledge, given)
    table = rule_table(knowledge)
    fired = table.fire(table.rows([facts]))[0]
    known = dict(facts)
    names = [one for one, fires in zip(table.rule_ids, fired, strict=True) if fires]
    for name in names:
        known.update((found, True) for found in knowledge.rules[name].derives)
    near = (
        _near(knowledge, rule, known) for rule in knowledge.rules.values() if rule.id not in names
    )
    nearly = sorted(filter(None, near), key=lambda one: (len(one.missing), -one.met, one.rule))
    return Trial(
        facts=facts,
        fired=tuple(rule_card(knowledge, knowledge.rules[name]) for name in names),
        nearly=tuple(nearly),
    )


def _facts(knowledge: Knowledge, given: Sequence[str]) -> dict[str, FactValue]:
    facts: dict[str, FactValue] = {}
    read: dict[Spot, float] = {}
    for text in given:
        name, sign, value = (part.strip() for part in text.partition("="))
        place = Place(key=name)
        if not sign or not value:
            raise InputError(f"'{text}' is no fact with a value", right="write FACT=VALUE")
        check = knowledge.checks.get(name)
        if check is not None and check.kind == "reading":
            read[spot_of(check)] = quantity(value, "inH2O", name, 0.0, 300.0)
            continue
        if check is not None:
            name = answer_fact(name)
        kind = knowledge.facts.get(name)
        if kind is None:
            known = (*knowledge.facts, *knowledge.checks)
            raise InputError(f"there is no fact or check '{name}'", right=nearest(name, known))
        facts[name] = _value(kind, value, place)
    if read:
        facts.update(reading_facts(read, baseline_for(Visit(), knowledge), knowledge.levels))
    return facts


def _value(kind: FactKind, text: str, place: Place) -> FactValue:
    if kind.kind == FLAG:
        if text.lower() not in ("true", "yes"):
            raise InputError("such a fact is known only where it is true", place, "write true")
        return True
    if kind.kind == NUMBER:
        try:
            return float(text.replace(",", "."))
        except ValueError:
            raise InputError(f"'{text}' is not a number", place, "write a number") from None
    if not vocabulary.fits(kind, text):
        raise InputError(f"it is never '{text}'", place, nearest(text, kind.words))
    return text


def _near(knowledge: Knowledge, rule: Rule, known: Mapping[str, FactValue]) -> Near | None:
    missing, met = fold(rule.when, lambda leaf, no: _lacks(leaf, no, known), _every, _either)
    # A rule that these facts have no part in is not near, only silent.
    part = met or any(leaf.fact in known for leaf, _ in missing)
    if not part or not 0 < len(missing) <= MOST_MISSING:
        return None
    if not met and any(leaf.fact in known and not _by_number(leaf) for leaf, _ in missing):
        return None
    words = []
    for leaf, negated in missing:
        said = condition_words(leaf, knowledge)
        said = f"not: {said}" if negated else said
        if leaf.fact in known:
            said += f" (it is {_said(known[leaf.fact])})"
        words.append(said)
    return Near(rule.id, rule.because, tuple(words), met)


_Lack = tuple[Wanting, int]
"""What is missing, and how many comparisons hold."""


def _lacks(leaf: Leaf, negated: bool, known: Mapping[str, FactValue]) -> _Lack:
    if leaf.fact in known and leaf.holds(known[leaf.fact]) is not negated:
        return (), 1
    return ((leaf, negated),), 0


def _every(parts: list[_Lack]) -> _Lack:
    missing: Wanting = ()
    for one, _ in parts:
        missing += one
    return missing, sum(met for _, met in parts)


def _either(parts: list[_Lack]) -> _Lack:
    return min(parts, key=lambda one: (len(one[0]), -one[1]))


def _by_number(leaf: Leaf) -> bool:
    return any(name in Leaf.NUMERIC for name in leaf.comparisons())


def _said(value: FactValue) -> str:
    if isinstance(value, bool):
        return "so" if value else "not so"
    return value if isinstance(value, str) else f"{value:.3g}"
