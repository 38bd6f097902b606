"""A round of a visit as the reasoning path that `charts` draws: facts, rules, findings, faults.

Chooses what is worth a place on the wall; the layout is the charts' business.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from stillflow.engine.base import capital_first
from stillflow.engine.charts import (
    RULED_OUT,
    PathDerived,
    PathFact,
    PathFault,
    PathLink,
    PathRule,
    ReasoningPath,
    TitleBlock,
)
from stillflow.engine.dialogue import (
    Asked,
    Round,
    Session,
    contributions,
    loudest_against,
    ruled_out,
    stops,
)
from stillflow.engine.dialogue import why_not as compare
from stillflow.engine.inference import NO_ANSWER, spot_of
from stillflow.engine.ruleset import FactValue, Knowledge, fact_words, observation, observation_of

LIKELY = 0.02
MOST_LIKELY = 5
MOST_RULED_OUT = 4
UNHELPFUL = 0.01
_NOTHING_AGAINST = "Nothing speaks against it, but other faults explain more."


def reasoning_path(
    session: Session, one: Round, also: Sequence[str] = (), why_not: str | None = None
) -> ReasoningPath:
    """The path of one round.

    Args:
        session: the visit.
        one: which round of it.
        also: faults that must be shown whatever their probability.
        why_not: a fault to show as ruled out, with all that speaks for and against it.
    """
    knowledge = session.knowledge
    shown, out = _faults(session, one, also)
    if why_not is not None:
        shown = [name for name in shown if name != why_not]
        out[why_not] = _against(session, one, why_not)
    said = [c for c in contributions(session, one) if c.fault_id in {*shown, *out}]
    # For what is ruled out only what speaks against it is of interest.
    said = [c for c in said if c.fault_id in {*shown, why_not} or c.sign < 0]
    speaking = {c.rule_id for c in said}
    by_rule = {firing.rule_id: firing for firing in one.firings}
    stopped = stops(session, one)
    needed = {*speaking, *stopped}
    for firing in reversed(one.firings):
        used = {name for rule in needed for name in by_rule[rule].facts}
        if used & set(firing.found):
            needed.add(firing.rule_id)
    # What was read at further inlets has no facts, so no rule rests on it.
    asked = {a.check_id: a for a in one.asked if not a.further}
    facts: dict[str, PathFact] = {
        f"check:{a.check_id}": _asked(session, a)
        for a in asked.values()
        if a.answer not in NO_ANSWER
    }
    # An answer that stops the visit need not tell faults apart to matter.
    decided = {
        link
        for rule in stopped
        for name in by_rule[rule].facts
        for link in _sources(session, name, asked)
    }
    facts = {
        name: fact.model_copy(update={"helpful": True}) if name in decided else fact
        for name, fact in facts.items()
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
                    facts[tail] = _standing(tail, name, value, knowledge)
                elif tail.startswith("finding:"):
                    found[tail] = _finding(name)
        links += [PathLink(tail=tail, head=head) for tail in tails]
        if firing.rule_id in stopped:
            said_so = stopped[firing.rule_id]
            end = f"stop:{firing.rule_id}"
            links.append(PathLink(tail=head, head=end))
            found[end] = PathDerived(id=end, title=f"Stop. {said_so.stop} Call: {said_so.call}")
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
    title, led = "How it was found", "what was found so far"
    if one.repair is not None:
        several = session.progress.round
        led = "what led to the fix"
        if several > 1:
            fix = f"fix {one.number + 1} of {several}"
            title += f", {fix}"
            led = f"what led to {fix}, mended then: {knowledge.faults[one.repair.fault_id].title}"
    if why_not is not None:
        title = f"Why not “{knowledge.faults[why_not].title}”"
    when = session.visit.opened
    return ReasoningPath(
        title=TitleBlock(
            title=f"{title}: {site}" if site else title,
            subtitle=session.visit.complaint,
            date=when.date() if when else None,
            rules_version=knowledge.digest,
            filters=(led,),
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


def _faults(session: Session, one: Round, also: Sequence[str]) -> tuple[list[str], dict[str, str]]:
    """The likely faults, and the once likely ones with what ruled them out."""
    if one.over:
        # Nothing was decided on what it makes likely.
        return list(also), {}
    knowledge = session.knowledge
    names = list(knowledge.faults)
    order = sorted(range(len(names)), key=lambda i: (-one.probabilities[i], names[i]))
    shown = [names[i] for i in order[:MOST_LIKELY] if one.probabilities[i] >= LIKELY]
    shown += [name for name in also if name not in shown]
    out = {
        name: knowledge.rules[item.rule_id].because
        for name, item in ruled_out(session, one).items()
        if name not in shown
    }
    return shown, dict(list(out.items())[:MOST_RULED_OUT])


def _against(session: Session, one: Round, name: str) -> str:
    """Why it is not this fault, in a sentence; empty where it lost only because others gained."""
    never = compare(session, one, name).never
    if never:
        return f"{capital_first(never)}."
    against = loudest_against(session, one, name)
    return session.knowledge.rules[against.rule_id].because if against else ""


def _fault(session: Session, one: Round, name: str, out: dict[str, str]) -> PathFault:
    share = float(np.clip(one.probabilities[session.knowledge.fault_index[name]], 0, 1))
    reason = out.get(name, "")
    gone = share < RULED_OUT and reason
    return PathFault(
        id=f"fault:{name}",
        title=session.knowledge.faults[name].title,
        probability=share,
        ruled_out_by=reason if gone else "",
        against="" if gone or name not in out else reason or _NOTHING_AGAINST,
    )


def _asked(session: Session, asked: Asked) -> PathFact:
    check = session.knowledge.checks[asked.check_id]
    helpful = not asked.doubted_by and asked.moved >= UNHELPFUL
    name = f"check:{check.id}"
    if check.kind == "choice":
        label = check.labels(str(asked.answer))
        return PathFact(
            id=name, title=check.ask, found=label, asked=asked.number or None, helpful=helpful
        )
    state, station = spot_of(check)
    expected = session.baseline.at(state, station)
    value = float(asked.answer)
    return PathFact(
        id=name,
        title=f"{str(state).capitalize()} suction at {session.progress.inlets.words(station)}",
        found=f"{value:.0f} inH2O",
        asked=asked.number or None,
        share=value / expected,
        expected=f"{expected:.0f} inH2O",
        helpful=helpful,
    )


def _sources(session: Session, name: str, asked: dict[str, Asked]) -> Iterable[str]:
    """The parts of the path that a fact comes from."""
    if name.startswith("finding."):
        return [f"finding:{name}"]
    behind = observation(name)
    checks = [
        check.id
        for check in session.knowledge.checks.values()
        if check.id in asked and observation_of(check) in behind
    ]
    return [f"check:{check_id}" for check_id in checks] or [f"fact:{name}"]


def _standing(tail: str, name: str, value: FactValue, knowledge: Knowledge) -> PathFact:
    words = fact_words(name, value, knowledge)
    return PathFact(id=tail, title=capital_first(words))


def _finding(name: str) -> PathDerived:
    title = name.removeprefix("finding.").replace("-", " ").capitalize()
    return PathDerived(id=f"finding:{name}", title=title)
