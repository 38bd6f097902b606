"""Every fact a rule may name, and what values it can take.

Rules are checked against this list when they load, so that a misspelt fact is an error and not a
rule that silently never fires. The values themselves are computed in `facts`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from stillflow.engine.base.scales import AirState, Station

NUMBER, WORD, FLAG = "number", "word", "flag"

KEPT_PAIRS = (
    (Station.UNIT, Station.UTILITY),
    (Station.UNIT, Station.INLET),
    (Station.UTILITY, Station.INLET),
    (Station.OTHER, Station.INLET),
    (Station.INLET, Station.HOSE),
)
"""Pairs of stations whose readings are compared, nearer the fan first."""

GAUGED = ("reading", "share", "level", "kept", "drop", "margin")
"""First words of the facts that readings alone make true, and the airflow model can weigh."""

FILTERS = ("bag", "cartridge", "cloth", "foam", "hybrid-cloth", "hybrid-cartridge", "none")
PURPOSES = ("call", "measuring")
BASELINES = ("last-visit", "rated", "class")


@dataclass(frozen=True)
class FactKind:
    """What a fact can be: a number, a word of a closed list, or a flag (true or false)."""

    kind: str
    words: tuple[str, ...] = ()
    meaning: str = ""


def base_facts(levels: Iterable[str]) -> dict[str, FactKind]:
    """The facts that exist whatever checks and rules are loaded.

    Args:
        levels: the ids of the levels a reading is judged by.
    """
    level_words = tuple(levels)
    facts = {
        "baseline.from": FactKind(WORD, BASELINES, "where the expected readings come from"),
        "expected.working.hose": FactKind(
            NUMBER, (), "working suction this system should have at the hose end, inH2O"
        ),
        "baseline.tolerance": FactKind(NUMBER, (), "share, one-sided, of the expected reading"),
        "unit.age_years": FactKind(NUMBER, (), "years since the unit was made"),
        "unit.motors": FactKind(NUMBER, (), "how many motors the unit has"),
        "unit.filter": FactKind(WORD, FILTERS, "what keeps dust from the motor"),
        "site.altitude_ft": FactKind(NUMBER, (), "feet above sea level"),
        "visit.purpose": FactKind(WORD, PURPOSES, "a call on a complaint, or just measuring"),
        "visit.fixes": FactKind(NUMBER, (), "fixes done so far on this visit"),
        "visit.mended": FactKind(NUMBER, (), "fixes so far after which a reading rose"),
        "visit.doubts": FactKind(NUMBER, (), "times readings were set aside as impossible"),
    }
    for state in AirState:
        for station in Station:
            at = f"{state}.{station}"
            facts[f"reading.{at}"] = FactKind(NUMBER, (), f"{state} at {station}, inH2O")
            facts[f"share.{at}"] = FactKind(NUMBER, (), f"{state} at {station} / expected")
            facts[f"level.{at}"] = FactKind(WORD, level_words, f"band of share.{at}")
        for near, far in KEPT_PAIRS:
            facts[f"kept.{state}.{near}-{far}"] = FactKind(
                NUMBER, (), f"share.{state}.{far} / share.{state}.{near}"
            )
            facts[f"drop.{state}.{near}-{far}"] = FactKind(
                NUMBER, (), f"{state} at {near} less {state} at {far}, inH2O"
            )
    for station in Station:
        facts[f"margin.{station}"] = FactKind(
            NUMBER, (), f"sealed less working at {station}, inH2O; below zero is impossible"
        )
    return facts


def course_facts() -> dict[str, FactKind]:
    """The facts of a moment of a visit, which its course may name besides all others.

    A flag is known where it is true, and else not at all.
    """
    flags = {
        "now.stop": "a rule that fires stops the visit",
        "now.starts": "what comes next has the unit run",
        "now.first": "a question that comes before anything else is open",
        "now.unmeasured": "no reading has been taken yet",
        "now.again": "readings were set aside, and wait to be taken again",
        "now.left-undone": "some fix was left undone",
        "now.put-off": "some question was put off",
        "now.unconfirmed": "something must be known before the fix that is planned",
        "fix.for-others": "the last fix is not the technician's work",
        "fix.nothing-wrong": "the last fix was to find that nothing is wrong",
        "fix.content": "after it the customer's own tool pulls as it should",
        "fix.two": "no single fault explained what was read before it, two together did",
        "fix.seen": "its fault would show at a place that was read before it and after",
        "fix.unproved": "the last fix was done, and something is to be measured or asked after it",
    }
    words = {
        "fix.came-to": (("done", "left", "not-there"), "what became of the last fix"),
        "fix.proved": (("good", "short", "unknown"), "what was measured and asked after it"),
        "plan.act": (("check", "fix", "none"), "what saves most now; none: no fault is left"),
    }
    numbers = {
        "fix.unmoved": "fixes in a row, the last among them, that changed nothing",
        "fix.share": "least share of expected that was read after it",
        "fix.rise": "most that a reading rose by since before it, as a share of what it was",
        "now.half-read": "share of expected of the one reading taken where the gauge still is",
        "now.unsure": "times that a question which comes first was asked and not answered",
        "now.lead": "probability of the likeliest fault",
        "now.minutes": "minutes of the visit so far, as the rules count them",
    }
    return {
        **{name: FactKind(FLAG, (), meaning) for name, meaning in flags.items()},
        **{name: FactKind(WORD, listed, meaning) for name, (listed, meaning) in words.items()},
        **{name: FactKind(NUMBER, (), meaning) for name, meaning in numbers.items()},
    }


def tried_fact(fault_id: str) -> str:
    """The flag that is true once the fix for a fault was done on this visit."""
    return f"tried.{fault_id}"


def part_fact(part: str) -> str:
    """The flag that is false where a house or unit was seen to lack a part."""
    return f"has.{part}"


def answer_fact(check_id: str) -> str:
    """The word a choice check was answered with."""
    return f"answer.{check_id}"


def fits(kind: FactKind, value: object) -> bool:
    """Whether a plain value could be a value of this kind of fact."""
    if isinstance(value, bool):
        return kind.kind == FLAG
    if isinstance(value, int | float):
        return kind.kind == NUMBER
    return kind.kind == WORD and (not kind.words or value in kind.words)


def merge(*groups: Mapping[str, FactKind]) -> dict[str, FactKind]:
    """One vocabulary out of several; later groups win."""
    merged: dict[str, FactKind] = {}
    for group in groups:
        merged.update(group)
    return merged
