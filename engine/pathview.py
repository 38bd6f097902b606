"""A round of a visit as the reasoning path that `charts` draws: facts, rules, findings, faults.

Chooses what is worth a place on the wall; the layout is the charts' business.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from stillflow.engine.belief import spot_of
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.reasoning import (
    PathDerived,
    PathFact,
    PathFault,
    PathLink,
    PathRule,
    ReasoningPath,
)
from stillflow.engine.conditions import FactValue
from stillflow.engine.knowledge import Check
from stillflow.engine.progress import Asked
from stillflow.engine.session import Session
from stillflow.engine.trace import Round, contributions
from stillflow.engine.visit import NO_ANSWER

LIKELY = 0.02
MOST_LIKELY = 5
MOST_RULED_OUT = 4
UNHELPFUL = 0.01


def reasoning_path(session: Session, one: Round, focus: str | None = None) -> ReasoningPath:
    """The path of one round.

    Args:
        session: the visit.
        one: which round of it.
        focus: a fault that must be shown whatever its probability.
    """
    knowledge = session.knowledge
    shown, out = _faults(session, one, focus)
    said = [c for c in contributions(session, one) if c.fault_id in {*shown, *out}]
    # For what is ruled out only what speaks against it is of interest.
    said = [c for c in said if c.fault_id in shown or c.sign < 0]
    speaking = {c.rule_id for c in said}
    by_rule = {firing.rule_id: firing for firing in one.firings}
    needed = set(speaking)
    for firing in reversed(one.firings):
        used = {name for rule in needed for name in by_rule[rule].facts}
        if used & set(firing.found):
            needed.add(firing.rule_id)
    asked = {a.check_id: a for a in one.asked}
    facts: dict[str, PathFact] = {
        f"check:{a.check_id}": _asked(session, a) for a in one.asked if a.answer not in NO_ANSWER
    }
    links: list[PathLink] = []
    found: dict[str, PathDerived] = {}
    for firing in one.firings:
        if firing.rule_id not in needed:
            continue
        head = f"rule:{firing.rule_id}"
        tails: dict[str, None] = {}
        for name, value in firing.facts.items():
            for tail in _sources(session, name, asked):
                tails[tail] = None
                if tail.startswith("fact:"):
                    facts[tail] = _standing(tail, name, value)
                elif tail.startswith("finding:"):
                    found[tail] = _finding(name)
        links += [PathLink(tail=tail, head=head) for tail in tails]
        for name in firing.found:
            links.append(PathLink(tail=head, head=f"finding:{name}"))
            found[f"finding:{name}"] = _finding(name)
    for item in said:
        links.append(
            PathLink.model_validate(
                {
                    "tail": f"rule:{item.rule_id}",
                    "head": f"fault:{item.fault_id}",
                    "direction": "for" if item.sign > 0 else "against",
                    "strength": item.strength,
                }
            )
        )
    site = session.visit.site.name
    when = session.visit.opened
    return ReasoningPath(
        title=TitleBlock(
            title=f"How it was found: {site}" if site else "How it was found",
            subtitle=session.visit.complaint,
            date=when.date() if when else None,
            rules_version=knowledge.digest,
        ),
        facts=tuple(facts.values()),
        rules=tuple(
            PathRule(
                id=f"rule:{firing.rule_id}",
                because=knowledge.rules[firing.rule_id].because,
                source=knowledge.sources[knowledge.rules[firing.rule_id].source].title,
            )
            for firing in one.firings
            if firing.rule_id in needed
        ),
        derived=tuple(found.values()),
        faults=tuple(_fault(session, one, name, out) for name in [*shown, *out]),
        links=tuple(links),
    )


def _faults(session: Session, one: Round, focus: str | None) -> tuple[list[str], dict[str, str]]:
    """The likely faults, and the once likely ones with what ruled them out."""
    knowledge = session.knowledge
    names = list(knowledge.faults)
    order = sorted(range(len(names)), key=lambda i: (-one.probabilities[i], names[i]))
    shown = [names[i] for i in order[:MOST_LIKELY] if one.probabilities[i] >= LIKELY]
    if focus is not None and focus not in shown:
        shown.append(focus)
    first = one.asked[0].before if one.asked else one.probabilities
    fallen = sorted(range(len(names)), key=lambda i: (-first[i], names[i]))
    out: dict[str, str] = {}
    for index in fallen:
        name = names[index]
        if name in shown or one.probabilities[index] > first[index] / 10:
            continue
        against = [c for c in contributions(session, one, knowledge.faults[name]) if c.sign < 0]
        if against:
            out[name] = knowledge.rules[against[0].rule_id].because
        if len(out) == MOST_RULED_OUT:
            break
    return shown, out


def _fault(session: Session, one: Round, name: str, out: dict[str, str]) -> PathFault:
    index = session.knowledge.fault_index[name]
    return PathFault(
        id=f"fault:{name}",
        title=session.knowledge.faults[name].title,
        probability=float(np.clip(one.probabilities[index], 0, 1)),
        ruled_out_by=out.get(name, ""),
    )


def _asked(session: Session, asked: Asked) -> PathFact:
    check = session.knowledge.checks[asked.check_id]
    helpful = not asked.doubted_by and asked.moved >= UNHELPFUL
    name = f"check:{check.id}"
    if check.kind == "choice":
        label = next(one.label for one in check.answers if one.id == asked.answer)
        return PathFact(id=name, title=check.ask, found=label, asked=asked.number, helpful=helpful)
    state, station = spot_of(check)
    expected = session.baseline.at(state, station)
    value = float(asked.answer)
    return PathFact(
        id=name,
        title=f"{state} suction at {station.words}".capitalize(),
        found=f"{value:.0f} inH2O",
        asked=asked.number,
        share=value / expected,
        expected=f"{expected:.0f} inH2O",
        helpful=helpful,
    )


def _sources(session: Session, name: str, asked: dict[str, Asked]) -> Iterable[str]:
    """The parts of the path that a fact comes from."""
    kind, _, rest = name.partition(".")
    if kind == "finding":
        return [f"finding:{name}"]
    if kind == "answer" and rest in asked:
        return [f"check:{rest}"]
    checks = [
        check.id
        for check in session.knowledge.checks.values()
        if check.kind == "reading" and check.id in asked and _bears_on(check, kind, rest)
    ]
    return [f"check:{check_id}" for check_id in checks] or [f"fact:{name}"]


def _bears_on(check: Check, kind: str, rest: str) -> bool:
    state, station = spot_of(check)
    if kind == "margin":
        return rest == station
    if kind in ("reading", "share", "level"):
        return rest == f"{state}.{station}"
    if kind in ("kept", "drop"):
        pair_state, _, pair = rest.partition(".")
        return pair_state == state and station in pair.split("-")
    return False


def _standing(tail: str, name: str, value: FactValue) -> PathFact:
    said = {True: "yes", False: "no"}.get(value) if isinstance(value, bool) else None
    number = f"{value:g}" if isinstance(value, float) else str(value)
    return PathFact(id=tail, title=name.replace(".", " ").replace("_", " "), found=said or number)


def _finding(name: str) -> PathDerived:
    title = name.removeprefix("finding.").replace("-", " ").capitalize()
    return PathDerived(id=f"finding:{name}", title=title)
