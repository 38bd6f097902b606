"""The casebook: every visit on this machine, in a database, each answer its own transaction.

What a visit looks like in tables is in `tables`, which database it is in `database`. These three
import SQLAlchemy, which takes a fifth of a second, and nobody else imports the other two. How a
visit is written in a file is in `files`.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from itertools import groupby
from types import TracebackType
from typing import Any, Self

import sqlalchemy as sa
from sqlalchemy.engine import Connection
from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError

from stillflow.casebook.database import (
    default_url,
    explained,
    file_of,
    open_engine,
    place_of,
    still_there,
)
from stillflow.casebook.ids import new_id
from stillflow.casebook.tables import (
    NEWEST,
    Refused,
    event_of,
    event_row,
    events,
    header_row,
    insert,
    prepare,
    visit_of,
    visits,
    whole_visits,
)
from stillflow.engine.base import InputError, Place, SetupError, counted
from stillflow.engine.inference import Event, Visit, with_event

_SHOWN_CANDIDATES = 5


class Overtaken(InputError):  # noqa: N818 - it is what happened, as its readers say it
    """Somebody else has written to a visit since its writer last read it; nothing was changed."""


class Casebook:
    """An open casebook. A context manager; safe to leave open until the process ends.

    Args:
        url: an SQLAlchemy database URL; None for casebook.db in the user's data folder, which is
            made if it is not there.

    Attributes:
        refused: for every visit that was loaded, what is kept of it but cannot be used any more.

    Raises:
        InputError: not a database URL.
        SetupError: the folder or database cannot be opened or written, is damaged, is locked by
            another program, or was made by a newer stillflow; or its driver is not installed.
            Every method may raise it.
    """

    def __init__(self, url: str | None = None) -> None:
        self._engine = open_engine(default_url() if url is None else url)
        self.place = place_of(self._engine)
        self.refused: dict[str, Refused] = {}
        self._file: tuple[int, int] | None = None
        with self._transaction() as connection:
            prepare(connection, self.place)
        self._file = file_of(self._engine)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def lasting(self) -> bool:
        """Whether what is written can be found again: not in memory, its file still there."""
        return still_there(self._engine, self._file)

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def begin(self, visit: Visit) -> Visit:
        """Take in a new visit under a new id, opened now unless it says when.

        Returns:
            The visit as it is kept, with id and time.
        """
        opened = visit.opened or datetime.now(UTC)
        visit = visit.model_copy(update={"id": new_id(), "opened": opened})
        with self._transaction() as connection:
            insert(connection, visit)
        return visit

    def get(self, visit_id: str) -> Visit:
        """The visit with exactly this id.

        Raises:
            InputError: there is none.
        """
        with self._transaction() as connection:
            found = self._load(connection, visits.c.id == visit_id)
        if not found:
            raise _unknown(visit_id)
        return found[0]

    def find(self, prefix: str) -> Visit:
        """The one visit whose id is this or begins with it.

        Raises:
            InputError: none does, or several do.
        """
        with self._transaction() as connection:
            # Databases differ on whether LIKE minds capitals, so Python has the last word.
            begins = visits.c.id.startswith(prefix, autoescape=True)
            rows = connection.execute(sa.select(visits.c.id, visits.c.site).where(begins))
            found = {row.id: row.site for row in rows if row.id.startswith(prefix)}
            if prefix in found:
                found = {prefix: found[prefix]}
            if len(found) == 1:
                return self._load(connection, visits.c.id.in_(found))[0]
        if not found:
            raise _unknown(prefix)
        names = [f"{name} ({site})" if site else name for name, site in sorted(found.items())]
        more = ", ..." if len(names) > _SHOWN_CANDIDATES else ""
        raise InputError(
            f"{len(found)} visits have an id that begins with '{prefix}'",
            right=f"give more of it: {', '.join(names[:_SHOWN_CANDIDATES])}{more}",
        )

    def open_visits(self) -> list[Visit]:
        """Visits without a conclusion, the last changed first."""
        with self._transaction() as connection:
            return self._load(connection, visits.c.status == "open")

    def recent(self, count: int) -> list[Visit]:
        """Up to `count` visits, the last changed first."""
        latest = sa.select(visits.c.id).order_by(*NEWEST).limit(count)
        with self._transaction() as connection:
            return self._load(connection, visits.c.id.in_(latest))

    def add_event(self, known: Visit, event: Event) -> Visit:
        """Write down one event after those of `known`. It is on disk when this returns.

        A conclusion rests on all events, so the visit is open again until it is concluded anew.

        Args:
            known: the visit as its writer has it: as it was loaded, or as the last write gave it.
            event: what happened.

        Returns:
            The visit as it is kept now.

        Raises:
            Overtaken: the casebook has other events of it, since somebody else has gone on.
            InputError: no such visit, a time without a time zone, or as many events as a visit
                may have.
        """
        visit = with_event(known, event).model_copy(update={"conclusion": None})
        with self._transaction() as connection:
            _reopen(connection, known.id)
            _same_events(connection, known)
            row = event_row(event)
            number = len(visit.events)
            connection.execute(events.insert().values(visit_id=known.id, number=number, **row))
        return visit

    def drop_last_event(self, known: Visit) -> Visit:
        """Take back the last event of `known`, if it has any. Opens the visit again.

        Args and errors as `add_event`; nothing is taken back but the event that is named.
        """
        mine = events.c.visit_id == known.id
        with self._transaction() as connection:
            _reopen(connection, known.id)
            _same_events(connection, known)
            last = events.c.number == len(known.events)
            connection.execute(events.delete().where(mine, last))
        return known.model_copy(update={"events": known.events[:-1], "conclusion": None})

    def save_header(self, visit: Visit, known: Visit) -> Visit:
        """Write down everything about a visit but its events. Closed once it has a conclusion.

        Args:
            visit: as it shall be; its events are not looked at.
            known: the visit as its writer has it.

        Returns:
            The visit as it is kept now.

        Raises:
            Overtaken: the casebook has another header or other events of it than `known`.
            InputError: no visit with its id.
        """
        with self._transaction() as connection:
            # As the first statement this keeps other writers out of what is compared next.
            _update(connection, known.id, {"changed": datetime.now(UTC)})
            (kept,) = self._load(connection, visits.c.id == known.id)
            _same_events(connection, known)
            apart = {"events": (), "conclusion": None}
            if kept.model_copy(update=apart) != known.model_copy(update=apart):
                raise _overtaken(kept.id, "what is known of house and unit has changed")
            _update(connection, known.id, header_row(visit))
        return visit.model_copy(update={"events": known.events})

    def put(self, visit: Visit, replace: bool = False) -> Visit:
        """Take in a whole visit, as from a file; a second time changes nothing.

        Args:
            visit: with its id; one without gets a new one.
            replace: let it take the place of a different visit with the same id.

        Returns:
            The visit as it is kept.

        Raises:
            InputError: a different visit has this id and `replace` is not set.
        """
        visit = visit if visit.id else visit.model_copy(update={"id": new_id()})
        with self._transaction() as connection:
            known = self._load(connection, visits.c.id == visit.id)
            if known == [visit]:
                return visit
            if known and not replace:
                raise InputError(
                    f"the casebook has a different visit {visit.id}",
                    right="say that it shall be replaced, or give this one another id",
                )
            connection.execute(events.delete().where(events.c.visit_id == visit.id))
            connection.execute(visits.delete().where(visits.c.id == visit.id))
            insert(connection, visit)
        return visit

    @contextmanager
    def _transaction(self) -> Iterator[Connection]:
        """One transaction; what the database has to say comes as one of our errors."""
        try:
            with self._engine.begin() as connection:
                yield connection
            if self._file is not None and not still_there(self._engine, self._file):
                # The open file takes what is written, and all of it goes when the process does.
                what = "the casebook has been deleted or moved since it was opened"
                raise SetupError(what, Place(self.place), "put it back and start again")
        except UnicodeEncodeError:
            raise InputError("this is not text", right="write it in UTF-8") from None
        except UnicodeDecodeError:
            # What SQLite says of a damaged file may repeat bytes of it.
            raise explained("malformed", self._engine) from None
        except IntegrityError:
            what = "the same visit was written by another program at the same time"
            raise InputError(what, Place(self.place), "try again") from None
        except DBAPIError as problem:
            raise explained(str(problem.orig), self._engine) from None
        except SQLAlchemyError as problem:
            raise explained(str(problem), self._engine) from None

    def _load(self, connection: Connection, which: sa.ColumnElement[bool]) -> list[Visit]:
        """Whole visits, the last changed first."""
        try:
            rows = connection.execute(whole_visits().where(which)).all()
            found = [visit_of(list(group)) for _, group in groupby(rows, key=lambda row: row.id)]
            self.refused.update({visit.id: refused for visit, refused in found})
            return [visit for visit, _ in found]
        except (LookupError, OverflowError, ValueError, TypeError):
            what = "a visit in it cannot be read; the casebook is damaged"
            raise SetupError(what, Place(self.place), "restore an earlier copy of it") from None


def _update(connection: Connection, visit_id: str, values: dict[str, Any]) -> None:
    done = connection.execute(visits.update().where(visits.c.id == visit_id).values(**values))
    if not done.rowcount:
        raise _unknown(visit_id)


def _reopen(connection: Connection, visit_id: str) -> None:
    """Take the conclusion off. As the first statement it also keeps other writers out."""
    values = {"status": "open", "conclusion": None, "changed": datetime.now(UTC)}
    _update(connection, visit_id, values)


def _same_events(connection: Connection, known: Visit) -> None:
    """Refuse to go on where the events kept are not those the writer knows.

    Each event is written after the one before it, so the last one stands for all.
    """
    kept = connection.execute(
        sa.select(events)
        .where(events.c.visit_id == known.id)
        .order_by(events.c.number.desc())
        .limit(1)
    ).first()
    number = 0 if kept is None else kept.number
    if number == len(known.events):
        if kept is None:
            return
        mine, theirs = known.events[-1], event_of(kept)
        # A session writes out readings in inH2O and whether a fix was done; what it is about and
        # when stay.
        if (mine.check, mine.fix, mine.at) == (theirs.check, theirs.fix, theirs.at):
            return
    has, knew = counted(number, "answer"), len(known.events)
    raise _overtaken(known.id, f"the casebook has {has}; known here were {knew}")


def _overtaken(visit_id: str, what: str) -> Overtaken:
    return Overtaken(
        f"somebody else has gone on with visit {visit_id}: {what}",
        right="nothing was overwritten; look at it as it is now, then answer",
    )


def _unknown(visit_id: str) -> InputError:
    return InputError(f"there is no visit '{visit_id}' in the casebook", right="check the id")
