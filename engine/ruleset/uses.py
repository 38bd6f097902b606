"""Which observation a fact rests on, and so which checks a rule uses.

A level, a share or a ratio is known once the readings behind it are; an answer once its question
was asked; everything else stands for itself.
"""

from __future__ import annotations

from collections.abc import Iterable

from stillflow.engine.base import KEPT_PAIRS, AirState, Station, answer_fact
from stillflow.engine.ruleset.entries import Check, Rule
from stillflow.engine.ruleset.knowledge import Knowledge


def _reading(state: AirState, station: Station) -> str:
    return f"reading.{state}.{station}"


def _behind() -> dict[str, frozenset[str]]:
    found = {}
    for state in AirState:
        for station in Station:
            for kind in ("reading", "share", "level"):
                found[f"{kind}.{state}.{station}"] = frozenset({_reading(state, station)})
        for near, far in KEPT_PAIRS:
            both = frozenset({_reading(state, near), _reading(state, far)})
            found[f"kept.{state}.{near}-{far}"] = found[f"drop.{state}.{near}-{far}"] = both
    for station in Station:
        found[f"margin.{station}"] = frozenset(_reading(state, station) for state in AirState)
    return found


_BEHIND = _behind()


def observation(fact: str) -> frozenset[str]:
    """What must have been seen for a fact to be known: readings, or the fact itself."""
    return _BEHIND.get(fact, frozenset({fact}))


def observed(facts: Iterable[str]) -> frozenset[str]:
    """What must have been seen for these facts to be known."""
    return frozenset().union(*(observation(fact) for fact in facts))


def observation_of(check: Check) -> str:
    """What a check lets one see."""
    if check.kind == "choice":
        return answer_fact(check.id)
    assert check.condition is not None and check.station is not None
    return _reading(check.condition, check.station)


def checks_used(knowledge: Knowledge, rule: Rule) -> tuple[Check, ...]:
    """The checks whose answers a rule's condition rests on, findings followed to their rules."""
    seen = observed(knowledge.grounds[rule.id])
    return tuple(check for check in knowledge.checks.values() if observation_of(check) in seen)
