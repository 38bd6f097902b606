"""A rule set under audit, with what several inspections need worked out once."""

from __future__ import annotations

from collections import defaultdict
from functools import cached_property
from itertools import combinations

import numpy as np

from stillflow.engine.audit.logic import Case, Logic
from stillflow.engine.base import Floats, Place
from stillflow.engine.inference import (
    Baseline,
    LikelihoodModel,
    Outlook,
    Situation,
    Visit,
    baseline_for,
    bearings_of,
    contradicts,
    rule_table,
)
from stillflow.engine.ruleset import Knowledge, load_rules, observed

MOST_COMPARED = 200
"""Cases on the same observations that are compared, so that time grows with the number of rules
and not with its square. The shipped rules have eight at most."""


class Subject:
    """A rule set under audit."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.logic = Logic(knowledge)

    def place(self, section: str, entry_id: str) -> Place:
        """Where an entry stands; of one that is gone, where it was retired."""
        there = self.knowledge.places.get((section, entry_id))
        if there is not None:
            return there
        gone = (one for one in self.knowledge.replaced if one.how in ("retired", "gone"))
        return next(one.place for one in gone if (one.section, one.id) == (section, entry_id))

    @cached_property
    def shipped(self) -> Knowledge | None:
        """The rules that ship, where something is laid over them."""
        shipped = load_rules()
        return shipped if set(shipped.files) < set(self.knowledge.files) else None

    @cached_property
    def cautions_gone(self) -> frozenset[str]:
        """Shipped cautions that what is laid over the rules retired."""
        shipped = self.shipped.cautions if self.shipped is not None else {}
        return frozenset(shipped.keys() - self.knowledge.cautions.keys())

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
    def factors(self) -> dict[str, Floats]:
        """Per rule on readings that gives no reason to differ, what the airflow model makes of it.

        How much likelier its condition is with each fault than elsewhere, shape (F,).
        """
        bearings = bearings_of(self.knowledge)
        found = {
            rule.id: bearings.of(rule)
            for rule in self.knowledge.rules.values()
            if bearings is not None
            and rule.gauged
            and not rule.weighed
            and any(self.signs[rule.id].values())
        }
        return {name: one for name, one in found.items() if one is not None}

    def reversed_in(self, knowledge: Knowledge) -> dict[str, list[tuple[str, int]]]:
        """Per rule, the faults it speaks of where the model says the reverse, with the sign.

        Args:
            knowledge: the rule set, or the same with faults of other places or modes.
        """
        found: dict[str, list[tuple[str, int]]] = {}
        for rule_id, factors in self.factors.items():
            said = {
                (fault, item.sign)
                for item, faults in knowledge.evidence[rule_id]
                for fault in faults
                if contradicts(item.sign, factors[knowledge.fault_index[fault]])
            }
            found[rule_id] = sorted(said)
        return found

    def above(self, fault: str, rule: str) -> bool:
        """Whether a fault stands in a later folder than a rule, which cannot have meant it."""
        return self.layer("faults", fault) > self.layer("rules", rule)

    def layer(self, section: str, entry_id: str) -> int:
        """The number of the folder in which an entry stands."""
        layers = {name: layer for layer, name in self.knowledge.files}
        return layers.get(self.knowledge.places[section, entry_id].file, 0)

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
    def twins(self) -> tuple[tuple[str, str], ...]:
        """Rules that fire in the very cases of an earlier one and say the same: (that one, it)."""
        first: dict[object, str] = {}
        found = []
        for rule_id in self.readable:
            cases = frozenset(frozenset(case.items()) for case in self.logic.cases(rule_id))
            said = frozenset(self.signs[rule_id].items())
            earlier = first.setdefault((cases, said), rule_id)
            if earlier != rule_id and said:
                found.append((earlier, rule_id))
        return tuple(found)

    @cached_property
    def compared(self) -> dict[frozenset[str], list[tuple[str, Case]]]:
        """`by_observation` without twins: what is held against each other."""
        again = {rule_id for _, rule_id in self.twins}
        return {
            seen: [one for one in cases if one[0] not in again]
            for seen, cases in self.by_observation.items()
        }

    @cached_property
    def left_out(self) -> tuple[tuple[str, ...], ...]:
        """For each set of observations with too many rules, those that are not compared."""
        beyond = (cases[MOST_COMPARED:] for cases in self.compared.values())
        return tuple(tuple(dict.fromkeys(rule for rule, _ in some)) for some in beyond if some)

    @cached_property
    def meeting(self) -> tuple[tuple[str, str], ...]:
        """Pairs that speak of a common fault and can fire on the very same observations."""
        pairs: set[tuple[str, str]] = set()
        for cases in self.compared.values():
            for (one, case), (other, other_case) in combinations(cases[:MOST_COMPARED], 2):
                pair = (one, other)
                common = not self.signs[one].keys().isdisjoint(self.signs[other])
                fresh = common and one != other and pair not in pairs
                if fresh and self.logic.both(case, other_case):
                    pairs.add(pair)
        return tuple(sorted(pairs))

    @cached_property
    def alone(self) -> dict[tuple[str, str, int], list[str]]:
        """Rules on one observation, by it, a fault they speak of and the sign."""
        found: dict[tuple[str, str, int], list[str]] = defaultdict(list)
        for seen, cases in self.compared.items():
            if len(seen) == 1:
                (only,) = seen
                for rule_id in dict.fromkeys(rule for rule, _ in cases[:MOST_COMPARED]):
                    for fault, signs in self.signs[rule_id].items():
                        for sign in signs:
                            found[only, fault, sign].append(rule_id)
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
        return LikelihoodModel(self.knowledge, rule_table(self.knowledge), self.baseline, Visit())

    @cached_property
    def outlooks(self) -> dict[str, Outlook]:
        """What each check says alone, with nothing else known."""
        if self.model is None:
            return {}
        found = self.model.outlooks(Situation({}), list(self.knowledge.checks))
        return {outlook.check_id: outlook for outlook in found}

    @cached_property
    def logs(self) -> dict[str, Floats]:
        """Natural logarithm of what each check's answers say of each fault; of no share, little."""
        tiny = np.finfo(float).tiny
        return {name: np.log(np.maximum(o.likelihood, tiny)) for name, o in self.outlooks.items()}

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
