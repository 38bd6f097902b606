"""Where a visit stands, on one screen: readings along the air path, what is left, what is open."""

from __future__ import annotations

from dataclasses import dataclass

from stillflow.engine.base import in_percent, percent
from stillflow.engine.dialogue import Said, Session, done_words, rounds, ruled_out, taken_words
from stillflow.engine.inference import SKIPPED, Event
from stillflow.engine.ruleset import Rule, putting_back

MOST_NAMED = 4


@dataclass(frozen=True)
class Whereabouts:
    """Where a visit stands.

    Attributes:
        readings: place, found and expected in inH2O, share of expected in words.
        verdict: what it comes to, in a sentence; `sizes`: how big, and what cannot be told apart.
        likely: the likeliest faults with their chance in words.
        ruled_out: titles of what was likely and is not any more; `more`: how many besides.
        open: what stands open and must be put back.
        undone: fixes left undone, questions put off, readings to take again.
        lifted: what stopped the visit before it went on, and who was to be called.
        known: what was taken from the complaint or settled by another answer.
        notes: what was noted, parts and prices too.
        done: fixes done.
        minutes: spent so far, as the rules count them.
        answers: how many answers are on record.
    """

    readings: tuple[tuple[str, float, float, str], ...]
    verdict: str
    sizes: tuple[str, ...]
    likely: tuple[tuple[str, str], ...]
    ruled_out: tuple[str, ...]
    more: int
    open: tuple[str, ...]
    undone: tuple[str, ...]
    lifted: tuple[str, ...]
    known: tuple[str, ...]
    notes: tuple[str, ...]
    done: tuple[str, ...]
    minutes: float
    answers: int


def whereabouts(session: Session) -> Whereabouts:
    """Where a visit stands now."""
    knowledge, progress = session.knowledge, session.progress
    step = session.next_step()
    # Before anything is read, the likeliest is only the commonest.
    open_ = not step.verifying and step.ending is None
    said = session.said() if open_ and progress.situation.readings else Said("")
    out = list(ruled_out(session, rounds(session)[-1])) if progress.asked else []
    read = progress.situation.readings
    spots = [
        (state, at)
        for at in sorted({at for _, at in read}, key=str)
        for state, one in read
        if one == at
    ]
    undone = [f"fix left: {knowledge.faults[name].title}" for name in progress.deferred]
    undone += [f"take again: {knowledge.checks[name].ask}" for name in progress.again]
    undone += [
        f"put off: {knowledge.checks[name].ask}"
        for name, said in progress.silent.items()
        if said == SKIPPED
    ]
    settled = [
        f"{knowledge.checks[name].ask} {knowledge.checks[name].labels(answer)}."
        for name, (_, answer) in progress.settled.items()
    ]
    return Whereabouts(
        readings=tuple(
            (
                f"{state} at {progress.inlets.words(at)}",
                read[state, at],
                session.baseline.at(state, at),
                in_percent(read[state, at] / session.baseline.at(state, at)),
            )
            for state, at in spots
        ),
        verdict=said.verdict,
        sizes=(*said.sizes, *said.left),
        likely=tuple((one.title, percent(one.probability)) for one in step.faults[:3]),
        ruled_out=tuple(knowledge.faults[name].title for name in out[:MOST_NAMED]),
        more=max(0, len(out) - MOST_NAMED),
        open=tuple(
            knowledge.accesses[name].title
            for name in putting_back(knowledge, progress.footing).put_back
        ),
        undone=tuple(undone),
        lifted=tuple(lifted_words(rule) for rule, _ in session.lifted()),
        known=(*taken_words(session), *settled),
        notes=note_words(session),
        done=tuple(
            done_words(knowledge.faults[one.fault_id], one.inlet)
            for one in progress.repairs
            if one.done
        ),
        minutes=progress.spent,
        answers=sum(not event.beside for event in session.events),
    )


def lifted_words(rule: Rule) -> str:
    """What a rule stopped a visit for, and who was to be called."""
    assert rule.stop is not None
    return f"{rule.stop.stop} Call: {rule.stop.call}"


def note_words(session: Session) -> tuple[str, ...]:
    """What was noted during a visit, in order: notes, parts and prices."""
    return tuple(noted_words(one) for one in session.visit.noted)


def noted_words(event: Event) -> str:
    """A note, a part or a line of the price."""
    if event.part is None:
        return event.note or ""
    price = f" at {event.price:.2f}" if event.price is not None else ""
    return f"part: {event.count or 1:g} x {event.part}{price}"
