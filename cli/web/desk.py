"""The visits that the phones are at: casebook and sessions together, one writer at a time.

Every answer is in the casebook before it is believed, as on the command line. What a page was made
from is named in its forms by a `mark`, so that an answer from an old page is told, not taken.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from threading import RLock

from stillflow.casebook.store import Casebook, Overtaken
from stillflow.engine import Session
from stillflow.engine.base import InputError
from stillflow.engine.dialogue import NextStep, change_words
from stillflow.engine.inference import Event, Visit
from stillflow.engine.planning import Think
from stillflow.engine.ruleset import Knowledge

MOST_OPEN = 64
"""Sessions that are kept ready; of any further visit the record is replayed."""


def mark_of(visit: Visit, number: int | None = None) -> str:
    """What names a moment of a visit: how many answers it has, and which the last of them is."""
    events = visit.events[:number]
    last = events[-1] if events else Event()
    words = f"{last.check} {last.fix} {last.at and last.at.isoformat()}"
    return f"{len(events)}-{sha256(words.encode()).hexdigest()[:12]}"


@dataclass(frozen=True)
class Standing:
    """Where a visit stands: as it is kept, its session, its next step."""

    visit: Visit
    session: Session
    step: NextStep

    @property
    def mark(self) -> str:
        """What names this moment in a form."""
        return mark_of(self.visit)


class Desk:
    """The visits of one casebook under one rule set; safe for many threads.

    Attributes:
        knowledge: the rule set.
        casebook: where visits are kept.
        lock: held while a session is used; the engine's rules are shared by all of them.
    """

    def __init__(
        self,
        knowledge: Knowledge,
        casebook: Casebook,
        think: Think = "normal",
        wrong_part: float = 0.0,
    ) -> None:
        self.knowledge = knowledge
        self.casebook = casebook
        self.think: Think = think
        self.wrong_part = wrong_part
        self.lock = RLock()
        self._ready: OrderedDict[str, tuple[Visit, Session]] = OrderedDict()

    def standing(self, visit_id: str) -> Standing:
        """Where a visit stands; one that has come to its end is closed.

        Raises:
            InputError: no such visit, or the rules know nothing of what is recorded in it.
        """
        with self.lock:
            visit = self.casebook.get(visit_id)
            return self._stand(visit, self._session(visit))

    def answer(
        self, visit_id: str, mark: str, event: Event, who: str = "", *, asked: bool = True
    ) -> Standing:
        """Keep one answer after the moment that is named, then believe it.

        The same answer to the same moment once more changes nothing. Where somebody `asked` waits
        at the gauge, a reading that does not go with the rest is to be given twice.

        Raises:
            Overtaken: the visit has gone on since that moment.
            InputError: no such visit, check or fault, or an answer that cannot be.
        """
        with self.lock:
            visit = self.casebook.get(visit_id)
            session = self._session(visit)
            event = session.checked(event)
            if mark != mark_of(visit):
                if _has(visit, mark, event):
                    return self._stand(visit, session)
                raise overtaken(visit)
            odd = session.questioned(event) if asked else ""
            if odd:
                raise InputError(odd)
            if event.at is None:
                event = event.model_copy(update={"at": datetime.now(UTC)})
            kept = self.casebook.written_by(who).add_event(visit, event)
            # Only what is kept is believed.
            self._ready.pop(visit_id, None)
            session.take(event)
            return self._stand(kept, session)

    def join(
        self,
        visit_id: str,
        mark: str,
        answers: Sequence[Event],
        who: str = "",
        *,
        asked: bool = False,
    ) -> Standing:
        """Keep answers that a phone gave by itself after the moment that is named, in order.

        Those of them that are on record already, as when an earlier reply was lost, are not kept
        a second time.

        Raises:
            Overtaken: the visit has gone on otherwise since that moment; nothing was kept.
            InputError: no such visit, or an answer that cannot be; those before it are kept.
        """
        with self.lock:
            visit = self.casebook.get(visit_id)
            left = list(answers)
            while (
                left and mark != mark_of(visit) and _has(visit, mark, self._known(visit, left[0]))
            ):
                number = int(mark.partition("-")[0]) + 1
                mark = mark_of(visit, number)
                left.pop(0)
            if left and mark != mark_of(visit):
                raise overtaken(visit)
            standing = self._stand(visit, self._session(visit))
            for event in left:
                standing = self.answer(visit_id, standing.mark, event, who, asked=asked)
            return standing

    def _known(self, visit: Visit, event: Event) -> Event:
        return self._session(visit).checked(event)

    def back(self, visit_id: str, mark: str, who: str = "") -> Standing:
        """Take back the last answer before the moment that is named. Errors as `answer`."""
        with self.lock:
            visit = self.casebook.get(visit_id)
            if mark != mark_of(visit):
                raise overtaken(visit)
            if not visit.events:
                raise InputError("this is the first step", right="there is nothing to go back to")
            session = self._session(visit)
            kept = self.casebook.written_by(who).drop_last_event(visit)
            self._ready.pop(visit_id, None)
            session.undo()
            return self._stand(kept, session)

    def change(self, known: Visit, changed: Visit, mark: str, who: str = "") -> str:
        """Keep what is known otherwise of house, unit and tools; what changes by it, in words.

        Raises:
            Overtaken: the visit has gone on since the moment that is named.
        """
        with self.lock:
            if mark != mark_of(known):
                raise overtaken(known)
            before = self._session(known)
            session = Session(self.knowledge, changed, self.think, self.wrong_part)
            kept = self.casebook.written_by(who).save_header(changed, known)
            self._stand(kept, session)
            return change_words(before, session)

    def _session(self, visit: Visit) -> Session:
        """The session of a visit as it is kept."""
        kept, session = self._ready.get(visit.id, (None, None))
        if session is None or kept != visit:
            session = Session(self.knowledge, visit, self.think, self.wrong_part)
        return session

    def _stand(self, visit: Visit, session: Session) -> Standing:
        step = session.next_step()
        if step.ending is not None and visit.conclusion is None:
            visit = self.casebook.save_header(session.visit, visit)
        self._ready[visit.id] = (visit, session)
        self._ready.move_to_end(visit.id)
        if len(self._ready) > MOST_OPEN:
            self._ready.popitem(last=False)
        return Standing(visit, session, step)


def overtaken(visit: Visit) -> Overtaken:
    """That a visit is not any more as a page had it."""
    return Overtaken(
        "this visit has gone on since this page was made",
        right="nothing was overwritten; this is how it stands now",
    )


def _has(visit: Visit, mark: str, event: Event) -> bool:
    """Whether the answer given at a moment is this one already."""
    number = mark.partition("-")[0]
    if not (number.isascii() and number.isdigit()) or len(number) > 4:
        return False
    at = int(number)
    if at >= len(visit.events) or mark_of(visit, at) != mark:
        return False
    given = visit.events[at]
    when = event.at if event.at is not None else given.at
    # A name that the step gave is in what is kept, not in what is sent once more.
    apart = {"at": None, "inlet": event.inlet or given.inlet}
    return given.model_copy(update={"at": None}) == event.model_copy(update=apart) and (
        given.at == when
    )
