"""From evidence to probabilities of faults, live and in look-ahead by the same arithmetic.

P(answer | fault) is the check's usual answers times the factors of the rules that each answer
would make fire, normalised over the answers, given all that is known before it. Of the answers to
a question a share may be mistaken: another answer was given, whichever, in place of the right one.
A live answer multiplies the belief by its own column of that table; look-ahead uses all of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

import numpy as np

from stillflow.engine.base import AirState, Floats, Station, answer_fact, vocabulary
from stillflow.engine.inference.baseline import Baseline
from stillflow.engine.inference.facts import (
    Spot,
    judge,
    reading_facts,
    standing_facts,
    typical_reading,
)
from stillflow.engine.inference.gauging import GaugeModel, gauge_model
from stillflow.engine.inference.inlets import Further
from stillflow.engine.inference.sizing import Sizes, sizes_of
from stillflow.engine.inference.table import RuleTable
from stillflow.engine.inference.visit import Visit
from stillflow.engine.ruleset import (
    BOTH,
    Check,
    Condition,
    FactValue,
    Knowledge,
    Level,
    truth,
)

MOST_OUTLOOKS = 20_000
"""Outlooks remembered by one model, and as many sets of readings; some 40 MB."""

NOWHERE_ELSE: Mapping[str, Spot] = MappingProxyType({})
"""Every reading is taken at its check's own station."""

NOTHING_DONE: Mapping[str, float] = MappingProxyType({})
"""No fault dealt with yet."""

IMPOSSIBLE = 1e-12
"""Least chance of a level, so that logarithms exist."""


@dataclass(frozen=True)
class Situation:
    """All that is known at one moment of a visit: standing facts, readings, choices made."""

    standing: Mapping[str, FactValue]
    readings: Mapping[Spot, float] = field(default_factory=dict)
    choices: Mapping[str, str] = field(default_factory=dict)

    def with_reading(self, spot: Spot, value: float) -> Situation:
        """The same, one reading later."""
        return Situation(self.standing, {**self.readings, spot: value}, self.choices)

    def with_choice(self, check_id: str, answer: str) -> Situation:
        """The same, one choice later."""
        return Situation(self.standing, self.readings, {**self.choices, check_id: answer})


@dataclass(frozen=True)
class Outlook:
    """The predictive distribution of one check: its possible answers, given each fault.

    Attributes:
        check_id: which check.
        answers: ids of the choices, or of the levels a reading can fall in.
        likelihood: P(answer | fault), shape (answers, faults), columns sum to 1.
    """

    check_id: str
    answers: tuple[str, ...]
    likelihood: Floats


class LikelihoodModel:
    """The likelihood model P(answer | fault, what is known) of one rule set and one baseline.

    What it makes of a visit, the posterior over the faults, is `Progress.weights` of `dialogue`.

    Args:
        knowledge: the rule set.
        table: the same, compiled for tables.
        baseline: what this system should read.
        visit: what is known of house, unit and gauge.
    """

    def __init__(
        self, knowledge: Knowledge, table: RuleTable, baseline: Baseline, visit: Visit
    ) -> None:
        self._knowledge = knowledge
        self._table = table
        self.baseline = baseline
        self._visit = visit
        self._known: dict[tuple[object, ...], Outlook] = {}
        self._shared: dict[str, tuple[str, ...]] = {}
        self._read: dict[frozenset[tuple[Spot, float]], dict[str, FactValue]] = {}
        self._reading_names = {
            name for name in knowledge.facts if name.split(".")[0] in vocabulary.GAUGED
        }
        self._deriving = [rule.id for rule in knowledge.ordered_rules if rule.derives]

    @cached_property
    def gauge(self) -> GaugeModel:
        """What readings say of the faults; solved when a reading is first asked about."""
        return gauge_model(self._knowledge, self.baseline, self._visit)

    def facts(self, situation: Situation) -> dict[str, FactValue]:
        """Every plain fact of a situation that evidence may rest on (findings not among them)."""
        facts = dict(situation.standing)
        facts.update(self._reading_facts(situation))
        facts.update(
            (answer_fact(check_id), answer) for check_id, answer in situation.choices.items()
        )
        return facts

    def standing(self, visit: Visit) -> dict[str, FactValue]:
        """The facts that hold before anything is measured."""
        return standing_facts(visit, self.baseline)

    def fired(self, situation: Situation) -> list[str]:
        """Ids of the rules that fire in a situation, findings first."""
        fired = self._table.fire(self._table.rows([self.facts(situation)]))[0]
        return [
            rule_id for rule_id, fires in zip(self._table.rule_ids, fired, strict=True) if fires
        ]

    def sizes(self, situation: Situation, belief: Floats) -> Sizes | None:
        """What readings and belief say of losses, and how big; None without readings.

        Args:
            situation: what is known.
            belief: probability of each fault then, shape (F,).
        """
        readings = situation.readings
        if not readings:
            return None
        return sizes_of(self._knowledge, self.baseline, self.gauge, readings, belief)

    def prior(
        self, standing: Mapping[str, FactValue], left: Mapping[str, float] = NOTHING_DONE
    ) -> Floats:
        """Weights of the faults before any check, shape (F,), summing to 1 unless all are zero.

        Args:
            standing: facts known before anything is measured.
            left: faults dealt with already -> how much of their chance is left to them.
        """
        weights = np.array(
            [
                fault.weight * left.get(fault.id, 1.0)
                if possible(fault.possible_when, standing)
                else 0.0
                for fault in self._knowledge.faults.values()
            ]
        )
        rows = self._table.rows([standing])
        weights *= np.exp(self._table.weigh(self._table.fire(rows))[0])
        total = weights.sum()
        return weights / total if total > 0 else weights

    def outlooks(
        self,
        situation: Situation,
        check_ids: Sequence[str],
        ahead: Mapping[str, Spot] = NOWHERE_ELSE,
    ) -> list[Outlook]:
        """What each check could answer from here, evaluated as rows of one table.

        An outlook hangs only on the facts that share a rule with the check, so one worked out
        earlier is used again while those stand.

        Args:
            situation: what is known.
            check_ids: which checks.
            ahead: reading check -> where it would be taken, if not at its own station.
        """
        facts = self.facts(situation)
        # No fact tells of readings at further inlets, but other readings hang on them.
        further = frozenset(
            (spot, value)
            for spot, value in situation.readings.items()
            if isinstance(spot[1], Further)
        )
        keys = {
            check_id: (
                check_id,
                tuple(map(facts.get, self.neighbours(check_id))),
                further if self._knowledge.checks[check_id].kind == "reading" else None,
                ahead.get(check_id),
            )
            for check_id in check_ids
        }
        missing = [check_id for check_id in check_ids if keys[check_id] not in self._known]
        if len(self._known) > MOST_OUTLOOKS:
            self._known.clear()
            missing = list(check_ids)
        for outlook in self._worked_out(situation, facts, missing, ahead):
            self._known[keys[outlook.check_id]] = outlook
        return [self._known[keys[check_id]] for check_id in check_ids]

    def _worked_out(
        self,
        situation: Situation,
        known: Mapping[str, FactValue],
        check_ids: Sequence[str],
        ahead: Mapping[str, Spot],
    ) -> list[Outlook]:
        if not check_ids:
            return []
        before = self._table.rows([known])
        self._table.fire(before, self._deriving)
        base = before[0]
        rows: list[Floats] = []
        names: set[str] = set()
        spans: list[tuple[Check, tuple[str, ...], Floats, int]] = []
        for check_id in check_ids:
            check = self._knowledge.checks[check_id]
            answers, usual, facts = self._hypotheses(situation, check, ahead.get(check_id))
            spans.append((check, answers, usual, len(rows)))
            rows.extend(self._changed(base, changed) for changed in facts)
            names.update(*facts)
        # What no answer has a part in weighs on all of them alike.
        concerned = self._knowledge.rules_using(names)
        weights = self._table.weigh(self._table.fire(np.array(rows), concerned))
        outlooks = []
        for check, answers, usual, start in spans:
            given = answers_given(check, usual, weights[start : start + len(answers)])
            outlooks.append(Outlook(check.id, answers, given))
        return outlooks

    def neighbours(self, check_id: str) -> tuple[str, ...]:
        """The facts that a check's outlook may hang on, itself not among them, in order of name."""
        if check_id not in self._shared:
            knowledge = self._knowledge
            check = knowledge.checks[check_id]
            own = {answer_fact(check_id)} if check.kind == "choice" else self._reading_names
            shared = {
                name
                for rule_id in knowledge.rules_using(own)
                for name in knowledge.grounds[rule_id]
            }
            if check.kind == "reading":
                # Other readings make what is kept from station to station.
                shared |= {name for name in self._reading_names if name.startswith("reading.")}
            self._shared[check_id] = tuple(sorted(shared - {answer_fact(check_id)}))
        return self._shared[check_id]

    def likelihood(
        self, situation: Situation, check: Check, answer: float | str, spot: Spot | None = None
    ) -> Floats:
        """P(this answer | fault) given the situation before it, shape (F,).

        A reading stands in its level's place, so that look-ahead and live belief agree.

        Args:
            situation: what is known before it.
            check: which check.
            answer: a choice, or a reading in inH2O.
            spot: where a reading was taken, if not at the check's own station.
        """
        before = self._table.rows([self.facts(situation)])
        self._table.fire(before, self._deriving)
        base = before[0]
        answers, usual, facts = self._hypotheses(situation, check, spot)
        weight = 1.0
        if check.kind == "reading":
            spot = spot or spot_of(check)
            value = float(answer)
            level = judge(value / self.baseline.at(*spot), self._levels, self.baseline.wide)
            index = answers.index(level)
            facts[index] = self._supposed(situation, spot, value)
            # The density of what was read, in place of the chance of its level.
            weight = self.gauge.likelihood(situation.readings, spot, value) / usual[index]
        else:
            index = 0
        table = np.array([self._changed(base, changed) for changed in facts])
        names = set().union(*facts)
        weights = self._table.weigh(self._table.fire(table, self._knowledge.rules_using(names)))
        given = answers_given(check, usual, weights)
        if check.kind == "reading":
            return np.asarray(given[index] * weight)
        # Two answers that are both true are heard as if one had been given after the other, each
        # for itself: given the fault, one makes the other neither more nor less likely.
        said = [answers.index(one) for one in str(answer).split(BOTH)]
        return np.asarray(given[said].prod(axis=0))

    @property
    def _levels(self) -> tuple[Level, ...]:
        return self._knowledge.levels

    def _reading_facts(self, situation: Situation) -> Mapping[str, FactValue]:
        # Asked for several times at every point of a visit.
        readings = frozenset(situation.readings.items())
        if readings not in self._read:
            if len(self._read) > MOST_OUTLOOKS:
                self._read.clear()
            facts = reading_facts(situation.readings, self.baseline, self._levels)
            self._read[readings] = facts
        return self._read[readings]

    def _supposed(self, situation: Situation, spot: Spot, value: float) -> Mapping[str, FactValue]:
        """The facts that one more reading would add or change."""
        after = situation.with_reading(spot, value)
        return reading_facts(after.readings, self.baseline, self._levels, [spot])

    def _changed(self, base: Floats, facts: Mapping[str, FactValue]) -> Floats:
        row = base.copy()
        for name, value in facts.items():
            row[self._table.columns[name]] = self._table.code(name, value)
        return row

    def _hypotheses(
        self, situation: Situation, check: Check, spot: Spot | None = None
    ) -> tuple[tuple[str, ...], Floats, list[Mapping[str, FactValue]]]:
        """Answer ids, their probabilities before the rules' evidence, the facts each would add."""
        if check.kind == "choice":
            usual = np.array([answer.usual for answer in check.answers])
            name = answer_fact(check.id)
            facts: list[Mapping[str, FactValue]] = [{name: answer} for answer in check.answer_ids]
            return check.answer_ids, (usual / usual.sum())[:, None], facts
        spot = spot or spot_of(check)
        facts = [
            self._supposed(situation, spot, typical_reading(self.baseline, spot, level))
            for level in self._levels
        ]
        usual = np.maximum(self.gauge.levels(situation.readings, spot), IMPOSSIBLE)
        return tuple(level.id for level in self._levels), usual, facts


def answers_given(check: Check, usual: Floats, weights: Floats) -> Floats:
    """P(answer given | fault), shape (answers, faults).

    Args:
        check: which; its `mistaken` share of answers is another than the right one.
        usual: of each answer before the rules' evidence, shape (answers, faults or 1).
        weights: natural logarithm of the evidence, shape (answers, faults).
    """
    block = np.log(usual) + weights
    block = np.exp(block - block.max(axis=0))
    right = block / block.sum(axis=0)
    if not check.mistaken:
        return np.asarray(right)
    others = (1.0 - right) / (len(usual) - 1)
    return np.asarray((1.0 - check.mistaken) * right + check.mistaken * others)


def possible(condition: Condition | None, facts: Mapping[str, FactValue]) -> bool:
    """Whether something is not ruled out: an unknown fact leaves it possible."""
    return condition is None or truth(condition, facts) is not False


def spot_of(check: Check) -> tuple[AirState, Station]:
    """Where a reading check puts the gauge, and whether air flows."""
    assert check.condition is not None and check.station is not None
    return check.condition, check.station
