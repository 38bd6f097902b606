"""The rules on readings held against the airflow model: how strong physics says they are.

Thousands of houses are drawn, every fault is put into each of them that can have it, and the gauge
is read. For each rule whose condition speaks of readings, and each fault it speaks for or
against, three factors are compared. All are likelihood ratios: P(the condition holds, with the
fault) over P(the condition holds, with the fault elsewhere).

- **declared**: the factor of the strength word, below 1 for evidence against.
- **in effect**: what belief makes of readings that fulfil the condition, taken one after another
  along the air path. Answers are normalised and other rules speak of the same readings, so this is
  seldom the word exactly; a rule that only takes back what another has said is judged with it.
- **physics**: the share of simulated houses with the fault in which the condition holds, over
  what is usual. One reading in twenty is allowed to be a mistake that says nothing, as one answer
  in twenty is, so that nothing is ever proved by one rule.

P(holds, with the fault elsewhere) is the usual answers of the checks, for all three, so what is
compared is how often the condition holds with the fault. Whether belief and the airflow model agree
on how often it holds at all is told beside it, by rule. Where a rule in effect is off by more than
one step of the scale of strengths, and more than the simulation's own uncertainty, it is marked,
unless its `weighed:` says why. Drawing the houses and reading the gauge is in `weighing_houses`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from stillflow.engine.base import Strength
from stillflow.engine.ruleset import Knowledge, Rule
from stillflow.engine.simulate.weighing_houses import Believed, Question, Seen, WeighingHouses

STEP = 0.5
"""One step of the scale of strengths, as a power of ten (Jeffreys' half powers of ten)."""

END = float(np.log10(Strength.DECISIVE.factor))
"""The end of the scale, as a power of ten; nothing is compared beyond it."""

MISTAKEN = 0.05
"""Share of readings taken to say nothing: a plate held askew, another place, another unit."""

HOUSES = 2000
"""Houses drawn unless said otherwise."""

_NORMAL_95 = 1.96
"""Two-sided 95 % point of the standard normal."""


@dataclass(frozen=True)
class Weighed:
    """One rule's evidence on one fault, held against the airflow model.

    Factors are likelihood ratios (dimensionless), below 1 where they speak against.

    Attributes:
        rule_id: the rule.
        fault_id: the fault.
        sign: +1 for, -1 against.
        strength: the word.
        in_effect: what belief makes of it together with the other rules.
        physics: what the airflow model gives.
        low: lower end of the 95 % interval of `physics`.
        high: upper end.
        houses: simulated houses it rests on, counted as they weigh.
        reason: why a difference may stand, from the rule.
    """

    rule_id: str
    fault_id: str
    sign: int
    strength: Strength
    in_effect: float
    physics: float
    low: float
    high: float
    houses: int
    reason: str

    @property
    def declared(self) -> float:
        """The factor the word stands for."""
        return float(self.strength.factor**self.sign)

    @property
    def steps(self) -> float:
        """Steps of the scale between what is in effect and the nearest that physics allows.

        Above 0 the rule is too strong, below 0 too weak, for or against alike.
        """
        return self._steps_from(self.in_effect)

    @property
    def word_steps(self) -> float:
        """The same for the declared word alone, as if no other rule spoke of these readings."""
        return self._steps_from(self.declared)

    @property
    def differs(self) -> bool:
        """Whether it is off by more than one step of the scale."""
        return abs(self.steps) > 1.0

    @property
    def word_differs(self) -> bool:
        """Whether the declared word alone would."""
        return abs(self.word_steps) > 1.0

    @property
    def marked(self) -> bool:
        """Whether it differs with no reason given."""
        return self.differs and not self.reason

    def _steps_from(self, factor: float) -> float:
        have, low, high = (_on_scale(one) for one in (factor, self.low, self.high))
        beyond = have - min(max(have, low), high)
        return float(beyond / STEP * self.sign)


@dataclass(frozen=True)
class Held:
    """How often a rule's condition holds, as shares of calls.

    Attributes:
        usual: with the fault elsewhere, by the usual answers.
        believed: over all faults, each as common as it is, by belief.
        simulated: the same by the airflow model, with its mistaken readings.
    """

    usual: float
    believed: float
    simulated: float


@dataclass(frozen=True)
class Weighing:
    """The rules on readings, weighed.

    Attributes:
        pairs: one for each rule and fault it speaks of, by rule and fault id.
        held: rule id -> how often its condition holds.
        left_out: rule id -> why a rule that speaks of readings could not be weighed.
    """

    pairs: tuple[Weighed, ...]
    held: Mapping[str, Held]
    left_out: Mapping[str, str]


def weigh(knowledge: Knowledge, generator: np.random.Generator, houses: int = HOUSES) -> Weighing:
    """Hold every rule on readings against the airflow model.

    Args:
        knowledge: the rule set.
        generator: where the chance comes from.
        houses: how many are drawn, at least 1; every fault is put into each that can have it.
    """
    asked: list[Question] = []
    left_out: dict[str, str] = {}
    for rule in knowledge.rules.values():
        if not (knowledge.evidence[rule.id] and Question.reads(rule)):
            continue
        if beyond := Question.beyond(knowledge, rule):
            left_out[rule.id] = f"no reading gives {', '.join(beyond)}"
        else:
            asked.append(Question.of(knowledge, rule))
    drawn = WeighingHouses(knowledge, generator, houses)
    seen = {fault.id: drawn.seen(fault, asked) for fault in knowledge.faults.values()}
    believed = drawn.believed(asked)
    weighed: list[Weighed] = []
    held: dict[str, Held] = {}
    for one in sorted(asked, key=lambda question: question.rule.id):
        thought, by_fault = believed[one.rule.id], {f: s[one.rule.id] for f, s in seen.items()}
        if not thought.usual:
            left_out[one.rule.id] = "no reading in the middle of its level fulfils it"
            continue
        shares = np.array([_taken(by_fault[fault].held, thought) for fault in knowledge.faults])
        held[one.rule.id] = Held(
            usual=thought.usual,
            believed=float(drawn.common @ thought.with_fault),
            simulated=float(drawn.common @ shares),
        )
        weighed += [
            _weighed(knowledge, one.rule, fault, thought, by_fault[fault])
            for fault in sorted(spoken_of(knowledge, one.rule))
            if by_fault[fault].houses > 0
        ]
    return Weighing(tuple(weighed), held, left_out)


def spoken_of(knowledge: Knowledge, rule: Rule) -> dict[str, tuple[int, Strength]]:
    """The faults a rule has evidence on, each with sign and strength: the strongest, if several."""
    found: dict[str, tuple[int, Strength]] = {}
    for item, faults in knowledge.evidence[rule.id]:
        for fault in faults:
            old = found.get(fault)
            if old is None or item.strength.factor > old[1].factor:
                found[fault] = (item.sign, item.strength)
    return found


def _weighed(
    knowledge: Knowledge, rule: Rule, fault_id: str, believed: Believed, seen: Seen
) -> Weighed:
    sign, strength = spoken_of(knowledge, rule)[fault_id]
    low, high = _interval(seen.held, seen.houses)
    physics, lowest, highest = (
        _taken(share, believed) / believed.usual for share in (seen.held, low, high)
    )
    return Weighed(
        rule_id=rule.id,
        fault_id=fault_id,
        sign=sign,
        strength=strength,
        in_effect=float(believed.with_fault[knowledge.fault_index[fault_id]]) / believed.usual,
        physics=physics,
        low=lowest,
        high=highest,
        houses=round(seen.houses),
        reason=rule.weighed,
    )


def _taken(share: float, believed: Believed) -> float:
    """A share of houses in which a condition holds, with readings taken by mistake among them."""
    return (1.0 - MISTAKEN) * share + MISTAKEN * believed.usual


def _interval(share: float, count: float) -> tuple[float, float]:
    """The 95 % interval of a share of so many (Wilson 1927)."""
    z = _NORMAL_95**2 / count
    middle = (share + z / 2.0) / (1.0 + z)
    half = _NORMAL_95 * (share * (1.0 - share) / count + z / (4.0 * count)) ** 0.5 / (1.0 + z)
    return max(0.0, middle - half), min(1.0, middle + half)


def _on_scale(factor: float) -> float:
    """A factor as a power of ten, no farther out than the scale goes."""
    return float(np.clip(np.log10(max(factor, 1e-9)), -END, END))
