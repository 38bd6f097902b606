"""Which faults a piece of evidence is about: an id, or a phrase such as "leak in tubing or inlets".

A phrase is a mode (or `anything`), then optionally `in` and one or more places joined by `or`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from functools import cache, partial
from typing import TYPE_CHECKING

from stillflow.engine.base import Mode, Where, nearest

if TYPE_CHECKING:
    from stillflow.engine.ruleset.entries import Fault

ANYTHING = "anything"


def selecting(faults: Iterable[Fault]) -> Callable[[str], frozenset[str]]:
    """`select` among these faults; a phrase that stands in many rules is worked out once."""
    return cache(partial(select, faults={one.id: (one.mode, one.place) for one in faults}))


def select(phrase: str, faults: Mapping[str, tuple[Mode, Where]]) -> frozenset[str]:
    """The ids of the faults a phrase names.

    Args:
        phrase: a fault id or a phrase.
        faults: every fault's mode and place, by id.

    Raises:
        ValueError: with "what; what would be right" when the phrase names nothing.
    """
    if phrase in faults:
        return frozenset({phrase})
    mode_word, joined, place_words = phrase.partition(" in ")
    mode_word = mode_word.strip()
    modes: Iterable[str] = [mode.value for mode in Mode]
    if mode_word != ANYTHING and mode_word not in modes:
        several = re.split(r"\s*(?:,|;|&|\band\b|\bor\b)\s*", phrase)
        if len(several) > 1 and all(one in faults for one in several):
            raise ValueError(f"'{phrase}' is not one fault; write [{', '.join(several)}]")
        kind = "mode" if joined else "fault or mode"
        known = [*modes, ANYTHING, *(() if joined else faults)]
        raise ValueError(f"'{mode_word}' is not a {kind}; {nearest(mode_word, known)}")
    places = [word.strip() for word in place_words.replace(",", " or ").split(" or ")]
    places = [word for word in places if word]
    for word in places:
        if word not in {place.value for place in Where}:
            raise ValueError(f"'{word}' is not a place; {nearest(word, [p.value for p in Where])}")
    if joined and not places:
        raise ValueError(f"'{phrase}' names no place; write a place after 'in'")
    chosen = frozenset(
        fault_id
        for fault_id, (mode, place) in faults.items()
        if mode_word in (ANYTHING, mode.value) and (not places or place.value in places)
    )
    if not chosen:
        raise ValueError(f"'{phrase}' names no fault; use a mode and places that some fault has")
    return chosen
