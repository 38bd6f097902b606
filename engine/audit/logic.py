"""What conditions allow: whether a rule can ever fire, and what else fires whenever it does.

A case is a set of cells for each fact it names; a condition is a list of such cases. Findings are
replaced by what derives them, and an answer is only possible where its check is asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from stillflow.engine.audit.cells import Cells
from stillflow.engine.audit.shares import ANY, Interval, agree, hull, level_intervals, meet
from stillflow.engine.base import answer_fact
from stillflow.engine.ruleset import (
    Check,
    Condition,
    Knowledge,
    Leaf,
    fold,
    observation,
    observed,
)

MOST_CASES = 2_000
"""Cases after which a condition is left unread; the longest of the trade has a handful."""

Case = Mapping[str, int]
"""Fact -> the cells it may be in, as bits."""


class TooManyCasesError(Exception):
    """A condition has more cases than are worth reading."""


@dataclass(frozen=True)
class NormalForm:
    """A condition without `not` and without findings."""

    kind: str
    parts: tuple[NormalForm, ...] = ()
    fact: str = ""
    cells: int = 0


ALWAYS, NEVER = NormalForm("all"), NormalForm("any")


class Logic:
    """Reads the conditions of one rule set."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.cells = Cells(knowledge)
        self._makers: dict[str, list[str]] = {}
        for rule in knowledge.rules.values():
            for finding in rule.derives:
                self._makers.setdefault(finding, []).append(rule.id)
        self._trees: dict[str, NormalForm] = {}
        for rule in knowledge.ordered_rules:
            self._trees[rule.id] = self.tree(rule.when)
        self._found: dict[str, tuple[Case, ...]] = {}
        self._checks = {answer_fact(check.id): check for check in knowledge.checks.values()}

    def tree(self, condition: Condition) -> NormalForm:
        """A condition with findings replaced by what derives them."""
        return fold(
            condition,
            self._comparison,
            lambda parts: NormalForm("all", tuple(parts)),
            lambda parts: NormalForm("any", tuple(parts)),
        )

    def cases(self, rule_id: str) -> tuple[Case, ...]:
        """The cases of a rule's condition, possible ones only; none if it can never fire.

        Raises:
            TooManyCasesError: it has more than `MOST_CASES`.
        """
        if rule_id not in self._found:
            all_cases = self._solve([self._trees[rule_id]], {})
            seen = {frozenset(case.items()): case for case in all_cases}
            self._found[rule_id] = tuple(c for c in seen.values() if self.possible(c))
        return self._found[rule_id]

    @cached_property
    def unread(self) -> frozenset[str]:
        """Rules whose conditions have too many cases to be read."""
        return frozenset(rule_id for rule_id in self._trees if not self._readable(rule_id))

    @cached_property
    def firing(self) -> frozenset[str]:
        """Rules that can fire; one that could not be read counts as such."""
        return frozenset(i for i in self._trees if i in self.unread or self.cases(i))

    @cached_property
    def askable(self) -> frozenset[str]:
        """Checks that can come to be asked: their `asked_when` can be true before they are."""
        fine = {c.id for c in self.knowledge.checks.values() if c.asked_when is None}
        while True:
            more = {
                check.id
                for check in self.knowledge.checks.values()
                if check.id not in fine and self._can_be_asked(check, fine)
            }
            if not more:
                return frozenset(fine)
            fine |= more

    def possible(self, case: Case, *further: Condition | None) -> bool:
        """Whether one set of facts can be in a case, its questions having been asked.

        Args:
            case: the cells of some facts.
            further: conditions that must be true as well.
        """
        nodes = [self.tree(condition) for condition in further if condition is not None]
        try:
            return any(self._askable_cases(found, set()) for found in self._solve(nodes, case))
        except TooManyCasesError:
            return True

    def both(self, one: Case, other: Case) -> bool:
        """Whether two cases can be at once."""
        joined = dict(one)
        for fact, cells in other.items():
            joined[fact] = joined.get(fact, self.cells.whole(fact)) & cells
            if not joined[fact]:
                return False
        return self.possible(joined)

    def means(self, case: Case, rule_id: str) -> bool:
        """Whether a rule fires whenever a case is, with nothing else known."""
        known = observed(case)
        untrue = self._untrue(self._trees[rule_id], known)
        try:
            return not any(self._shares_agree(found) for found in self._solve([untrue], case))
        except TooManyCasesError:
            return False

    def _readable(self, rule_id: str) -> bool:
        try:
            self.cases(rule_id)
        except TooManyCasesError:
            return False
        return True

    def _comparison(self, leaf: Leaf, negated: bool) -> NormalForm:
        cells = self.cells.where(leaf, negated)
        if not leaf.fact.startswith("finding."):
            return NormalForm("leaf", (), leaf.fact, cells)
        if not cells:
            return NEVER
        return NormalForm("any", tuple(self._trees[maker] for maker in self._makers[leaf.fact]))

    def _untrue(self, node: NormalForm, known: frozenset[str]) -> NormalForm:
        """When a condition is not true, of facts beyond `known` nothing being known."""
        if node.kind == "leaf":
            if not observation(node.fact) <= known:
                return ALWAYS
            return NormalForm("leaf", (), node.fact, self.cells.whole(node.fact) & ~node.cells)
        kind = "any" if node.kind == "all" else "all"
        return NormalForm(kind, tuple(self._untrue(part, known) for part in node.parts))

    def _solve(self, nodes: Iterable[NormalForm], start: Case) -> Iterator[dict[str, int]]:
        left = MOST_CASES
        stack = [(list(nodes), dict(start))]
        while stack:
            left -= 1
            if left < 0:
                raise TooManyCasesError
            todo, case = stack.pop()
            choices: list[NormalForm] = []
            alive = True
            while todo and alive:
                node = todo.pop()
                if node.kind == "leaf":
                    cells = case.get(node.fact, self.cells.whole(node.fact)) & node.cells
                    case[node.fact] = cells
                    alive = cells != 0
                elif node.kind == "all":
                    todo.extend(node.parts)
                else:
                    choices.append(node)
            if not alive:
                continue
            if not choices:
                yield case
                continue
            first, *others = choices
            stack.extend(([part, *others], dict(case)) for part in reversed(first.parts))

    def _can_be_asked(self, check: Check, asked: set[str]) -> bool:
        assert check.asked_when is not None
        try:
            for case in self._solve([self.tree(check.asked_when)], {}):
                needed = {self._checks[fact].id for fact in case if fact in self._checks}
                if needed <= asked and self._shares_agree(case):
                    return True
        except TooManyCasesError:
            return True
        return False

    def _askable_cases(self, case: Case, done: set[str]) -> bool:
        """Whether a case stays possible once the questions it answers have to be asked."""
        answers = {fact for fact in case if fact in self._checks} - done
        if not answers:
            return self._shares_agree(case)
        checks = [self._checks[fact] for fact in sorted(answers)]
        if any(check.id not in self.askable for check in checks):
            return False
        nodes = [
            self.tree(condition)
            for check in checks
            for condition in (check.asked_when, check.possible_when)
            if condition is not None
        ]
        return any(self._askable_cases(found, done | answers) for found in self._solve(nodes, case))

    def _shares_agree(self, case: Case) -> bool:
        """Whether the readings a case speaks of can be of one house."""
        baseline = case.get("baseline.from", self.cells.whole("baseline.from"))
        wide = self.cells.words("baseline.from", baseline)
        return any(
            agree(*self._intervals(case, from_class))
            for from_class in (False, True)
            if any((word == "class") is from_class for word in wide)
        )

    def _intervals(
        self, case: Case, wide: bool
    ) -> tuple[dict[str, Interval], dict[tuple[str, str], Interval]]:
        bands = level_intervals(self.knowledge.levels, wide)
        shares: dict[str, Interval] = {}
        ratios: dict[tuple[str, str], Interval] = {}
        for fact, cells in case.items():
            kind, _, where = fact.partition(".")
            if kind == "level":
                spans = [bands[str(word)] for word in self.cells.words(fact, cells)]
                shares[where] = meet(shares.get(where, ANY), hull(spans))
            elif kind == "share":
                span = self.cells.interval(fact, cells)
                shares[where] = meet(shares.get(where, ANY), span)
            elif kind == "kept":
                state, _, pair = where.partition(".")
                near, far = pair.split("-")
                ratios[f"{state}.{near}", f"{state}.{far}"] = self.cells.interval(fact, cells)
        return shares, ratios
