"""Which conclusions hang on which judged number: a global sensitivity analysis of the rules.

How common a fault is, how strong an answer speaks, how often it is seen elsewhere and how often it
is mistaken are judgements. All are drawn from their ranges at once, many times over; each time the
final belief of worked cases and generated calls is worked out anew. The share of the variance of a
conclusion's log-odds that a number explains alone is its first-order Sobol index, estimated as the
squared correlation with the drawn number: belief is nearly additive in the logarithms, for which
the two are the same. Sizes of effects, which readings rest on, are not varied.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from stillflow.casebook.beliefs import ManyVisits
from stillflow.casebook.cases import Case
from stillflow.casebook.generated import CallKind, GeneratedVisit
from stillflow.engine.base import Floats
from stillflow.engine.inference import NO_ANSWER, Situation, Spot, spot_of
from stillflow.engine.ruleset import Knowledge

RANGES: Mapping[str, float] = {
    "how common": 3.0**0.5,
    "strength": 10.0**0.25,
    "usual": 1.5,
    "mistaken": 2.0,
}
"""By kind of number the factor that it may be off by, either way (judged): half a step of its scale
for words, half as much again for shares, twofold for mistakes."""

HELD = 0.1
"""Index from which a conclusion is said to hang on a number; 200 draws tell it from chance."""

_LISTED = 5


@dataclass(frozen=True)
class Held:
    """One number and the conclusions that hang on it.

    Attributes:
        kind: of number, as in `RANGES`.
        entry: id of the fault, rule or check it belongs to.
        weight: its index, summed over the conclusions that are in doubt.
        conclusions: those that hang on it, what hangs on it most first.
    """

    kind: str
    entry: str
    weight: float
    conclusions: tuple[str, ...]


@dataclass(frozen=True)
class Shaky:
    """One case or call whose conclusion is not the same in every draw.

    Attributes:
        name: the case, or the call by number and hidden fault.
        fault: its conclusion by the rules as they stand.
        flips: share of the draws in which it is another.
        numbers: what it hangs on most: kind, entry and first-order Sobol index.
    """

    name: str
    fault: str
    flips: float
    numbers: tuple[tuple[str, str, float], ...]


@dataclass(frozen=True)
class Sensitivity:
    """What is in doubt.

    Attributes:
        items: cases and calls looked at.
        draws: how often all numbers were drawn.
        numbers: how many.
        shaky: the conclusions that flip, those that do so most often first.
        held: the numbers they hang on, the weightiest first: the bars of a tornado chart.
    """

    items: int
    draws: int
    numbers: int
    shaky: tuple[Shaky, ...]
    held: tuple[Held, ...]


def case_calls(cases: Sequence[Case], knowledge: Knowledge) -> Iterator[GeneratedVisit]:
    """Worked cases as visits on which everything the case says is known."""
    for case in cases:
        kind = CallKind(knowledge, case.visit)
        readings: dict[Spot, float] = {}
        answers: dict[str, str] = {}
        for check_id, said in case.finds.items():
            check = knowledge.checks.get(check_id)
            if check is None or said[-1] in NO_ANSWER:
                continue
            if check.kind == "reading" and isinstance(said[-1], int | float):
                readings[spot_of(check)] = float(said[-1])
            elif said[-1] in check.answer_ids and check.asked_when is None:
                answers[check_id] = str(said[-1])
        situation = Situation(kind.start.standing, readings, answers)
        ordered = {name: answers[name] for name in sorted(answers)}
        yield GeneratedVisit(kind, case.name, ordered, situation)


def doubt(
    visits: Sequence[GeneratedVisit],
    knowledge: Knowledge,
    generator: np.random.Generator,
    draws: int = 200,
) -> Sensitivity:
    """Draw every judged number many times, and see which conclusions move and with which number.

    Args:
        visits: cases and calls; see `case_calls` and `generate`.
        knowledge: the rule set.
        generator: where the chance comes from.
        draws: how often, at least 50 for an index to mean anything.
    """
    many = ManyVisits(visits)
    worked = many.worked_out(knowledge)
    names = worked.numbers
    spans = np.log([RANGES[kind] for kind, _ in names])
    drawn = generator.uniform(-1.0, 1.0, (draws, len(names))) * spans
    middle = worked.believed(np.zeros(len(names)))
    lead = middle.argmax(axis=1)
    row = np.arange(len(visits))
    odds, flips = np.zeros((draws, len(visits))), np.zeros(len(visits))
    for number, moved in enumerate(drawn):
        belief = worked.believed(moved)
        mine = belief[row, lead]
        odds[number] = np.log(mine + 1e-12) - np.log(1.0 - mine + 1e-12)
        flips += belief.argmax(axis=1) != lead
    index = _correlations(drawn, odds) ** 2
    faults = list(knowledge.faults)
    shaky = []
    weights = np.zeros(len(names))
    hung: dict[int, list[tuple[float, str]]] = {}
    for n in np.flatnonzero(flips > 0).tolist():
        hidden = visits[n].hidden
        name = f"call {n + 1}, hides {hidden}" if hidden in knowledge.faults else hidden
        order = np.argsort(-index[:, n])[:_LISTED]
        numbers = tuple((*names[i], float(index[i, n])) for i in order if index[i, n] >= HELD)
        shaky.append(Shaky(name, faults[lead[n]], float(flips[n] / draws), numbers))
        for i in np.flatnonzero(index[:, n] >= HELD):
            weights[i] += index[i, n]
            hung.setdefault(int(i), []).append((float(index[i, n]), name))
    held = [
        Held(*names[i], float(weights[i]), tuple(name for _, name in sorted(some, reverse=True)))
        for i, some in hung.items()
    ]
    return Sensitivity(
        items=len(visits),
        draws=draws,
        numbers=len(names),
        shaky=tuple(sorted(shaky, key=lambda one: (-one.flips, one.name))),
        held=tuple(sorted(held, key=lambda one: (-one.weight, one.kind, one.entry))),
    )


def _correlations(drawn: Floats, results: Floats) -> Floats:
    """Pearson's correlation of every number with every result, (numbers, results)."""
    x, y = drawn - drawn.mean(axis=0), results - results.mean(axis=0)
    size = np.sqrt((x**2).sum(axis=0))[:, None] * np.sqrt((y**2).sum(axis=0))[None, :]
    return np.asarray(x.T @ y / np.maximum(size, 1e-300))
