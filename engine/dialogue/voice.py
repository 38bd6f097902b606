"""The belief put into a few sentences that agree with each other: verdict, sizes, what is left.

All of them are drawn from one posterior (`inference.Sizes` and the shares of the faults).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from stillflow.engine.base import (
    AirState,
    Mode,
    Station,
    Where,
    capital_first,
    in_percent,
    percent,
    small_first,
)
from stillflow.engine.dialogue.present import mode_shares
from stillflow.engine.dialogue.steps import FaultShare
from stillflow.engine.inference import Baseline, Candidate, Sizes, inlet_words, judge
from stillflow.engine.ruleset import Knowledge

Key = TypeVar("Key")

ENOUGH = 0.85
"""A verdict names modes, and places, until they make up this share."""

WORTH_NAMING = 0.05
SMALL_DOUBT = 0.10
"""That nothing is wrong is named beside faults from here on, and after smaller ones below it."""

MOST_NAMED = 3

WEAKER = 0.85
"""A unit that makes less than this share of a present-day one is one of weaker days."""

THIN_AIR_FT = 1500.0
"""From here up thin air is what lowers the readings (see `rules/faults/system.yaml`)."""

_MODES = {
    Mode.LEAK: "leak",
    Mode.OBSTRUCTION: "obstruction",
    Mode.WEAK_POWER: "weak power",
    Mode.SETTING: "setting",
    Mode.MEASUREMENT: "wrong reading",
    Mode.NORMAL: "nothing wrong",
}
PLACES = {
    Where.UNIT: "in the unit",
    Where.SUPPLY: "in the supply",
    Where.TUBING: "in the tubing",
    Where.INLETS: "at the inlets",
    Where.HOSE: "in the hose",
    Where.TOOL: "in the tool",
    Where.MEASUREMENT: "of the gauge",
    Where.SYSTEM: "in the way it is used",
}
_STRETCHES = {
    "unit": "in the unit",
    "tubing": "between unit and inlet",
    "trunk": "in the trunk line",
    "branch": "at this inlet or on its branch",
    "other": "at another inlet",
    "hose": "in the hose",
    "tool": "in the tool",
}

_NEVER_MORE = {
    "rated": "It never did more than",
    "class": "Units of its kind never did much more than",
    "last-visit": "At the last good visit it did no more than",
}


@dataclass(frozen=True)
class Said:
    """What is believed, in sentences; empty where nothing is.

    Attributes:
        verdict: what it comes to, in one sentence.
        sizes: what the readings cannot tell apart, and how big each loss would be.
        left: what is left at the hose end, as read or as supposed.
    """

    verdict: str
    sizes: tuple[str, ...] = ()
    left: tuple[str, ...] = ()


def say(
    knowledge: Knowledge, baseline: Baseline, shares: Sequence[FaultShare], sizes: Sizes | None
) -> Said:
    """The sentences for one belief.

    Args:
        knowledge: whose faults and classes of unit.
        baseline: what this system should read.
        shares: every fault with its probability, the likeliest first.
        sizes: the same belief summed by kinds of loss; None without readings.
    """
    if not shares or shares[0].probability <= 0.0:
        return Said("")
    verdict = _verdict(knowledge, baseline, shares, sizes)
    if sizes is None or (sizes.odd is not None and not sizes.together):
        return Said(verdict)  # What is foretold from readings that cannot be is nothing.
    return Said(verdict, tuple(_size_sentences(sizes)), (_left_at_hose(sizes),))


def _verdict(
    knowledge: Knowledge, baseline: Baseline, shares: Sequence[FaultShare], sizes: Sizes | None
) -> str:
    if sizes is not None and sizes.together:
        return _two(sizes)
    if sizes is not None and sizes.odd is not None:
        return f"{sizes.odd.said()}: take it again, or expect two faults."
    modes = mode_shares(shares)
    named = leading_modes(modes)
    if named == [Mode.NORMAL]:
        return _in_order(knowledge, baseline, modes[Mode.NORMAL], sizes)
    faults = [one for one in shares if one.mode in named and one.mode is not Mode.NORMAL]
    likeliest = next(one for one in shares if one.mode in named)
    by_place = dict.fromkeys(Where, 0.0)
    for one in faults:
        by_place[one.place] += one.probability
    by_place = dict(sorted(by_place.items(), key=lambda one: -one[1]))
    whole = sum(by_place.values())
    places = _until_enough(by_place, whole)
    said = " or ".join(_MODES[mode] for mode in named if mode is not Mode.NORMAL)
    chance = sum(by_place[place] for place in places)
    if chance < ENOUGH * whole:
        chance, said = whole, f"{said}, where is still open"
    elif set(named) != {Mode.MEASUREMENT}:
        said = f"{said} {' or '.join(PLACES[place] for place in places)}"
    if Mode.NORMAL in named:
        chance += modes[Mode.NORMAL]
        said = f"{said}, or {_MODES[Mode.NORMAL]}"
    title = small_first(likeliest.title)
    if likeliest.mode is Mode.NORMAL:
        title = f"that {title}"
    return (
        f"{capital_first(said)} ({percent(chance)}): "
        f"likeliest {title} ({percent(likeliest.probability)})."
    )


def _two(sizes: Sizes) -> str:
    """That no single fault explains the readings, and which two do."""
    said = [" and ".join(map(_name, one.losses)) for one in sizes.together]
    return (
        f"No single fault explains these readings, two together do ({percent(sizes.two)}): "
        f"likeliest {', or '.join(said)}."
    )


def leading_modes(modes: dict[Mode, float]) -> list[Mode]:
    """The modes a verdict names, the likeliest first; only `normal` where it has the half.

    Args:
        modes: probability of each, the likeliest first.
    """
    if next(iter(modes)) is Mode.NORMAL and modes[Mode.NORMAL] >= 0.5:
        return [Mode.NORMAL]
    ranked = dict(modes)
    if ranked[Mode.NORMAL] < SMALL_DOUBT:
        ranked[Mode.NORMAL] = ranked.pop(Mode.NORMAL)
    return _until_enough(ranked, sum(modes.values()))


def _until_enough(shares: dict[Key, float], whole: float) -> list[Key]:
    """The likeliest, until they make up enough of the whole."""
    named: list[Key] = []
    reached = 0.0
    for name, share in list(shares.items())[:MOST_NAMED]:
        if named and (reached >= ENOUGH * whole or share < WORTH_NAMING * whole):
            break
        named.append(name)
        reached += share
    return named


def _in_order(knowledge: Knowledge, baseline: Baseline, normal: float, sizes: Sizes | None) -> str:
    if sizes is not None and sizes.under_label is not None:
        stations = {one.station for one in sizes.readings}
        where = "every station alike" if len(stations) > 1 else Station(min(stations)).words
        promised = "its label" if baseline.origin == "rated" else "what its class promises"
        return (
            f"{in_percent(sizes.under_label)} under {promised} at {where}, nothing else is wrong "
            f"({percent(normal)}): this is what it makes."
        )
    off = _off(knowledge, baseline, sizes)
    if off:
        return f"Nothing is wrong ({percent(normal)}), though {off} of what was expected."
    said = f"Nothing is wrong ({percent(normal)}): this is what the system should give."
    today = min(knowledge.classes.values(), key=lambda one: one.age_from)
    sealed, working = (baseline.at(state, Station.UNIT) for state in AirState)
    weak = sealed < WEAKER * today.sealed or working < WEAKER * today.working
    if weak and baseline.system.altitude_ft < THIN_AIR_FT:
        said += (
            f" {_NEVER_MORE[baseline.origin]} {sealed:.0f} inH2O sealed and {working:.0f} working "
            f"at the unit; a present-day one gives {today.sealed:.0f} sealed, {today.working:.0f} "
            "working."
        )
    return said


def _off(knowledge: Knowledge, baseline: Baseline, sizes: Sizes | None) -> str:
    """The reading that is furthest from what was expected, where one is not as it should be."""
    judged = {}
    for one, expected in zip(sizes.readings, sizes.expected, strict=True) if sizes else ():
        share = one.inh2o / expected
        if judge(share, knowledge.levels, baseline.wide) != judge(
            1.0, knowledge.levels, baseline.wide
        ):
            at = inlet_words(one.inlet) if one.inlet else Station(one.station).words
            judged[abs(share - 1.0)] = f"{one.condition} at {at} is {in_percent(share)}"
    return judged[max(judged)] if judged else ""


def _size_sentences(sizes: Sizes) -> list[str]:
    if sizes.together:
        return []  # Sizes of two at once are too rough to be told.
    said = []
    leader = sizes.candidates[0]
    alike = [one for one in sizes.candidates if one.cause in (leader.cause, *leader.tied_with)]
    if len(alike) > 1:
        names = [f"{_name(one)} ({percent(one.chance)})" for one in alike]
        said.append(
            f"These readings cannot tell {names[0]} from {names[1]}."
            if len(names) == 2
            else f"These readings cannot tell apart {', '.join(names[:-1])} and {names[-1]}."
        )
    for one in sizes.candidates:
        size = _size(one)
        if not size:
            continue
        if one.chance >= ENOUGH:
            said.append(f"{capital_first(_name(one))}: {size}.")
        else:
            said.append(f"If {_name(one)} ({percent(one.chance)}): {size}.")
    return said


def _name(one: Candidate) -> str:
    where = _STRETCHES.get(one.stretch, "")
    if one.kind == "throat" and one.stretch == "unit":
        where = "in the unit or its exhaust"
    return {
        "leak": f"a leak {where}",
        "throat": f"an obstruction {where}",
        "speed": "a weak motor or too little voltage",
        "gauge": "a reading that is wrong",
        "label": "a label that promises too much",
        "none": "a system in order",
        "other": f"something {where} that the gauge does not see",
    }[one.kind]


def _size(one: Candidate) -> str:
    """The size of a loss in words; empty where it has none or it is none."""
    if one.size is None or one.low is None or one.high is None:
        return ""
    if one.kind == "leak":
        return f"like a {one.size:.2f} in hole ({one.low:.2f} to {one.high:.2f} in)"
    if one.kind == "throat" and one.unit == "in":
        return f"like a way squeezed to {one.size:.2f} in ({one.low:.2f} to {one.high:.2f} in)"
    if one.kind == "throat":
        part = one.unit.removeprefix("times ")
        span = f"({one.low:.0f} to {one.high:.0f})"
        return f"like {one.size:.0f} times the resistance of {part} {span}"
    if one.kind == "speed":
        return (
            f"like the motor at {in_percent(one.size)} of its full speed "
            f"({100 * one.low:.0f} to {100 * one.high:.0f} %)"
        )
    return ""


def _left_at_hose(sizes: Sizes) -> str:
    """Air power at the hose end, as read there or as a supposition."""
    end = sizes.openings[-1]
    power = (
        f"{end.airflow_cfm:.0f} cfm ({end.airflow_ls:.0f} L/s) and {end.air_watts:.0f} air watts, "
        f"{in_percent(sizes.share_at_hose)} of the most this unit can make, where "
        f"{in_percent(sizes.healthy_share_at_hose)} is healthy."
    )
    if not end.supposed:
        return f"At the hose end {power}"
    [guess] = [
        one
        for one in sizes.supposed
        if (one.condition, one.station) == (AirState.WORKING, Station.HOSE)
    ]
    return (
        f"Supposed, not read: at the hose end {guess.inh2o:.0f} inH2O working ({guess.low:.0f} to "
        f"{guess.high:.0f}), so about {power}"
    )
