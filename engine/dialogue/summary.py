"""What a visit comes down to on one page: measured before, done, measured now."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from stillflow.engine.base import Model
from stillflow.engine.dialogue.intake import unit_words
from stillflow.engine.dialogue.measured import Measured, answered_in, measured_by_round
from stillflow.engine.dialogue.places import done_words, titled
from stillflow.engine.dialogue.session import Session
from stillflow.engine.ruleset import put_back_steps, putting_back


class Mended(Model):
    """A fault that was put right: what it is called, and what was done, with the inlet's name."""

    fault: str
    done: str


class Summary(Model):
    """The page: readings before any fix, between fixes and after the last; how it ended.

    `facts` are whose house, where, which unit and when, each with its label; `looked` what was
    looked at, asked and tried, with its answers, and `proof` what was answered after the last fix.
    `left` are faults left undone, `absent` those that turned out not to be there.
    `between` has one entry for each fix that was done but the last, in order. `put_back` is what
    stands open still, and how it is put back, unless danger has ended the visit; `all_back` says
    that something was opened and nothing stands open any more. `dangers` are those that were found
    and, looked at again, were not there any more. `sizes` are
    supposed; once a visit has ended well they are not said any more.
    """

    facts: tuple[tuple[str, str], ...]
    day: date | None
    complaint: str
    before: tuple[Measured, ...]
    looked: tuple[str, ...]
    sizes: tuple[str, ...]
    done: tuple[Mended, ...]
    left: tuple[str, ...]
    absent: tuple[str, ...]
    between: tuple[tuple[Measured, ...], ...]
    after: tuple[Measured, ...]
    proof: tuple[str, ...]
    cautions: tuple[str, ...]
    dangers: tuple[str, ...]
    ending: str
    rules: str
    put_back: tuple[str, ...] = ()
    all_back: bool = False


def summarise(session: Session, closed: bool = True) -> Summary:
    """The summary of a visit as it stands.

    Args:
        session: the visit.
        closed: False for one that is open on record: nobody has yet said that this is its end.
    """
    knowledge, progress, visit = session.knowledge, session.progress, session.visit
    rounds = measured_by_round(knowledge, session.baseline, progress)
    done: list[Mended] = []
    left: list[str] = []
    absent: list[str] = []
    cautions: dict[str, None] = {}
    for repair in progress.repairs:
        fault = knowledge.faults[repair.fault_id]
        title = titled(fault, repair.inlet)
        if repair.done:
            done.append(Mended(fault=title, done=done_words(fault, repair.inlet)))
        else:
            (left if repair.found else absent).append(title)
        cautions.update(dict.fromkeys(fault.fix.cautions))
    conclusion = visit.conclusion if closed else None
    undone = putting_back(knowledge, progress.footing).put_back
    stopped = conclusion is not None and conclusion.step == "stop"
    well = conclusion is not None and conclusion.step == "done" and bool(done)
    # A fix that was not there, or was left, changed nothing: readings after it still belong to it.
    first = next((one for one in progress.repairs if one.done), progress)
    supposed = session.said(first) if first.situation.readings and not well else None
    day = visit.last_at.date() if visit.last_at else None
    facts = {
        "house": ", ".join(filter(None, (visit.site.name, visit.site.address))),
        "unit": unit_words(visit.unit),
        "date": day.isoformat() if day else "",
    }
    return Summary(
        facts=tuple((label, words) for label, words in facts.items() if words),
        day=day,
        complaint=visit.complaint,
        before=rounds[0],
        looked=tuple(_answered(session, proof=False)),
        # Air power is for the technician, not for the customer.
        sizes=(supposed.verdict, *supposed.sizes) if supposed else (),
        done=tuple(done),
        left=tuple(left),
        absent=tuple(absent),
        between=tuple(rounds[1:-1]),
        after=rounds[-1] if progress.round else (),
        proof=tuple(_answered(session, proof=True)),
        cautions=tuple(knowledge.cautions[name].text for name in cautions),
        dangers=tuple(_lifted(session)),
        ending=_end_words(session) if conclusion else "Still open.",
        rules=visit.rules,
        put_back=() if stopped else put_back_steps(knowledge, undone),
        all_back=not undone and any(_accesses(session)),
    )


def _end_words(session: Session) -> str:
    """How a visit ended; after a stop with what not to touch and whom to call."""
    conclusion = session.visit.conclusion
    assert conclusion is not None
    ending = session.next_step().ending if conclusion.step == "stop" else None
    if ending is None:
        return conclusion.text
    call = f"Call: {ending.call.rstrip('.')}." if ending.call else ""
    return " ".join(filter(None, (ending.what, ending.do_not, call)))


def _lifted(session: Session) -> Iterator[str]:
    """Dangers that an answer told of and a later one did not."""
    for rule, event in session.lifted():
        if rule.stop is not None and event is not None:
            day = f" on {event.at:%Y-%m-%d}" if event.at else ""
            yield f"{rule.stop.stop} Found{day}, and not there when it was looked at again."


def _accesses(session: Session) -> Iterator[str | None]:
    """What each act of a visit was done behind."""
    knowledge, progress = session.knowledge, session.progress
    for number in range(progress.round + 1):
        yield from (check.access for check, _ in answered_in(knowledge, progress, number))
    done = (one.fault_id for one in progress.repairs if one.done)
    yield from (knowledge.faults[name].fix.access for name in done)


def _answered(session: Session, proof: bool) -> Iterator[str]:
    """What was answered and is believed, in order; of the questions that prove a fix the last.

    Of one that was asked again without a fix between, only what was answered last.
    """
    knowledge, progress = session.knowledge, session.progress
    for number in range(progress.round if proof else 0, progress.round + 1):
        said: dict[tuple[str, str | None], str] = {}
        for check, asked in answered_in(knowledge, progress, number):
            if asked.number and check.kind == "choice" and check.verifies is proof:
                at = f" ({asked.inlet})" if asked.inlet else ""
                said[check.id, asked.inlet] = f"{check.ask} {check.labels(str(asked.answer))}{at}."
        yield from said.values()
