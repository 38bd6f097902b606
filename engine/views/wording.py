"""Words that trees and their card have in common: dangers in a word or two, checks as questions."""

from __future__ import annotations

from collections.abc import Iterable

from stillflow.engine.base import AirState
from stillflow.engine.inference import spot_of
from stillflow.engine.ruleset import Check, Knowledge

DANGERS = {
    "mains": "mains",
    "moving-parts": "moving parts",
    "dust": "dust",
    "sharp": "sharp things",
    "heights": "heights",
    "confined": "narrow spaces",
    "walls": "what walls hide",
    "suction": "suction on skin",
    "noise": "noise",
    "fire": "fire",
}
"""What a caution is about, as people say it."""


def beware(knowledge: Knowledge, cautions: Iterable[str]) -> str:
    """What to beware of, each danger in a word or two, once."""
    return ", ".join(dict.fromkeys(DANGERS[knowledge.cautions[name].about] for name in cautions))


def question(check: Check) -> str:
    """What a check asks; of a reading, how it is taken."""
    if check.kind == "choice":
        return check.ask
    state, station = spot_of(check)
    how = "no air flowing" if state is AirState.SEALED else "through the orifice"
    return f"Read {state} at {station.words} ({how})"
