"""The rules over whole tables of facts: the numpy back end of the conditions.

Each fact is a column of floats (a word is its index in the fact's word list, a flag is 0 or 1,
unknown is NaN), each row one hypothetical or recorded situation. `inference` runs the same
conditions through experta; a test holds the two to the same conclusions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache

import numpy as np

from stillflow.engine.base import Flags, Floats, Integers
from stillflow.engine.ruleset import BOTH, Comparand, FactValue, Knowledge, Leaf, fold

_Test = Callable[[Floats], Flags]


class RuleTable:
    """A rule set compiled for tables.

    Attributes:
        columns: fact name -> column number.
        rule_ids: rule ids in the order of the columns of `fire`'s result.
        stops: which of them stop a visit, (rules,).
    """

    def __init__(self, knowledge: Knowledge) -> None:
        self._kinds = knowledge.facts
        self._words = {
            name: {word: code for code, word in enumerate(kind.words)}
            for name, kind in knowledge.facts.items()
        }
        self.columns = {name: index for index, name in enumerate(knowledge.facts)}
        self.rule_ids = tuple(rule.id for rule in knowledge.ordered_rules)
        self._tests = [
            fold(rule.when, self._compile_leaf, _all_hold, _any_holds)
            for rule in knowledge.ordered_rules
        ]
        self._findings = [
            [self.columns[finding] for finding in rule.derives] for rule in knowledge.ordered_rules
        ]
        self.stops = np.array([rule.stop is not None for rule in knowledge.ordered_rules], bool)
        self._numbers = {rule_id: index for index, rule_id in enumerate(self.rule_ids)}
        weights = np.zeros((len(self.rule_ids), len(knowledge.faults)))
        for row, rule_id in enumerate(self.rule_ids):
            for item, fault_ids in knowledge.evidence[rule_id]:
                for fault_id in fault_ids:
                    weight = item.sign * np.log(item.factor)
                    weights[row, knowledge.fault_index[fault_id]] += weight
        self._weights = weights
        # Rules that see one thing in several ways, by number of the thing; -1 for the others.
        once = [rule.once for rule in knowledge.ordered_rules]
        things = sorted({name for name in once if name is not None})
        self._once = np.array([-1 if name is None else things.index(name) for name in once])

    def code(self, fact: str, value: FactValue) -> float:
        """The number a value is stored as in the fact's column; NaN for an unknown word."""
        if isinstance(value, str):
            return float(self._words[fact].get(value, np.nan))
        return float(value)

    def rows(self, situations: Sequence[Mapping[str, FactValue]]) -> Floats:
        """Lay situations out as a table of shape (R, facts), NaN where a fact is not known."""
        table = np.full((len(situations), len(self.columns)), np.nan)
        for row, facts in enumerate(situations):
            for name, value in facts.items():
                table[row, self.columns[name]] = self.code(name, value)
        return table

    def fire(self, table: Floats, rules: Iterable[str] | None = None) -> Flags:
        """Which rules fire in which rows.

        Args:
            table: shape (R, facts); findings derived on the way are written into it.
            rules: ids of the rules to look at, findings first; all by default.

        Returns:
            shape (R, rules), False for the rules not looked at.
        """
        fired = np.zeros((table.shape[0], len(self.rule_ids)), dtype=bool)
        for rule_id in self.rule_ids if rules is None else rules:
            index = self._numbers[rule_id]
            holds = self._tests[index](table)
            fired[:, index] = holds
            for column in self._findings[index]:
                table[holds, column] = 1.0
        return fired

    def weigh(
        self, fired: Flags, weights: Floats | None = None, among: Integers | None = None
    ) -> Floats:
        """Natural logarithm of the evidence on each fault: (R, rules) -> (R, faults).

        Of rules that see one thing in several ways (`once`) only the strongest counts.

        Args:
            fired: which rules fire in each row.
            weights: of all rules, (rules, faults), in place of those that were declared.
            among: numbers of the rules that the columns of `fired` stand for; all by default.
        """
        weights = self._weights if weights is None else weights
        weights = weights if among is None else weights[among]
        # Few rules fire in any row, and the others add nothing but time.
        spoke = fired.any(axis=0)
        weighed = np.asarray(fired[:, spoke].astype(np.float64) @ weights[spoke])
        once = self._once if among is None else self._once[among]
        for thing in np.flatnonzero(np.bincount(once[once >= 0]) > 1):
            rules = np.flatnonzero(once == thing)
            several = np.flatnonzero(fired[:, rules].sum(axis=1) > 1)
            if several.size:
                each = fired[np.ix_(several, rules)][:, :, None] * weights[rules]
                strongest = each.max(axis=1).clip(0.0) + each.min(axis=1).clip(max=0.0)
                weighed[several] += strongest - each.sum(axis=1)
        return weighed

    def _compile_leaf(self, leaf: Leaf, negated: bool) -> _Test:
        column = self.columns[leaf.fact]
        if any(BOTH in word for word in self._words[leaf.fact]):
            return _one_among(column, self._passing(leaf, negated))
        steps = [
            _STEPS[name](self._operands(leaf.fact, value))
            for name, value in leaf.comparisons().items()
        ]

        # Most comparisons with NaN are false as they should be, without asking whether it is one.
        guarded = negated or not _TRUE_OF_NAN.isdisjoint(leaf.comparisons())

        def test(table: Floats) -> Flags:
            values = table[:, column]
            result = steps[0](values)
            for step in steps[1:]:
                result = result & step(values)
            if negated:
                result = ~result
            return result & ~np.isnan(values) if guarded else result

        return test

    def _passing(self, leaf: Leaf, negated: bool) -> list[float]:
        """Codes of the words that pass, where a word may be two answers at once."""
        words = self._words[leaf.fact].items()
        return [float(code) for word, code in words if leaf.holds(word) is not negated]

    def _operands(self, fact: str, limit: Comparand) -> list[float]:
        several = limit if isinstance(limit, tuple) else (limit,)
        return [self.code(fact, one) for one in several]


def _one_among(column: int, codes: list[float]) -> _Test:
    if not codes:
        return lambda table: np.zeros(len(table), dtype=bool)
    return lambda table: _among(table[:, column], codes)


def _all_hold(tests: list[_Test]) -> _Test:
    def test(table: Floats) -> Flags:
        result = tests[0](table)
        for part in tests[1:]:
            result = result & part(table)
        return result

    return test


def _any_holds(tests: list[_Test]) -> _Test:
    def test(table: Floats) -> Flags:
        result = tests[0](table)
        for part in tests[1:]:
            result = result | part(table)
        return result

    return test


_TRUE_OF_NAN = frozenset({"is_not", "none_of"})
_STEPS: dict[str, Callable[[list[float]], _Test]] = {
    "is_": lambda codes: lambda values: np.equal(values, codes[0]),
    "is_not": lambda codes: lambda values: values != codes[0],
    "one_of": lambda codes: lambda values: _among(values, codes),
    "none_of": lambda codes: lambda values: ~_among(values, codes),
    "below": lambda codes: lambda values: values < codes[0],
    "at_most": lambda codes: lambda values: values <= codes[0],
    "above": lambda codes: lambda values: values > codes[0],
    "at_least": lambda codes: lambda values: values >= codes[0],
}


def _among(values: Floats, wanted: Sequence[float]) -> Flags:
    # np.isin sorts; for a handful of codes plain comparisons are ten times quicker.
    found = np.equal(values, wanted[0])
    for one in wanted[1:]:
        found |= np.equal(values, one)
    return np.asarray(found)


@lru_cache(maxsize=4)
def rule_table(knowledge: Knowledge) -> RuleTable:
    """The rule set compiled once, however many sessions use it."""
    return RuleTable(knowledge)
