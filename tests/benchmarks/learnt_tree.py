"""A scikit-learn decision tree as a policy: it asks what it splits on, and fixes by its leaf.

Trained on simulated calls with an answer to every check. Inside a call it is followed from the
root; a split on a check that has no answer yet asks that check. At a leaf, fixes go by the leaf's
share of each fault over the minutes of its fix, and when these run out by how common faults are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from rival_policies import fixing_only
from sklearn.tree import DecisionTreeClassifier
from table_calls import Act, Place, Point

from stillflow.casebook.generated import CallKind, generate
from stillflow.engine.base.vocabulary import NUMBER, WORD
from stillflow.engine.ruleset.conditions import FactValue
from stillflow.engine.ruleset.knowledge import Knowledge


@dataclass(frozen=True)
class Columns:
    """What each column of the training table says.

    Attributes:
        answers: (check, answer) that it stands for, or None for what is known on arrival.
        standing: (fact, word or None for a number), for the columns after those.
    """

    answers: Sequence[tuple[str, str]]
    standing: Sequence[tuple[str, str | None]]

    @classmethod
    def of(cls, knowledge: Knowledge) -> Columns:
        """The columns for a rule set."""
        levels = [level.id for level in knowledge.levels]
        answers = [
            (check.id, answer)
            for check in knowledge.checks.values()
            for answer in check.answer_ids or levels
        ]
        standing: list[tuple[str, str | None]] = []
        for name, fact in knowledge.facts.items():
            if name.startswith(("unit.", "site.", "baseline.")):
                standing += [(name, word) for word in fact.words] if fact.kind == WORD else []
                standing += [(name, None)] if fact.kind == NUMBER else []
        return cls(answers, standing)

    def row(self, answers: Mapping[str, str], standing: Mapping[str, FactValue]) -> list[float]:
        """One call as a row."""
        told = [float(answers.get(check) == answer) for check, answer in self.answers]
        return told + [_known(standing.get(name), word) for name, word in self.standing]


def _known(value: FactValue | None, word: str | None) -> float:
    if word is not None:
        return float(value == word)
    return -1.0 if value is None else float(value)


def training_part(
    kind: CallKind, seed: Sequence[int], count: int
) -> tuple[NDArray[np.float32], NDArray[np.str_]]:
    """Draw calls of one kind with every check answered: rows and hidden faults."""
    knowledge = kind.knowledge
    columns = Columns.of(knowledge)
    checks = [
        one.id
        for one in knowledge.checks.values()
        if not one.first and not (one.verifies and one.answers)
    ]
    rows = np.zeros((count, len(columns.answers) + len(columns.standing)), dtype=np.float32)
    hidden = []
    for number, visit in enumerate(
        generate([kind], np.random.default_rng(list(seed)), count, 1.0, checks)
    ):
        rows[number] = columns.row(visit.answers, kind.start.standing)
        hidden.append(visit.hidden)
    return rows, np.array(hidden)


def grow(
    rows: NDArray[np.float32], hidden: NDArray[np.str_], smallest_leaf: int
) -> DecisionTreeClassifier:
    """Train a tree; splits by entropy, no fewer calls in a leaf than said."""
    tree = DecisionTreeClassifier(
        criterion="entropy", min_samples_leaf=smallest_leaf, random_state=0
    )
    return tree.fit(rows, hidden)


class LearntTree:
    """The tree, followed through a call."""

    def __init__(self, place: Place, trained: DecisionTreeClassifier) -> None:
        self._place = place
        self._tree = trained.tree_
        self._columns = Columns.of(place.knowledge)
        self._prior = place.model.prior(place.kind.start.standing)
        faults = place.knowledge.fault_index
        self._classes = [faults[name] for name in trained.classes_]

    def __call__(self, point: Point) -> Act:
        tree, node = self._tree, 0
        while tree.children_left[node] != -1:
            value = self._value(point, int(tree.feature[node]))
            if isinstance(value, str):
                return Act("check", value)
            goes_left = value <= tree.threshold[node]
            node = int((tree.children_left if goes_left else tree.children_right)[node])
        weights = np.zeros(len(self._prior))
        weights[self._classes] = tree.value[node][0]
        tried = [self._place.knowledge.fault_index[name] for name in point.tried]
        weights[tried] = 0.0
        if not weights.any():
            weights = self._prior
        return fixing_only(self._place, point, weights)

    def _value(self, point: Point, column: int) -> float | str:
        """The value of a column, or the check that has to be made to know it."""
        if column >= len(self._columns.answers):
            name, word = self._columns.standing[column - len(self._columns.answers)]
            return _known(self._place.kind.start.standing.get(name), word)
        check_id, answer = self._columns.answers[column]
        if check_id in point.answers or not self._place.can_be_made(check_id):
            return float(point.answers.get(check_id) == answer)
        return check_id
