"""Why not this fault: what spoke against it and for it on a visit, and what explains more.

Data only; the words are on the command line, the drawing is made in `views`.
"""

from __future__ import annotations

from dataclasses import dataclass

from stillflow.engine.base import Mode
from stillflow.engine.dialogue.progress import Asked
from stillflow.engine.dialogue.session import Session
from stillflow.engine.dialogue.trace import Contribution, Round, contributions, loudness
from stillflow.engine.inference import NO_ANSWER, possible
from stillflow.engine.ruleset import Fault, condition_words

MOST_FALLS = 3
_A_FALL = 0.9


@dataclass(frozen=True)
class Fall:
    """An answer that made the fault less likely: before and after it, 0 to 1."""

    asked: Asked
    before: float
    after: float


@dataclass(frozen=True)
class WhyNot:
    """One fault beside the one that leads.

    Attributes:
        fault: the fault asked about.
        probability: its probability at the end of the round, `first` at its beginning.
        leader: the likeliest fault; the same one where it is the fault asked about.
        leading: the leader's probability.
        never: why it cannot be at all, empty if it can.
        against: what speaks against it, the strongest first.
        speaks_for: what speaks for it, the strongest first.
        falls: the answers that cost it most, the dearest first.
    """

    fault: Fault
    probability: float
    first: float
    leader: Fault
    leading: float
    never: str
    against: tuple[Contribution, ...]
    speaks_for: tuple[Contribution, ...]
    falls: tuple[Fall, ...]

    @property
    def leads(self) -> bool:
        """The fault asked about is the likeliest one."""
        return self.fault.id == self.leader.id


def why_not(session: Session, one: Round, fault_id: str) -> WhyNot:
    """Why a fault was not what a round came to.

    Args:
        session: the visit.
        one: which round of it.
        fault_id: a fault of the rule set.
    """
    knowledge = session.knowledge
    fault = knowledge.faults[fault_id]
    column = knowledge.fault_index[fault_id]
    faults = list(knowledge.faults.values())
    lead = min(range(len(faults)), key=lambda i: (-one.probabilities[i], faults[i].id))
    said = sorted(contributions(session, one, fault), key=loudness)
    falls = [
        Fall(asked, float(asked.before[column]), float(asked.after[column]))
        for asked in one.asked
        if asked.answer not in NO_ANSWER and asked.after[column] < _A_FALL * asked.before[column]
    ]
    falls.sort(key=lambda fall: (fall.after / fall.before, fall.asked.number))
    first = one.asked[0].before if one.asked else one.probabilities
    return WhyNot(
        fault=fault,
        probability=float(one.probabilities[column]),
        first=float(first[column]),
        leader=faults[lead],
        leading=float(one.probabilities[lead]),
        never=_never(session, one, fault),
        against=tuple(item for item in said if item.sign < 0),
        speaks_for=tuple(item for item in said if item.sign > 0),
        falls=tuple(falls[:MOST_FALLS]),
    )


def _never(session: Session, one: Round, fault: Fault) -> str:
    condition = fault.possible_when
    if condition is not None and not possible(condition, one.situation.standing):
        return f"it can only be where {condition_words(condition, session.knowledge)}"
    for repair in session.progress.repairs:
        if one.repair is None or repair.number < one.repair.number:
            if repair.fault_id == fault.id and not repair.found:
                return "it was looked for and was not there"
            if repair.fault_id == fault.id and repair.done and fault.mode is not Mode.NORMAL:
                return "it was dealt with before, and the suction did not come back"
    return ""
