"""How common each fault is and how telling each answer, re-weighed from closed, verified visits.

The shipped shares count as a stated number of calls, and the visits are added to them: the mean of
a Dirichlet distribution over the faults. What comes out is written as rules to lay over the shipped
ones, for a senior to read and compare; the shipped ones stay as they are.

A share of calls is not yet what the rules say: a fault that only some houses can have is rarer
among calls than its number says. So numbers are sought whose shares over drawn houses are
the learnt ones (iterative proportional fitting). That supposes that the visits' houses are like
them.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, inf

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from stillflow.casebook.statistics import verified
from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import visits
from stillflow.casebook.telling import Answers, Told, changes, weighed
from stillflow.engine.base import in_percent
from stillflow.engine.ruleset import Knowledge
from stillflow.engine.simulate import draw_callers, fault_weights

SHIPPED_CALLS = 200
"""So many calls the shipped shares count as, unless told otherwise: they are estimates. Each number
about an answer counts as so many answers."""

MOVED = 0.0025
"""A number is written once the fault's share of all calls has moved by a quarter of a point."""

HOUSES = 1000
SEED = 1
"""Drawn houses are the same every time, so that the same visits teach the same."""

NINE_IN_TEN = 1.645
"""Standard deviations to either side that nine in ten of a normal distribution are within."""

_ROUNDS = 40

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Learnt:
    """One fault.

    Attributes:
        fault: its id.
        shipped, seen, now: its share of calls by the rules, of the visits, and after both.
        visits: how many came to it.
        often: its new number, 1 for an occasional fault.
        low, high: between which that is with nine chances in ten, by the calls it counts as.
        moved: whether its share has moved enough to be written.
        moves_after: of one that has not: how many more visits like these it would take; infinite
            where they never would.
    """

    fault: str
    shipped: float
    seen: float
    now: float
    visits: int
    often: float
    low: float
    high: float
    moved: bool
    moves_after: float


@dataclass(frozen=True)
class Lesson:
    """What visits teach.

    Attributes:
        visits: how many counted.
        unknown: verified visits that came to a fault these rules do not have.
        counts_as: so many calls the rules' own shares counted as.
        faults: in the order of the rules.
        answers: how telling those that were given are, check by check.
    """

    visits: int
    unknown: int
    counts_as: float
    faults: tuple[Learnt, ...]
    answers: tuple[Told, ...] = ()


def counted_faults(casebook: Casebook) -> dict[str, int]:
    """Fault -> how many verified visits came to it."""
    asked = sa.select(visits.c.fault, sa.func.count()).where(verified()).group_by(visits.c.fault)
    with casebook.transaction() as connection:
        return {row[0]: row[1] for row in connection.execute(asked)}


def lesson(
    counts: Mapping[str, int],
    knowledge: Knowledge,
    counts_as: float = SHIPPED_CALLS,
    given: Answers | None = None,
) -> Lesson:
    """Re-weigh how common faults are and how telling answers.

    Args:
        counts: fault -> visits that came to it.
        knowledge: the rules to start from.
        counts_as: so many calls their shares count as, and so many answers each number about
            answers; more than 0.
        given: what those visits answered before their first fix.
    """
    faults = list(knowledge.faults)
    generator = np.random.default_rng(SEED)
    fits = fault_weights(knowledge, draw_callers(knowledge, generator, HOUSES).truths)
    weights = np.array([fault.weight for fault in knowledge.faults.values()])
    count = np.array([counts.get(one, 0) for one in faults], dtype=float)
    total = float(count.sum())
    shipped = _shares(fits, np.ones(len(faults)))
    # Which of several that no answer tells apart was written down says nothing: they share.
    told = count.copy()
    for alike in knowledge.alike.values():
        columns = [knowledge.fault_index[one] for one in alike.faults]
        whole = float(shipped[columns].sum())
        if whole > 0.0:
            told[columns] = count[columns].sum() * shipped[columns] / whole
    now = (counts_as * shipped + told) / (counts_as + total)
    times = _fitted(fits, now)
    often = times * weights * (weights.sum() / float((times * weights).sum()))
    seen = told / total if total else shipped
    # The logarithm of a Dirichlet share is near normal, of one over the square root of its calls.
    off = np.exp(NINE_IN_TEN / np.sqrt(np.maximum((counts_as + total) * now, 0.1)))
    return Lesson(
        visits=int(total),
        unknown=sum(counts.values()) - int(total),
        counts_as=counts_as,
        faults=tuple(
            Learnt(
                fault=one,
                shipped=float(shipped[n]),
                seen=float(seen[n]),
                now=float(now[n]),
                visits=int(count[n]),
                often=float(often[n]),
                low=float(often[n] / off[n]),
                high=float(often[n] * off[n]),
                moved=bool(abs(now[n] - shipped[n]) >= MOVED),
                moves_after=_moves_after(float(shipped[n]), float(seen[n]), total, counts_as),
            )
            for n, one in enumerate(faults)
        ),
        answers=weighed(given or {}, knowledge, counts_as),
    )


def overlay(found: Lesson, knowledge: Knowledge) -> str:
    """The rules to lay over those the lesson began with: every number that has moved."""
    lines = [
        f"# How common faults and how telling answers are, from {found.visits} closed, verified",
        f"# visits; each of the rules' own numbers counted as {found.counts_as:g} of them.",
        "# Look at it with: stillflow rules compare",
    ]
    moved = [one for one in found.faults if one.moved]
    answers = changes(found.answers, knowledge)
    lines += ["change:"] if moved or answers else ["# No number has moved.", "change: []"]
    for one in moved:
        lines += [
            f"  # {one.visits} visits; share of calls {100 * one.shipped:.1f} % -> "
            f"{100 * one.now:.1f} %",
            f"  - {{id: faults/{one.fault}, often: {one.often:.4g}, range: {{how_common: "
            f"[{one.low:.3g}, {one.high:.3g}]}}}}",
        ]
    for entry in answers:
        named = [
            o for o in found.answers if entry["id"] in (f"checks/{o.check}", f"rules/{o.rule}")
        ]
        count = max(o.answered for o in named if o.moved)
        lines += [f"  # {count} answers", f"  - {json.dumps(entry, ensure_ascii=False)}"]
    return "\n".join(lines) + "\n"


def next_to_move(found: Lesson) -> str:
    """How many visits it takes until a number moves, in a sentence."""
    share = max(one.shipped for one in found.faults)
    twice = ceil(MOVED * found.counts_as / max(share - MOVED, 1e-9))
    waiting = [(one.moves_after, f"that of {one.fault}") for one in found.faults if not one.moved]
    waiting += [
        (
            one.moves_after * found.visits / one.answered,
            f"of {one.check}: {' or '.join(one.answers)}",
        )
        for one in found.answers
        if not one.moved
    ]
    waiting = [one for one in waiting if one[0] < inf]
    if not found.visits or not waiting:
        return (
            f"A fault of {in_percent(share)} of calls that is really twice as common would move "
            f"after about {twice} visits."
        )
    after, what = min(waiting)
    return (
        f"The next number to move would be {what}, after about {ceil(after)} more visits like "
        "these."
    )


def _shares(fits: Floats, times: Floats) -> Floats:
    """Share of calls of each fault over houses, its number being so many times what it was."""
    weighed = fits * times
    return np.asarray((weighed / weighed.sum(axis=1, keepdims=True)).mean(axis=0))


def _fitted(fits: Floats, wanted: Floats) -> Floats:
    """By how much each number must be multiplied for its share of calls to be as wanted."""
    times = np.ones(len(wanted))
    for _ in range(_ROUNDS):
        shares = _shares(fits, times)
        times *= np.divide(wanted, shares, out=np.ones_like(wanted), where=shares > 0.0)
    return times


def _moves_after(shipped: float, seen: float, total: float, counts_as: float) -> float:
    """Visits still to come, if they go on like these, until the share has moved by `MOVED`."""
    apart = abs(seen - shipped)
    return max(0.0, MOVED * counts_as / (apart - MOVED) - total) if apart > MOVED else inf
