"""The rules on readings and the airflow model behind them, held against what they have not seen.

For each rule on readings and each fault it speaks for or against, two factors say how much likelier
its condition is with the fault than with another one: by the model that belief uses (`Bearings`),
and in simulated calls, whose houses are drawn wider than belief assumes. A direction that both
contradict is a slip, unless the rule's `weighed:` says why.

For the model itself, every reading of a visit is held against what was foretold of it: the
predictive distribution at that moment, over faults as believed then. A reading far out in a tail is
one that no fault explains (posterior predictive check; Gelman, Meng and Stern 1996).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from stillflow.engine.base import Flags, Strength, vocabulary
from stillflow.engine.dialogue import Session
from stillflow.engine.inference import (
    NO_ANSWER,
    Spot,
    Visit,
    baseline_for,
    bearings_of,
    checked_event,
    contradicts,
    reading_facts,
    spot_of,
    tail_of,
)
from stillflow.engine.ruleset import Knowledge, Rule, leaves, observation_of, observed, truth
from stillflow.engine.simulate.calls import SimulatedCall, draw_calls

HOUSES = 3000
"""Houses drawn unless said otherwise; each fault is in as many."""

FAR_OUT = 0.01
"""A reading with less in its tails than this is explained by no fault."""


@dataclass(frozen=True)
class Weighed:
    """One rule's evidence on one fault, with how much likelier its condition is with that fault.

    Attributes:
        rule_id: the rule.
        fault_id: the fault.
        sign: +1 for, -1 against.
        strength: `computed`, or the word that the rule puts in the model's place.
        by_model: the factor by the airflow model of belief, in a nominal house.
        by_houses: the factor in simulated houses.
        reason: why a difference may stand, from the rule.
    """

    rule_id: str
    fault_id: str
    sign: int
    strength: Strength
    by_model: float
    by_houses: float
    reason: str

    @property
    def contradicted(self) -> bool:
        """Whether both say the reverse of the rule."""
        return contradicts(self.sign, self.by_model) and contradicts(self.sign, self.by_houses)

    @property
    def marked(self) -> bool:
        """Whether it is contradicted with no reason given."""
        return self.contradicted and not self.reason


@dataclass(frozen=True)
class Weighing:
    """The rules on readings, weighed.

    Attributes:
        pairs: one for each rule and fault it speaks of, by rule and fault id.
        left_out: rule id -> why a rule that speaks of readings could not be weighed.
    """

    pairs: tuple[Weighed, ...]
    left_out: Mapping[str, str]


@dataclass(frozen=True)
class Foretold:
    """One reading of a visit, beside what was foretold of it.

    Attributes:
        check_id: which reading.
        value: inH2O.
        tail: P(a reading as far out as this, either way), in 0 to 1.
    """

    check_id: str
    value: float
    tail: float

    @property
    def unexplained(self) -> bool:
        """Whether no fault explains it."""
        return self.tail < FAR_OUT


def weigh(knowledge: Knowledge, generator: np.random.Generator, houses: int = HOUSES) -> Weighing:
    """Hold every rule on readings against the airflow model and against simulated houses.

    Args:
        knowledge: the rule set.
        generator: where the chance comes from.
        houses: how many are drawn, each with one fault, all faults in turn.

    Raises:
        InputError: no house was found in which some fault is possible.
    """
    rules: list[Rule] = []
    left_out: dict[str, str] = {}
    bearings = bearings_of(knowledge)
    given = {observation_of(check) for check in knowledge.checks.values()}
    for rule in sorted(knowledge.rules.values(), key=lambda one: one.id):
        facts = {leaf.fact for leaf in leaves(rule.when)}
        read = {fact for fact in facts if fact.split(".")[0] in vocabulary.GAUGED}
        if not (knowledge.evidence[rule.id] and read):
            continue
        if beyond := sorted(facts - read | (observed(read) - given)):
            left_out[rule.id] = f"no reading gives {', '.join(beyond)}"
        elif bearings is None or bearings.of(rule) is None:
            left_out[rule.id] = "no reading in the middle of its level fulfils it"
        else:
            rules.append(rule)
    if bearings is None or not rules:
        return Weighing((), left_out)
    calls = draw_calls(knowledge, generator, houses, how_often="equally")
    holds = np.array([_holding(knowledge, call, rules, generator) for call in calls])
    hidden = np.array([knowledge.fault_index[call.faults[0]] for call in calls])
    # One call more of each fault, in which the rule holds as often as in all: never 0, never sure.
    seen = np.array(
        [
            (holds[hidden == index].sum(axis=0) + holds.mean(axis=0))
            / ((hidden == index).sum() + 1)
            for index in range(len(knowledge.faults))
        ]
    )
    by_houses = bearings.factors(seen.T)
    pairs = []
    for row, rule in enumerate(rules):
        by_model = bearings.of(rule)
        assert by_model is not None
        for item, faults in knowledge.evidence[rule.id]:
            for fault in sorted(faults):
                index = knowledge.fault_index[fault]
                factors = float(by_model[index]), float(by_houses[row, index])
                said = (item.sign, item.strength, *factors, rule.weighed)
                pairs.append(Weighed(rule.id, fault, *said))
    return Weighing(tuple(pairs), left_out)


def _holding(
    knowledge: Knowledge, call: SimulatedCall, rules: list[Rule], generator: np.random.Generator
) -> Flags:
    """Which conditions hold with all that a gauge shows in a house, shape (rules,)."""
    readings: dict[Spot, float] = {
        spot_of(check): float(call.answer(check, generator))
        for check in knowledge.checks.values()
        if check.kind == "reading"
    }
    facts = reading_facts(readings, baseline_for(call.visit, knowledge), knowledge.levels)
    return np.array([truth(rule.when, facts) is True for rule in rules])


def foretold(knowledge: Knowledge, visit: Visit) -> tuple[Foretold, ...]:
    """The readings of a visit before its first fix, each beside what was foretold of it.

    Those that contradict others, and so were set aside, are left out; so is a second reading of
    the same thing.

    Raises:
        InputError: an event of the visit names what the rules do not have.
    """
    told = []
    session = Session(knowledge, visit.model_copy(update={"events": ()}))
    progress = session.progress
    for number, event in enumerate(visit.believed):
        event = checked_event(knowledge, event, f"events.{number}", progress.inlets)
        if event.check is None:
            break
        check = knowledge.checks[event.check]
        known, belief = progress.situation, progress.probabilities
        progress.apply(event)
        if check.kind == "choice" or event.answer in NO_ANSWER:
            continue
        spot = spot_of(check)
        if spot not in known.readings and not progress.asked[-1].doubted_by:
            value = progress.situation.readings[spot]
            gauge, levels = progress.model.gauge, knowledge.levels
            tail = tail_of(gauge, session.baseline, levels, known.readings, spot, value, belief)
            told.append(Foretold(check.id, value, tail))
    return tuple(told)
