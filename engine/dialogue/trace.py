"""What happened in a visit, as data: round by round, facts, rules that fired, belief, fix.

A round ends with a fix that was done. The words for it are in `explain` and on the command line,
the drawing in `charts`; both are views of this.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from stillflow.engine.base import Floats, Strength
from stillflow.engine.dialogue.progress import Asked
from stillflow.engine.dialogue.session import Session
from stillflow.engine.dialogue.verification import Repair
from stillflow.engine.inference import Firing, Situation
from stillflow.engine.ruleset import FactValue, Fault, Stop

FALLEN = 10.0
"""A fault that has become so many times less likely counts as ruled out."""


@dataclass(frozen=True)
class Contribution:
    """What one rule says about one fault.

    Attributes:
        rule_id: the rule.
        sign: +1 for, -1 against.
        strength: its word on the scale of evidence.
        fault_id: the fault.
    """

    rule_id: str
    sign: int
    strength: str
    fault_id: str


@dataclass(frozen=True)
class Round:
    """One stretch of a visit, up to a fix or to now.

    Attributes:
        number: 0 for the first.
        asked: the checks answered in it, in order.
        situation: what was known at its end.
        facts: plain facts at its end, findings not among them.
        firings: the rules that fire on them.
        probabilities: of every fault at its end, shape (F,).
        repair: the fix that ended it, None for the round still open.
        over: the visit ended in it, and not on what it makes likely: it was stopped, or a fix was
            verified.
    """

    number: int
    asked: tuple[Asked, ...]
    situation: Situation
    facts: Mapping[str, FactValue]
    firings: tuple[Firing, ...]
    probabilities: Floats
    repair: Repair | None
    over: bool = False


def rounds(session: Session) -> list[Round]:
    """The rounds of a visit so far; a last round in which nothing happened is left out."""
    progress = session.progress
    done = [repair for repair in progress.repairs if repair.done]
    ends = [(repair, repair.situation, repair.probabilities) for repair in done]
    handed_over = bool(progress.repairs) and not progress.repairs[-1].done
    over = session.next_step().ending is not None and not handed_over
    found = []
    for number, (repair, situation, probabilities) in enumerate(
        [*ends, (None, progress.situation, progress.probabilities)]
    ):
        asked = tuple(one for one in progress.asked if one.round == number)
        if repair is None and done and not asked:
            continue
        firings = session.conclude(situation).firings
        facts = session.facts(situation)
        found.append(
            Round(
                number,
                asked,
                situation,
                facts,
                firings,
                probabilities,
                repair,
                over=over and repair is None,
            )
        )
    return found


def telling_round(session: Session) -> Round:
    """The round that led to the last fix, or the one still open where nothing was fixed."""
    every = rounds(session)
    fixed = [one for one in every if one.repair is not None]
    return fixed[-1] if fixed else every[-1]


def contributions(session: Session, one: Round, fault: Fault | None = None) -> list[Contribution]:
    """What the rules that fired in a round say, about every fault or about one."""
    said = []
    for firing in one.firings:
        for item, fault_ids in session.knowledge.evidence[firing.rule_id]:
            for fault_id in sorted(fault_ids):
                if fault is None or fault.id == fault_id:
                    said.append(
                        Contribution(firing.rule_id, item.sign, item.strength.value, fault_id)
                    )
    return said


def ruled_out(session: Session, one: Round) -> dict[str, Contribution]:
    """Faults that a round made at least ten times less likely, and what speaks loudest against.

    By fault id, those that were likeliest before it first. Faults that lost only because others
    gained are not among them.
    """
    names = list(session.knowledge.faults)
    first = one.asked[0].before if one.asked else one.probabilities
    out = {}
    for index in sorted(range(len(names)), key=lambda i: (-first[i], names[i])):
        if first[index] <= 0.0 or one.probabilities[index] > first[index] / FALLEN:
            continue
        against = loudest_against(session, one, names[index])
        if against is not None:
            out[names[index]] = against
    return out


def loudest_against(session: Session, one: Round, fault_id: str) -> Contribution | None:
    """The strongest evidence against a fault in a round, ties by rule; None without any."""
    said = contributions(session, one, session.knowledge.faults[fault_id])
    against = [item for item in said if item.sign < 0]
    return min(against, key=loudness, default=None)


def stops(session: Session, one: Round) -> dict[str, Stop]:
    """What stops the visit in a round and hands it over, by the id of the rule that says so."""
    found = {firing.rule_id: session.knowledge.rules[firing.rule_id].stop for firing in one.firings}
    return {name: stop for name, stop in found.items() if stop is not None}


def loudness(item: Contribution) -> tuple[float, str]:
    """Sorts contributions, the strongest first, ties by rule."""
    return -Strength(item.strength).loudness, item.rule_id
