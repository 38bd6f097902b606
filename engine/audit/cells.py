"""The cells of facts: the finitely many things each can be, as far as conditions can tell.

Every fact has finitely many cells: its words, its flag, or for a number the limits that some
condition compares it with and the gaps between them. A set of cells is kept as bits.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from stillflow.engine.audit.shares import Interval
from stillflow.engine.base import FLAG, NUMBER
from stillflow.engine.ruleset import BOTH, Condition, FactValue, Knowledge, Leaf, leaves

_MAY_BE_NEGATIVE = ("drop.", "margin.", "site.")
_ONLY_EVER_TRUE = ("finding.", "tried.")


class Cells:
    """The cells of every fact of a rule set."""

    def __init__(self, knowledge: Knowledge) -> None:
        self._limits: dict[str, list[float]] = {}
        named: dict[str, set[float]] = {}
        for condition in _conditions(knowledge):
            for leaf in leaves(condition):
                named.setdefault(leaf.fact, set()).update(_numbers(leaf))
        self._values: dict[str, tuple[FactValue, ...]] = {}
        self._whole: dict[str, int] = {}
        for fact, kind in knowledge.facts.items():
            # Two answers at once are heard one after the other, each for itself.
            values: tuple[FactValue, ...] = tuple(one for one in kind.words if BOTH not in one)
            first = 0
            if kind.kind == FLAG:
                values = (True,) if fact.startswith(_ONLY_EVER_TRUE) else (True, False)
            elif kind.kind == NUMBER:
                limits = sorted({0.0, *named.get(fact, ())})
                middles = [(low + high) / 2 for low, high in pairwise(limits)]
                gaps = [limits[0] - 1, *middles, limits[-1] + 1]
                values = (*(v for pair in zip(gaps, limits, strict=False) for v in pair), gaps[-1])
                self._limits[fact] = limits
                if not fact.startswith(_MAY_BE_NEGATIVE):
                    first = 2 * limits.index(0.0) + 1
            self._values[fact] = values
            self._whole[fact] = (1 << len(values)) - (1 << first)

    def whole(self, fact: str) -> int:
        """Every cell of a fact."""
        return self._whole[fact]

    def where(self, leaf: Leaf, negated: bool = False) -> int:
        """The cells in which a comparison is true, or known to be false."""
        found = 0
        for index, value in enumerate(self._values[leaf.fact]):
            if leaf.holds(value) is not negated:
                found |= 1 << index
        return found & self._whole[leaf.fact]

    def words(self, fact: str, cells: int) -> list[FactValue]:
        """The values of a word or flag that some cells stand for."""
        return [v for index, v in enumerate(self._values[fact]) if cells >> index & 1]

    def interval(self, fact: str, cells: int) -> Interval:
        """The smallest interval that holds some cells of a number."""
        limits = [float("-inf"), *self._limits[fact], float("inf")]
        lowest = (cells & -cells).bit_length() - 1
        highest = cells.bit_length() - 1
        # Odd cells are limits, even ones the gaps that end before the next limit.
        low = (limits[(lowest + 1) // 2], 0 if lowest % 2 else 1)
        high = (limits[highest // 2 + 1], 0 if highest % 2 else -1)
        return low, high


def _numbers(leaf: Leaf) -> Iterator[float]:
    for value in leaf.comparisons().values():
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(one, int | float) and not isinstance(one, bool):
                yield float(one)


def _conditions(knowledge: Knowledge) -> Iterator[Condition]:
    for rule in knowledge.rules.values():
        yield rule.when
    for check in knowledge.checks.values():
        yield from (c for c in (check.possible_when, check.asked_when) if c is not None)
    for fault in knowledge.faults.values():
        if fault.possible_when is not None:
            yield fault.possible_when
