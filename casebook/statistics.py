"""What closed visits add up to: faults by how common, minutes, first fixes, what checks were worth.

Only visits that were closed with all well count: a fault was put right and the readings after it
say so. Visits without that say what was tried, not what it was.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from math import log2, sqrt
from statistics import NormalDist, fmean

import sqlalchemy as sa

from stillflow.casebook.listing import Wanted
from stillflow.casebook.replay import minutes_of
from stillflow.casebook.tables import visits
from stillflow.engine.base import InputError
from stillflow.engine.dialogue import Session
from stillflow.engine.inference import NO_ANSWER, Event, Visit
from stillflow.engine.ruleset import Knowledge

CREDIBLE = 0.9
"""Chance that an interval holds the share it is about."""

EVERY = Wanted()

_NEVER = 1e-9
"""A fault held impossible was found all the same; what led there is worth this at the least."""


@dataclass(frozen=True)
class Counted:
    """So many of so many, with the interval of that share.

    Attributes:
        count, of: how many of how many.
        low, high: the interval, both between 0 and 1.
    """

    count: int
    of: int
    low: float
    high: float


@dataclass(frozen=True)
class FaultCount:
    """A fault and the verified visits that came to it.

    Attributes:
        fault: its id.
        share: of all verified visits.
        minutes: of such a visit on average; None where the rules of today know none of them.
    """

    fault: str
    share: Counted
    minutes: float | None


@dataclass(frozen=True)
class CheckWorth:
    """What a check gave for its minutes, before the fix that mended it.

    Attributes:
        check: its id.
        asked: how often it was answered.
        minutes: all of these together, with ways and what had to be opened.
        bits: how far they raised the fault that was found, in doublings of its chance on average;
            below zero where they misled.
        bits_per_minute: of all of these together.
    """

    check: str
    asked: int
    minutes: float
    bits: float
    bits_per_minute: float


@dataclass(frozen=True)
class Statistics:
    """What verified visits add up to.

    Attributes:
        visits: how many were verified.
        unusable: of these, such as name what the rules of today do not have; they count as faults
            only.
        minutes: of a visit on average; None without one.
        first_fix_right: visits whose first fix was of the fault that was found. One that was made
            in vain and undone was a first fix; one that was struck as never made was none.
        faults: the most common first.
        checks: those worth the most a minute first.
    """

    visits: int
    unusable: int
    minutes: float | None
    first_fix_right: Counted
    faults: tuple[FaultCount, ...]
    checks: tuple[CheckWorth, ...]


def verified(wanted: Wanted = EVERY) -> sa.ColumnElement[bool]:
    """Which kept visits were closed with a fault put right and readings that say so."""
    return sa.and_(
        *wanted.conditions,
        visits.c.status == "closed",
        visits.c.fault.is_not(None),
        visits.c.conclusion["step"].as_string() == "done",
        sa.func.coalesce(visits.c.conclusion["proved"].as_boolean(), sa.true()),
        sa.func.json_array_length(visits.c.conclusion["readings"]) > 0,
    )


def share_of(count: int, of: int, credible: float = CREDIBLE) -> Counted:
    """A share with its interval by the score, which holds at 0 and at all of few as well.

    Source: E. B. Wilson, "Probable Inference, the Law of Succession, and Statistical Inference",
    Journal of the American Statistical Association 22 (1927), 209-212.
    """
    if not of:
        return Counted(0, 0, 0.0, 1.0)
    z = NormalDist().inv_cdf(0.5 + credible / 2)
    share, spread = count / of, z * z / of
    middle = (share + spread / 2) / (1 + spread)
    half = z * sqrt(share * (1 - share) / of + spread / of / 4) / (1 + spread)
    return Counted(count, of, max(0.0, middle - half), min(1.0, middle + half))


def statistics(found: Iterable[Visit], knowledge: Knowledge) -> Statistics:
    """What verified visits add up to.

    Args:
        found: verified visits, each with a conclusion that names a fault.
        knowledge: whose minutes and evidence count.
    """
    counts: Counter[str] = Counter()
    minutes: dict[str, list[float]] = defaultdict(list)
    gains: dict[str, list[tuple[float, float]]] = defaultdict(list)
    right = unusable = 0
    for visit in found:
        fault = (visit.conclusion and visit.conclusion.fault) or ""
        counts[fault] += 1
        first = next((one for one in visit.made if _tried(one)), None)
        right += first is not None and first.fix == fault and first.found is not False
        try:
            taken = minutes_of(visit.made, knowledge)
            worth = _worth(visit, fault, knowledge)
        except (InputError, KeyError):
            unusable += 1
            continue
        minutes[fault].append(taken)
        for check, minute, bits in worth:
            gains[check].append((minute, bits))
    total = counts.total()
    every = [one for some in minutes.values() for one in some]
    return Statistics(
        visits=total,
        unusable=unusable,
        minutes=fmean(every) if every else None,
        first_fix_right=share_of(right, total),
        faults=tuple(
            FaultCount(
                fault,
                share_of(count, total),
                fmean(minutes[fault]) if fault in minutes else None,
            )
            for fault, count in sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))
        ),
        checks=_ranked(gains),
    )


def _tried(event: Event) -> bool:
    return event.is_fix and (event.done is not False or event.found is False)


def _worth(visit: Visit, fault: str, knowledge: Knowledge) -> list[tuple[str, float, float]]:
    """Check, minutes and bits of every answer before the fix that mended it."""
    column = knowledge.fault_index[fault]
    events = visit.believed
    last = max((n for n, one in enumerate(events) if one.fix == fault), default=0)
    session = Session(knowledge, visit.model_copy(update={"events": ()}))
    found = []
    before = 0.0
    for number, event in enumerate(events[:last], 1):
        chance = max(float(session.progress.weights[column]), _NEVER)
        session.take(event)
        now = max(float(session.progress.weights[column]), _NEVER)
        so_far = minutes_of(events[:number], knowledge)
        if event.check is not None and event.answer not in NO_ANSWER:
            found.append((event.check, max(so_far - before, 0.0), log2(now / chance)))
        before = so_far
    return found


def _ranked(gains: dict[str, list[tuple[float, float]]]) -> tuple[CheckWorth, ...]:
    rows = []
    for check, some in gains.items():
        minutes, bits = (sum(column) for column in zip(*some, strict=True))
        rate = bits / minutes if minutes else bits
        rows.append(CheckWorth(check, len(some), minutes, bits / len(some), rate))
    return tuple(sorted(rows, key=lambda one: (-one.bits_per_minute, one.check)))
