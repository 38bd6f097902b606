"""All that can be seen for and against one fault, and the cheapest way to be sure of it.

Unlike a card, which lists rules, this goes over observations: every answer of every check, readings
as the airflow model has them, weighed against all other faults as common as they are. The unit is
that of `at_extremes`, so that both speak of one call.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from stillflow.engine.base import Floats, InputError, Strength, named
from stillflow.engine.dialogue import given, learnt
from stillflow.engine.inference import (
    LikelihoodModel,
    Situation,
    baseline_for,
    possible,
    rule_table,
)
from stillflow.engine.ruleset import Check, Knowledge, truth
from stillflow.engine.simulate import visit_for

SURE = 0.95
"""Probability at which one is called sure of a fault."""

MOST_STEPS = 12
"""Checks of one way; who needs more is not sure of anything."""


@dataclass(frozen=True)
class Sign:
    """One answer and how many times likelier it is with the fault than elsewhere.

    Attributes:
        check: its id.
        ask: the question.
        answer: as listed; of a reading the level.
        reading: whether the airflow model says it.
        times: over 1 for the fault, under 1 against it.
        often: how often it is given where the fault is there.
    """

    check: str
    ask: str
    answer: str
    reading: bool
    times: float
    often: float


@dataclass(frozen=True)
class SureStep:
    """One step of a way to be sure: the check, the answer that is to be expected, and after it."""

    check: str
    ask: str
    answer: str
    minutes: float
    chance: float


@dataclass(frozen=True)
class Grounds:
    """What there is to know of one fault.

    Attributes:
        fault: its id.
        title: its title.
        start: its probability before anything is seen.
        signs_for: the strongest first.
        signs_against: the strongest first.
        way: the cheapest checks found that make sure of it where it is there.
        sure: whether they do.
        rival: the likeliest other fault at the end of the way, and its chance.
    """

    fault: str
    title: str
    start: float
    signs_for: tuple[Sign, ...]
    signs_against: tuple[Sign, ...]
    way: tuple[SureStep, ...]
    sure: bool
    rival: tuple[str, float]

    @property
    def minutes(self) -> float:
        """Of the whole way."""
        return sum(look.minutes for look in self.way)


def grounds_of(knowledge: Knowledge, fault_id: str) -> Grounds:
    """Everything for and against a fault in a unit that has it, and the cheapest way to be sure.

    Raises:
        InputError: no such fault, or a rule set without classes of unit to reckon with.
    """
    fault = named(knowledge.faults, fault_id, "fault")
    if not (knowledge.classes and knowledge.levels):
        raise InputError("no class of unit says what a unit should read", right="add one")
    visit = visit_for(knowledge, fault)
    model = LikelihoodModel(knowledge, rule_table(knowledge), baseline_for(visit, knowledge), visit)
    index = knowledge.fault_index[fault_id]
    start = Situation(model.standing(visit))
    prior = model.prior(start.standing)
    signs = sorted(
        _signs(knowledge, model, start, index, prior),
        key=lambda one: (-abs(np.log(one.times)), one.check),
    )
    way, chances = _Way(knowledge, model, start, index).cheapest(prior)
    others = chances.copy()
    others[index] = 0.0
    names = list(knowledge.faults)
    return Grounds(
        fault=fault_id,
        title=fault.title,
        start=float(prior[index]),
        signs_for=tuple(one for one in signs if one.times > Strength.SLIGHT.factor**0.5),
        signs_against=tuple(one for one in signs if one.times < Strength.SLIGHT.factor**-0.5),
        way=way,
        sure=bool(chances[index] >= SURE),
        rival=(names[int(others.argmax())], float(others.max())),
    )


def _signs(
    knowledge: Knowledge, model: LikelihoodModel, start: Situation, index: int, prior: Floats
) -> Iterator[Sign]:
    for outlook in model.outlooks(start, list(knowledge.checks)):
        check_id = outlook.check_id
        check = knowledge.checks[check_id]
        chance = outlook.likelihood
        share = prior.copy()
        share[index] = 0.0
        elsewhere = chance @ share / share.sum()
        words = _labels(knowledge, check)
        for number, answer in enumerate(outlook.answers):
            often = float(chance[number, index])
            times = float((often + _TINY) / (elsewhere[number] + _TINY))
            reading = check.kind == "reading"
            yield Sign(check_id, check.ask, words[answer], reading, times, often)


def _labels(knowledge: Knowledge, check: Check) -> dict[str, str]:
    """What the answers to a check are called; of a reading they are the levels."""
    if check.kind == "choice":
        return {one.id: one.label for one in check.answers}
    return {level.id: level.title for level in knowledge.levels}


_TINY = 1e-6
_ASKING = 0.1
"""Minutes that any question takes besides its own."""
_TELLING = 0.05
"""Least divergence, natural log, for which a check is made."""


@dataclass
class _Walked:
    """Where some checks have led."""

    situation: Situation
    weights: Floats
    opened: set[str] = field(default_factory=set)
    looks: list[SureStep] = field(default_factory=list)


class _Way:
    """The cheapest way to be sure: a greedy search by what a check tells a minute, then pruned.

    What a check tells is the Kullback-Leibler divergence of its answers with the fault from those
    without it.
    """

    def __init__(
        self, knowledge: Knowledge, model: LikelihoodModel, start: Situation, index: int
    ) -> None:
        self._knowledge = knowledge
        self._model = model
        self._start = start
        self._index = index

    def cheapest(self, prior: Floats) -> tuple[tuple[SureStep, ...], Floats]:
        """The steps, and the probabilities after them, shape (F,)."""
        chosen: list[str] = []
        now = self._walk(chosen, prior)
        while now.weights[self._index] < SURE and len(chosen) < MOST_STEPS:
            best = self._next(chosen, now)
            if best is None:
                break
            chosen.append(best)
            now = self._walk(chosen, prior)
        for check_id in list(chosen):
            fewer = [one for one in chosen if one != check_id]
            without = self._walk(fewer, prior)
            if without.weights[self._index] >= SURE and len(without.looks) == len(fewer):
                chosen, now = fewer, without
        return tuple(now.looks), now.weights

    def _walk(self, checks: list[str], prior: Floats) -> _Walked:
        """Make these checks one after the other, each answered as is likeliest with the fault."""
        now = _Walked(self._start, prior)
        for check_id in checks:
            check = self._knowledge.checks[check_id]
            if not self._askable(check, now.situation):
                continue
            [outlook] = self._model.outlooks(now.situation, [check_id])
            row = int(outlook.likelihood[:, self._index].argmax())
            weights = now.weights * outlook.likelihood[row]
            now.weights = weights / weights.sum()
            answer = outlook.answers[row]
            said = given(self._knowledge, self._model.baseline, check, answer)
            now.situation = learnt(now.situation, check, said)
            chance = float(now.weights[self._index])
            minutes = self._minutes(check, now.opened)
            label = _labels(self._knowledge, check)[answer]
            now.looks.append(SureStep(check_id, check.ask, label, minutes, chance))
            if check.access:
                now.opened.add(check.access)
        return now

    def _next(self, chosen: list[str], now: _Walked) -> str | None:
        """The check that tells most a minute from here; None where none tells anything."""
        others = now.weights.copy()
        others[self._index] = 0.0
        others = others / others.sum()
        free = [
            check.id
            for check in self._knowledge.checks.values()
            if check.id not in chosen
            and not (check.verifies and check.kind == "choice")
            and self._askable(check, now.situation)
        ]
        best, most = None, 0.0
        for outlook in self._model.outlooks(now.situation, free):
            mine = outlook.likelihood[:, self._index] + _TINY
            rest = outlook.likelihood @ others + _TINY
            told = float((mine * np.log(mine / rest)).sum())
            check = self._knowledge.checks[outlook.check_id]
            worth = told / (self._minutes(check, now.opened) + _ASKING)
            if worth > most and told > _TELLING:
                best, most = check.id, worth
        return best

    def _askable(self, check: Check, situation: Situation) -> bool:
        facts = self._model.facts(situation)
        wanted = check.asked_when
        return possible(check.possible_when, facts) and (
            wanted is None or truth(wanted, facts) is True
        )

    def _minutes(self, check: Check, opened: set[str]) -> float:
        fresh = check.access is not None and check.access not in opened
        access = self._knowledge.accesses[check.access].minutes if fresh and check.access else 0.0
        return check.minutes + access
