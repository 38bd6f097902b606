"""Many worked cases and recorded visits run through a rule set: what it makes of them now.

How one case is played is in `cases`. What is printed of the rows, and how, is for others to say.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from stillflow.casebook.cases import Case, play
from stillflow.engine.base import InputError
from stillflow.engine.dialogue import Session
from stillflow.engine.inference import NO_ANSWER, Event, Visit
from stillflow.engine.ruleset import Footing, Knowledge, checking, fixing, putting_back


@dataclass(frozen=True)
class Row:
    """One case or visit.

    Attributes:
        kind: which of the two.
        name: the case's name, or the visit's id.
        expected: what a good technician comes to, or what the visit came to: faults in order, or
            `stop`; empty for a visit that came to nothing yet.
        reached: what the rules come to now; empty where they cannot say.
        agrees: whether the two are the same (for a case, whether it also ended as it should);
            None where there is nothing to compare.
        checks: checks asked (case) or answered (visit).
        minutes: of all checks and fixes, with what had to be opened for them.
        notes: what differs or could not be replayed, a sentence each.
    """

    kind: Literal["case", "visit"]
    name: str
    expected: str
    reached: str
    agrees: bool | None
    checks: int
    minutes: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Report:
    """The rows of a replay, in the order given."""

    rows: tuple[Row, ...]

    @property
    def compared(self) -> int:
        """How many rows had something to compare."""
        return sum(row.agrees is not None for row in self.rows)

    @property
    def agreeing(self) -> int:
        """How many rows agree."""
        return sum(row.agrees is True for row in self.rows)


def replay(items: Iterable[Case | Visit], knowledge: Knowledge) -> Report:
    """Run cases and recorded visits through a rule set.

    A case is played from its beginning. A visit is taken up to just before its last fix, and
    the rules say which fault they hold likeliest there; a visit that was stopped is taken whole.

    Raises:
        InputError: a case names what the rules do not have. (A visit that does gets a note.)
    """
    rows = (
        _case_row(item, knowledge) if isinstance(item, Case) else _visit_row(item, knowledge)
        for item in items
    )
    return Report(tuple(rows))


def minutes_of(events: Iterable[Event], knowledge: Knowledge) -> float:
    """Minutes that events take: checks and fixes, with walks, opening and putting back.

    Raises:
        KeyError: a check or fault the rules do not have.
    """
    total, footing = 0.0, Footing()
    for event in events:
        if event.check is not None and event.answer not in NO_ANSWER:
            check = knowledge.checks[event.check]
            outlay = checking(knowledge, footing, check, event.inlet or "")
        elif event.fix is not None and (event.done is not False or event.found is False):
            outlay = fixing(knowledge, footing, knowledge.faults[event.fix])
        else:
            continue
        total, footing = total + outlay.minutes, outlay.after
    return total + putting_back(knowledge, footing).minutes


def _case_row(case: Case, knowledge: Knowledge) -> Row:
    played = play(case, knowledge)
    return Row(
        kind="case",
        name=case.name,
        expected=_outcome(case.expect.fixes, case.expect.ends),
        reached=_outcome(played.fixes, played.ends),
        agrees=not played.problems,
        checks=played.checks,
        minutes=minutes_of(played.visit.events, knowledge),
        notes=(*played.problems, *played.remarks),
    )


def _visit_row(visit: Visit, knowledge: Knowledge) -> Row:
    visit = visit.model_copy(update={"events": visit.believed})
    last_fix = max((i for i, event in enumerate(visit.events) if event.fix), default=None)
    stopped = visit.conclusion is not None and visit.conclusion.step == "stop"
    expected = "stop" if stopped else ""
    if last_fix is not None and not stopped:
        expected = visit.events[last_fix].fix or ""
    before = visit.events if stopped or last_fix is None else visit.events[:last_fix]
    reached, minutes = "", 0.0
    notes: tuple[str, ...] = ()
    try:
        session = Session(knowledge, visit.model_copy(update={"events": before}))
        step = session.next_step()
        reached = step.step if step.step == "stop" else step.faults[0].id
        minutes = minutes_of(visit.events, knowledge)
    except InputError as problem:
        notes = (str(problem),)
    return Row(
        kind="visit",
        name=visit.id,
        expected=expected,
        reached=reached,
        agrees=reached == expected if expected and reached else None,
        checks=sum(event.check is not None for event in visit.events),
        minutes=minutes,
        notes=notes,
    )


def _outcome(fixes: tuple[str, ...], ends: str) -> str:
    return ", ".join(fixes) or ends
