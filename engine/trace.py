"""What happened in a visit, as data: round by round, facts, rules that fired, belief, fix.

A round ends with a fix that was done. The words for it are in `explain` and on the command line,
the drawing in `charts`; both are views of this.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from stillflow.engine.airflow.estimate import Estimate
from stillflow.engine.conditions import FactValue
from stillflow.engine.inference import Firing
from stillflow.engine.knowledge import Fault
from stillflow.engine.progress import Asked, Repair
from stillflow.engine.session import Session
from stillflow.engine.table import Floats


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
        facts: plain facts at its end, findings not among them.
        firings: the rules that fire on them.
        probabilities: of every fault at its end, shape (F,).
        sizes: how big a leak or a squeeze would explain its readings, None without readings.
        repair: the fix that ended it, None for the round still open.
    """

    number: int
    asked: tuple[Asked, ...]
    facts: Mapping[str, FactValue]
    firings: tuple[Firing, ...]
    probabilities: Floats
    sizes: Estimate | None
    repair: Repair | None


def rounds(session: Session) -> list[Round]:
    """The rounds of a visit so far; a last round in which nothing happened is left out."""
    progress = session.progress
    done = [repair for repair in progress.repairs if repair.done]
    ends = [(repair, repair.situation, repair.probabilities) for repair in done]
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
            Round(number, asked, facts, firings, probabilities, session.sizes(situation), repair)
        )
    return found


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
