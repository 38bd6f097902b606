"""A rule set under audit, with what several inspections need worked out once."""

from __future__ import annotations

from collections import defaultdict
from functools import cached_property

import numpy as np

from stillflow.engine.audit.logic import Case, Logic
from stillflow.engine.base import Floats
from stillflow.engine.inference import (
    Baseline,
    LikelihoodModel,
    Outlook,
    Situation,
    Visit,
    baseline_for,
    rule_table,
    spot_of,
    typical_reading,
)
from stillflow.engine.ruleset import Check, Knowledge, observed


class Subject:
    """A rule set under audit."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.logic = Logic(knowledge)

    @cached_property
    def signs(self) -> dict[str, dict[str, frozenset[int]]]:
        """Per rule and fault it speaks of, +1 and -1 as it speaks for or against it."""
        found: dict[str, dict[str, frozenset[int]]] = {}
        for rule_id, items in self.knowledge.evidence.items():
            said: dict[str, frozenset[int]] = {}
            for item, faults in items:
                for fault in faults:
                    said[fault] = said.get(fault, frozenset()) | {item.sign}
            found[rule_id] = said
        return found

    @cached_property
    def readable(self) -> tuple[str, ...]:
        """Rules whose cases are known, in id order."""
        return tuple(sorted(self.logic.firing - self.logic.unread))

    @cached_property
    def by_observation(self) -> dict[frozenset[str], list[tuple[str, Case]]]:
        """Cases of rules that can fire, with the rule, by what must have been seen for them."""
        found: dict[frozenset[str], list[tuple[str, Case]]] = defaultdict(list)
        for rule_id in self.readable:
            for case in self.logic.cases(rule_id):
                found[observed(case)].append((rule_id, case))
        return dict(found)

    @cached_property
    def baseline(self) -> Baseline | None:
        """What a plain visit expects; None where no class of unit says it."""
        if not (self.knowledge.classes and self.knowledge.levels):
            return None
        return baseline_for(Visit(), self.knowledge)

    @cached_property
    def model(self) -> LikelihoodModel | None:
        """The arithmetic of belief on a plain visit; None where there is nothing to reckon with."""
        if self.baseline is None or not self.knowledge.faults:
            return None
        return LikelihoodModel(self.knowledge, rule_table(self.knowledge), self.baseline)

    def typical_reading(self, check: Check, level_id: str) -> float:
        """A reading in inH2O that stands for a level."""
        assert self.baseline is not None
        level = next(one for one in self.knowledge.levels if one.id == level_id)
        return typical_reading(self.baseline, spot_of(check), level)

    @cached_property
    def outlooks(self) -> dict[str, Outlook]:
        """What each check says alone, with nothing else known."""
        if self.model is None:
            return {}
        found = self.model.outlooks(Situation({}), list(self.knowledge.checks))
        return {outlook.check_id: outlook for outlook in found}

    @cached_property
    def weights(self) -> Floats:
        """Natural logarithm of what each rule that can fire says of each fault."""
        table = rule_table(self.knowledge)
        firing = np.diag([rule_id in self.logic.firing for rule_id in table.rule_ids])
        return table.weigh(firing)

    @cached_property
    def rule_ids(self) -> tuple[str, ...]:
        """Rules in the order of the rows of `weights`."""
        return rule_table(self.knowledge).rule_ids
