"""What is said round a step on a terminal and a phone alike: why, and what comes after."""

from __future__ import annotations

from collections.abc import Sequence

from stillflow.engine.base import minutes, small_first
from stillflow.engine.dialogue.session import Session
from stillflow.engine.dialogue.steps import CheckStep, NextStep
from stillflow.engine.ruleset import Knowledge


def why_words(step: NextStep) -> str:
    """Why this step now, in one sentence."""
    choice = step.choice
    if choice is None or step.ending is not None:
        return step.contradiction or step.why_now
    expected = minutes(choice.expected)
    if step.fix is not None:
        return f"No check is worth its minutes any more; from here about {expected} to the end."
    if choice.saved < 0.5:
        return f"Nothing else brings more for its minutes; from here about {expected} to the end."
    return (
        f"It saves most: with it about {expected} to the end, by trying fixes alone about "
        f"{minutes(choice.fixing_only)}."
    )


def read_with(session: Session) -> CheckStep | None:
    """The other reading at the station of a reading that is next, where the plan takes both.

    Likely, not promised: what the first reading shows may change the plan, and what comes then is
    `next_step`'s to say. The planner counts no second way and no second set-up for it.
    """
    first = session.next_step().check
    if first is None or first.station is None:
        return None
    then = session.foreseen()
    second = None if then is None or then.put_back or then.contradiction else then.check
    if second is None or (second.station, second.inlet) != (first.station, first.inlet):
        return None
    return second if second.condition is not first.condition else None


def ahead_words(session: Session) -> str:
    """The plan in a line: what comes after on the likeliest answer, and how long to the end."""
    step, then = session.next_step(), session.foreseen()
    if then is None:
        return ""
    if then.check is not None:
        station = then.check.station
        what = small_first(then.check.ask)
        if station is not None:
            what = f"measure {then.check.condition} at {station.words}"
    elif then.fix is not None:
        what = f"fix: {then.fix.title}"
    else:
        what = "the end"
    choice = step.choice or then.choice
    # Before anything is read it comes out too low: one cheap question stands for what follows it.
    about = "About" if session.progress.situation.readings else "At least"
    expected = choice.expected if choice is not None else None
    if step.fix is not None and then.ending is not None:
        expected = step.fix.minutes  # The mean is of calls in which it was not this.
    left = f" {about} {minutes(expected)} to the end." if expected is not None else ""
    return f"After that, most likely: {what.rstrip('?.')}.{left}{climb_words(session)}"


CLIMB = 5.0
"""Minutes by which a visit may become longer than it looked without a word."""


def climb_words(session: Session) -> str:
    """Why the minutes to the end are more than was foreseen, where they are clearly more."""
    if session.next_step().choice is None or session.climbed < CLIMB:
        return ""
    more = minutes(session.climbed)
    return f" That is {more} more than it looked: the last answer settled less than was planned on."


def reminder_words(knowledge: Knowledge, cautions: Sequence[str]) -> str:
    """Cautions that were shown before, a short sentence each; empty where there are none."""
    again = {one.text: one.again or one.text for one in knowledge.cautions.values()}
    return " ".join(again.get(text, text) for text in cautions)
