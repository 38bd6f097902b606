"""What it changes when house, unit or tools turn out to be other than was thought."""

from __future__ import annotations

from stillflow.engine.base import AirState, Station
from stillflow.engine.dialogue.intake import known_words
from stillflow.engine.dialogue.session import Session
from stillflow.engine.inference import unused_words


def taken_words(session: Session) -> list[str]:
    """What was taken from the complaint: the words, the question, the answer."""
    checks = session.knowledge.checks
    return [
        f'"{one.words}": {checks[name].ask} {checks[name].labels(one.answer)}.'
        for name, one in session.progress.heard.items()
    ]


def change_words(before: Session, after: Session) -> str:
    """What was taken in, and what this system should read now where that has changed.

    Args:
        before: the visit as it was.
        after: the same visit with the change, its answers replayed.
    """
    known = dict(known_words(before.knowledge, before.visit))
    said = [
        f"{label} {value}"
        for label, value in known_words(after.knowledge, after.visit)
        if value != known[label]
    ]
    gone = [name for name in before.progress.heard if name in after.visit.not_taken]
    if gone:
        asks = " ".join(after.knowledge.checks[name].ask for name in gone)
        return f"Not taken any more, but asked where it tells something: {asks}"
    if not said:
        return "That is known already."
    expected = []
    for state in AirState:
        was, now = (one.baseline.at(state, Station.UNIT) for one in (before, after))
        if round(was) != round(now):
            expected.append(f"{state} {now:.0f} inH2O ({was:.0f} before)")
    unused = unused_words(after.visit)
    words = f"Taken in: {', '.join(said)}."
    if expected:
        words += f" At the unit it should now read {' and '.join(expected)}."
    if unused and unused != unused_words(before.visit):
        words += f" {unused}"
    return words
