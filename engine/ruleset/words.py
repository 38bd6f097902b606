"""Conditions, effects and sources of the rules as a technician would say them.

Fact names become words with the help of the rule set: the question a check asks, the label of an
answer, the title of a level. Only words; what a rule or a fault is made of is in `cards`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import get_args

from stillflow.engine.airflow import Effect
from stillflow.engine.base import Station
from stillflow.engine.ruleset.conditions import Condition, FactValue, Leaf, say
from stillflow.engine.ruleset.entries import Source
from stillflow.engine.ruleset.gathering import Replaced
from stillflow.engine.ruleset.knowledge import Knowledge

_SUBJECTS = {
    "unit.age_years": "the unit's age in years",
    "unit.motors": "the unit's number of motors",
    "unit.filter": "the unit's filter",
    "site.altitude_ft": "the altitude in feet",
    "visit.purpose": "the purpose of the visit",
    "visit.fixes": "the number of fixes done so far",
    "visit.mended": "the number of fixes after which a reading rose",
    "visit.doubts": "the number of times readings were set aside",
    "baseline.from": "what the expected readings rest on",
}

_COMPARED = {
    "is_": "{}",
    "is_not": "anything but {}",
    "one_of": "{}",
    "none_of": "anything but {}",
    "below": "less than {}",
    "at_most": "at most {}",
    "above": "more than {}",
    "at_least": "at least {}",
}


def condition_words(condition: Condition, knowledge: Knowledge) -> str:
    """A condition as a clause: "sealed suction at the inlet is low or very low"."""
    return say(condition, lambda leaf: _leaf_words(leaf, knowledge))


def fact_words(name: str, value: FactValue, knowledge: Knowledge) -> str:
    """A known fact as a clause: "sealed suction at the inlet is low"."""
    rounded = value if isinstance(value, bool | str) else float(f"{value:.3g}")
    return _leaf_words(Leaf(fact=name, is_=rounded), knowledge)


def _leaf_words(leaf: Leaf, knowledge: Knowledge) -> str:
    kind, _, rest = leaf.fact.partition(".")
    if kind == "answer":
        check = knowledge.checks[rest]
        labels = {answer.id: f'"{answer.label}"' for answer in check.answers}
        return f'the answer to "{check.ask}" is {_values(leaf, labels)}'
    if kind == "has":
        part = rest.replace("-", " ")
        there = f"there are {part}" if part.endswith("es") else f"there is {_article(part)} {part}"
        return there if leaf.holds(True) else f"not ({there})"
    if kind in ("finding", "tried"):
        name = rest.replace("-", " ")
        done = f"it was found: {name}"
        if kind == "tried":
            done = f"this was dealt with: {knowledge.faults[rest].title}"
        return done if leaf.holds(True) else f"not ({done})"
    if kind in ("level", "share", "reading"):
        subject = f"{_suction(rest)} is"
        if kind == "level":
            return f"{subject} {_values(leaf, {one.id: one.title for one in knowledge.levels})}"
        if kind == "share":
            return f"{subject} {_values(leaf, unit=' %', times=100)} of what it should be"
        return f"{subject} {_values(leaf, unit=' inH2O')}"
    if kind in ("kept", "drop"):
        state, _, pair = rest.partition(".")
        near, far = (Station(name).words for name in pair.split("-"))
        if kind == "kept":
            share = _values(leaf, unit=" %", times=100)
            return f"{state}, {far} keeps {share} of what {near} has (as shares of expected)"
        lost = _values(leaf, unit=" inH2O")
        return f"from {near} to {far} {state} suction falls by {lost}"
    if kind == "margin":
        at = Station(rest).words
        return f"sealed less working suction at {at} is {_values(leaf, unit=' inH2O')}"
    subject = _SUBJECTS.get(leaf.fact) or knowledge.facts[leaf.fact].meaning or leaf.fact
    return f"{subject} is {_values(leaf)}"


def _suction(spot: str) -> str:
    state, _, station = spot.partition(".")
    return f"{state} suction at {Station(station).words}"


def _values(
    leaf: Leaf, labels: Mapping[str, str] | None = None, unit: str = "", times: float = 1.0
) -> str:
    def one(value: FactValue) -> str:
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, int | float):
            return f"{value * times:,g}{unit}"
        return (labels or {}).get(value, value)

    said = []
    for name, value in leaf.comparisons().items():
        *most, last = (one(item) for item in (value if isinstance(value, tuple) else (value,)))
        listed = f"{', '.join(most)} or {last}" if most else last
        said.append(_COMPARED[name].format(listed))
    return " and ".join(said)


def effect_words(effect: Effect) -> str:
    """What a fault does to the air, with its range of sizes."""
    spans = (f"{low:g} to {high:g}" for low, high in effect.ranges())
    return effect.SAYS.format(*spans, at=getattr(effect, "at", ""))


def source_words(source: Source) -> str:
    """A source as a reference: title, number, year and clause, as far as it has them."""
    details = [source.number, str(source.year or ""), source.clause]
    named = ", ".join(part for part in details if part)
    return f"{source.title} ({named})" if named else source.title


def replaced_words(one: Replaced) -> str:
    """What became of an entry of an earlier folder, and where that stands."""
    entry = f"'{one.id}' of {one.section}, from {one.over.file}:{one.over.line}"
    if one.how == "replaced":
        return f"takes the place of {entry}"
    if one.how == "changed":
        return f"changes {entry}: {'; '.join(one.what) or 'nothing'}"
    if one.how == "retired":
        return f"retires {entry}"
    return f"with it goes {entry}, which has nothing else to say"


def _article(word: str) -> str:
    return "an" if word[0] in "aeio" else "a"


def effects_there_are(knowledge: Knowledge) -> list[tuple[str, str]]:
    """Each kind of effect as a fault of the rules has it, as it is typed and in words."""
    found: dict[str, tuple[str, str]] = {}
    for fault in knowledge.faults.values():
        effect = fault.effect
        typed = ", ".join(
            f"{key}: {list(one) if isinstance(one, tuple) else one}" for key, one in effect
        )
        places = (
            get_args(type(effect).model_fields["at"].annotation) if hasattr(effect, "at") else ()
        )
        said = effect_words(effect) + (f" (at: {', '.join(places)})" if places else "")
        found.setdefault(effect.kind, (typed, said))
    return list(found.values())
