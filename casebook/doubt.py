"""Which conclusions hang on which judged number: a global sensitivity analysis of the rules.

How common a fault is, how strong an answer speaks, how often it is seen elsewhere and how often it
is mistaken, and the least and greatest sizes of what a fault does are judgements. All are drawn
from their ranges at once, many times over; each time the final belief of worked cases and generated
calls is worked out anew. The share of the variance of a conclusion's log-odds that a number
explains alone is its first-order Sobol index, estimated as the squared correlation with the drawn
number: belief is nearly additive in the logarithms, for which the two are the same.

How long things take is judged too. No conclusion hangs on it, but what calls take does, which is a
sum of such numbers: the shares in its variance are exact.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import log
from typing import Any

import numpy as np

from stillflow.casebook.beliefs import ManyVisits, Told
from stillflow.casebook.cases import Case
from stillflow.casebook.generated import CallKind, GeneratedVisit
from stillflow.casebook.replay import minutes_of
from stillflow.engine.base import Floats
from stillflow.engine.inference import NO_ANSWER, Event, Situation, Spot, spot_of
from stillflow.engine.ruleset import JudgedNumber, Knowledge, judged

HELD = 0.1
"""Index from which a conclusion is said to hang on a number; 200 draws tell it from chance."""

TIMED = 0.03
"""The same for the minutes of calls, which are sums of many numbers."""

BARS = 15
"""Numbers, the weightiest, that a tornado chart has bars of."""

_LISTED = 5


@dataclass(frozen=True)
class Held:
    """One number and the conclusions that hang on it.

    Attributes:
        number: which, with its range.
        weight: its index, summed over the conclusions that are in doubt.
        conclusions: those that hang on it, what hangs on it most first.
        least, most: how many conclusions come out otherwise with this number alone at the least and
            at the most it may be: a bar of a tornado chart. Zero past the first `BARS`.
    """

    number: JudgedNumber
    weight: float
    least: int
    most: int
    conclusions: tuple[str, ...]


@dataclass(frozen=True)
class Shaky:
    """One case or call whose conclusion is not the same in every draw.

    Attributes:
        name: the case, or the call by number and hidden fault.
        fault: its conclusion by the rules as they stand.
        flips: share of the draws in which it is another.
        numbers: what it hangs on most, each with its first-order Sobol index.
    """

    name: str
    fault: str
    flips: float
    numbers: tuple[tuple[JudgedNumber, float], ...]


@dataclass(frozen=True)
class Timed:
    """What some calls take while all minutes are drawn from their ranges.

    Attributes:
        calls: how many.
        minutes: of all of them, as the numbers stand.
        low, high: between which nine in ten draws are.
        numbers: what they hang on most, each with its first-order Sobol index.
    """

    calls: int
    minutes: float
    low: float
    high: float
    numbers: tuple[tuple[JudgedNumber, float], ...]


@dataclass(frozen=True)
class Sensitivity:
    """What is in doubt.

    Attributes:
        items: cases and calls looked at.
        draws: how often all numbers were drawn.
        numbers: how many.
        shaky: the conclusions that flip, those that do so most often first.
        held: the numbers they hang on, the weightiest first.
    """

    items: int
    draws: int
    numbers: int
    shaky: tuple[Shaky, ...]
    held: tuple[Held, ...]


def case_calls(cases: Sequence[Case], knowledge: Knowledge) -> Iterator[GeneratedVisit]:
    """Worked cases that come to a fault, as visits on which everything the case says is known."""
    for case in cases:
        if not case.expect.fixes:
            continue
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
    told: Told | None = None,
) -> Sensitivity:
    """Draw every judged number many times, and see which conclusions move and with which number.

    Args:
        visits: cases and calls; see `case_calls` and `generate`.
        knowledge: the rule set.
        generator: where the chance comes from.
        draws: how often, at least 50 for an index to mean anything.
        told: is told houses worked out and numbers drawn, of how many.
    """
    houses = len({visit.kind for visit in visits})
    total = houses + draws

    def solved(done: int, _: int) -> None:
        if told is not None:
            told(done, total)

    worked = ManyVisits(visits).worked_out(knowledge, sizes=True, told=solved)
    names = worked.numbers
    ends = np.array([[log(abs(end / one.value)) for end in (one.low, one.high)] for one in names])
    drawn = generator.uniform(ends.min(axis=1), ends.max(axis=1), (draws, len(names)))
    row = np.arange(len(visits))
    lead = worked.believed().argmax(axis=1)

    def turned(number: int, to: float) -> int:
        moved = np.zeros(len(names))
        moved[number] = to
        return int((worked.believed(moved).argmax(axis=1) != lead).sum())

    odds, flips = np.zeros((draws, len(visits))), np.zeros(len(visits))
    for number, moved in enumerate(drawn):
        belief = worked.believed(moved)
        mine = belief[row, lead]
        odds[number] = np.log(mine + 1e-12) - np.log(1.0 - mine + 1e-12)
        flips += belief.argmax(axis=1) != lead
        if told is not None:
            told(houses + number + 1, total)
    index = _correlations(drawn, odds) ** 2
    faults = list(knowledge.faults)
    shaky = []
    weights = np.zeros(len(names))
    hung: dict[int, list[tuple[float, str]]] = {}
    for n in np.flatnonzero(flips > 0).tolist():
        hidden = visits[n].hidden
        name = f"call {n + 1}, hides {hidden}" if hidden in knowledge.faults else hidden
        order = np.argsort(-index[:, n])[:_LISTED]
        numbers = tuple((names[i], float(index[i, n])) for i in order if index[i, n] >= HELD)
        shaky.append(Shaky(name, faults[lead[n]], float(flips[n] / draws), numbers))
        for i in np.flatnonzero(index[:, n] >= HELD).tolist():
            weights[i] += index[i, n]
            hung.setdefault(i, []).append((float(index[i, n]), name))
    held = []
    for rank, i in enumerate(sorted(hung, key=lambda i: (-weights[i], names[i].name))):
        least, most = (turned(i, to) if rank < BARS else 0 for to in ends[i])
        conclusions = tuple(name for _, name in sorted(hung[i], reverse=True))
        held.append(Held(names[i], float(weights[i]), least, most, conclusions))
    return Sensitivity(
        items=len(visits),
        draws=draws,
        numbers=len(names),
        shaky=tuple(sorted(shaky, key=lambda one: (-one.flips, one.name))),
        held=tuple(held),
    )


def timed(
    calls: Sequence[Sequence[Event]],
    knowledge: Knowledge,
    generator: np.random.Generator,
    draws: int = 200,
) -> Timed:
    """Draw all that takes time, and see how long calls take that go as they went.

    Args:
        calls: what happened on each, at least one.
        knowledge: the rule set, which has all that is named there.
        generator: where the chance comes from.
        draws: how often.
    """
    numbers = [one for one in judged(knowledge) if one.kind in ("minutes", "way")]
    ends = np.log([[one.low, one.high] for one in numbers])
    drawn = generator.uniform(ends[:, 0], ends[:, 1], (draws, len(numbers)))

    def taken(rules: Knowledge) -> float:
        return sum(minutes_of(events, rules) for events in calls)

    start = taken(knowledge)
    value = np.array([one.value for one in numbers])
    # What a call takes is a sum, so that each number's part in it is told by moving it alone.
    parts = np.array(
        [
            (taken(_timing(knowledge, one, one.high)) - start) / (one.high - one.value)
            for one in numbers
        ]
    )
    values = np.exp(drawn)
    took = start + (values - value) @ parts
    spread = parts**2 * values.var(axis=0)
    index = spread / max(float(spread.sum()), 1e-300)
    low, high = np.percentile(took, (5, 95))
    held = [(numbers[i], float(index[i])) for i in np.argsort(-index) if index[i] >= TIMED]
    return Timed(len(calls), start, float(low), float(high), tuple(held))


def _timing(knowledge: Knowledge, number: JudgedNumber, minutes: float) -> Knowledge:
    """The rules with other minutes. What setting up takes goes along with its check."""
    group = dict(getattr(knowledge, number.section))
    entry, key = group[number.entry], number.key.replace(" ", "_")
    new: dict[str, Any] = {key: minutes}
    for part in ("fix", "put_back"):
        if key.startswith(f"{part}_"):
            inner = {key.removeprefix(f"{part}_"): minutes}
            new = {part: getattr(entry, part).model_copy(update=inner)}
    if number.section == "checks":
        new["set_up"] = entry.set_up * minutes / number.value
    group[number.entry] = entry.model_copy(update=new)
    sections: dict[str, Any] = {number.section: group}
    return replace(knowledge, **sections)


def _correlations(drawn: Floats, results: Floats) -> Floats:
    """Pearson's correlation of every number with every result, (numbers, results)."""
    x, y = drawn - drawn.mean(axis=0), results - results.mean(axis=0)
    size = np.sqrt((x**2).sum(axis=0))[:, None] * np.sqrt((y**2).sum(axis=0))[None, :]
    return np.asarray(x.T @ y / np.maximum(size, 1e-300))
