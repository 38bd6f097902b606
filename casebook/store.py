"""The casebook: every visit on this machine, in a database, each answer its own transaction.

What a visit looks like in tables is in `tables`, which database it is in `database`, what is kept
of houses in `sites`. These import SQLAlchemy, which takes a fifth of a second. How a
visit is written in a file is in `files`.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from copy import copy
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import groupby
from types import TracebackType
from typing import Any, Self

import sqlalchemy as sa
from sqlalchemy.engine import Connection
from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError

from stillflow.casebook.changes import EDITED, FORGOTTEN, Change, change_words, edited_fields
from stillflow.casebook.database import (
    WRITING,
    default_url,
    explained,
    file_of,
    missing_file,
    open_engine,
    place_of,
    still_there,
)
from stillflow.casebook.ids import as_typed, new_id
from stillflow.casebook.nameless import anonymous
from stillflow.casebook.site_writing import HOUSE, call, learn, site_for, top_entry
from stillflow.casebook.tables import (
    NEWEST,
    PEOPLE,
    VERSION,
    Refused,
    casebook,
    event_of,
    event_row,
    events,
    header_row,
    insert,
    people,
    sites,
    trail,
    visit_of,
    visits,
    visits_of_houses,
    whole_visits,
)
from stillflow.engine.base import InputError, Place, SetupError, counted
from stillflow.engine.inference import Event, Site, Unit, Visit, checked_strikes, with_event

_SHOWN_CANDIDATES = 5

_AMONG_OTHERS = sa.text("SELECT pg_advisory_xact_lock_shared(5318009)")
_ALONE = sa.text("SELECT pg_advisory_xact_lock(5318009)")
"""Locks on PostgreSQL, where SQLite has one writer anyway; the number is any."""


class Overtaken(InputError):  # noqa: N818 - it is what happened, as its readers say it
    """Somebody else has written to a visit since its writer last read it; nothing was changed."""


class Clash(InputError):  # noqa: N818 - as above
    """A visit from elsewhere is not the one that the casebook has under its id."""


@dataclass(frozen=True)
class Trace:
    """One line of the trail: who wrote what when."""

    at: datetime
    who: str
    what: str


def kept_in(url: str | None, who: str = "") -> Casebook:
    """The casebook at a URL, to read or to go on with; arguments as `Casebook`.

    Raises:
        InputError: its file is named and is not there, so that a slip of the finger makes no
            empty one.
        SetupError: as `Casebook`.
    """
    missing = missing_file(url)
    if missing:
        right = "see how --db is written; 'stillflow visit' begins a new one"
        raise InputError("there is no casebook here", Place(missing), right)
    return Casebook(url, who)


class Casebook:
    """An open casebook. A context manager; safe to leave open until the process ends.

    Args:
        url: an SQLAlchemy database URL; None for casebook.db in the user's data folder, which is
            made if it is not there.
        who: who writes, for the trail.

    Attributes:
        who: who writes, for the trail.
        refused: for every visit that was loaded, what is kept of it but cannot be used any more.

    Raises:
        InputError: not a database URL.
        SetupError: the folder or database cannot be opened or written, is damaged, is locked by
            another program, or was made by a newer stillflow; or its driver is not installed.
            Every method may raise it.
    """

    def __init__(self, url: str | None = None, who: str = "") -> None:
        self._engine = open_engine(default_url() if url is None else url)
        self._writer = self._engine.execution_options(**WRITING)
        self.who = who[:200]
        self.place = place_of(self._engine)
        self.refused: dict[str, Refused] = {}
        self._file: tuple[int, int] | None = None
        self._prepare()
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

    @property
    def gone(self) -> bool:
        """Whether its file has been deleted or moved since it was opened."""
        return self._file is not None and not self.lasting

    def same_as(self, other: Casebook) -> bool:
        """Whether another one that is open is the same database."""
        same_file = self._file is not None and self._file == other._file
        return same_file or self._engine.url == other._engine.url

    def settle(self) -> None:
        """Have nothing left in SQLite's log of what was overwritten, as far as readers allow."""
        if self._engine.dialect.name == "sqlite":
            with closing(self._engine.raw_connection()) as connection:
                connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def written_by(self, who: str) -> Self:
        """The same casebook, with another person's name in the trail."""
        other = copy(self)
        other.who = who[:200]
        return other

    def begin(self, visit: Visit) -> Visit:
        """Take in a new visit under a new id, opened now unless it says when.

        Returns:
            The visit as it is kept, with id and time, and its site's id where the house is named.
        """
        opened = visit.opened or datetime.now(UTC)
        visit = visit.model_copy(update={"id": new_id(), "opened": opened})
        with self.transaction(write=True) as connection:
            named = {"id": site_for(connection, visit) or ""}
            visit = visit.model_copy(update={"site": visit.site.model_copy(update=named)})
            self._insert(connection, visit)
            self.note(connection, visit.id, "begun")
        return visit

    def get(self, visit_id: str) -> Visit:
        """The visit with exactly this id.

        Raises:
            InputError: there is none.
        """
        with self.transaction() as connection:
            found = self.load(connection, visits.c.id == visit_id)
        if not found:
            raise _unknown(visit_id)
        return found[0]

    def find(self, text: str) -> Visit:
        """The one visit whose id or short id this is, or whose id begins with it.

        Raises:
            InputError: none is, or several are.
        """
        with self.transaction() as connection:
            exactly = sa.or_(visits.c.id == text, visits.c.short == as_typed(text))
            # To look for the beginning of an id takes all ids, where an id as typed is looked up.
            found = self._named(connection, exactly) or {
                visit_id: name
                for visit_id, name in self._named(
                    connection, visits.c.id.startswith(text, autoescape=True)
                ).items()
                # Databases differ on whether LIKE minds capitals, so Python has the last word.
                if visit_id.startswith(text)
            }
            if text in found:
                found = {text: found[text]}
            if len(found) == 1:
                return self.load(connection, visits.c.id.in_(found))[0]
        if not found:
            raise _unknown(text)
        names = [f"{name} ({site})" if site else name for name, site in sorted(found.items())]
        more = ", ..." if len(names) > _SHOWN_CANDIDATES else ""
        raise InputError(
            f"{len(found)} visits have an id that begins with '{text}'",
            right=f"give more of it: {', '.join(names[:_SHOWN_CANDIDATES])}{more}",
        )

    @staticmethod
    def _named(connection: Connection, which: sa.ColumnElement[bool]) -> dict[str, str | None]:
        """Ids of visits, and what their houses are called."""
        asked = sa.select(visits.c.id, people.c.name).select_from(visits_of_houses()).where(which)
        return {row.id: row.name for row in connection.execute(asked)}

    def open_visits(self) -> list[Visit]:
        """Visits without a conclusion, the last changed first."""
        with self.transaction() as connection:
            return self.load(connection, visits.c.status == "open")

    def recent(self, count: int, closed: bool = False) -> list[Visit]:
        """Up to `count` visits, or of closed ones alone, the last changed first."""
        latest = sa.select(visits.c.id).order_by(*NEWEST).limit(count)
        latest = latest.where(visits.c.status == "closed") if closed else latest
        with self.transaction() as connection:
            return self.load(connection, visits.c.id.in_(latest))

    def add_event(self, known: Visit, event: Event) -> Visit:
        """Write down one event after those of `known`. It is on disk when this returns.

        A conclusion rests on what is believed, so after an answer, a fix or a strike of one the
        visit is open again until it is concluded anew.

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
        # What nobody believes changes no conclusion.
        if self.who not in ("", known.technician) and not event.beside:
            event = event.model_copy(update={"by": self.who})
        visit = with_event(known, event)
        if event.strikes is not None:
            checked_strikes(visit)
        rests = not (event if event.strikes is None else visit.events[event.strikes - 1]).beside
        visit = visit.model_copy(update={"conclusion": None}) if rests else visit
        with self.transaction(write=True) as connection:
            if rests:
                _reopen(connection, known.id)
            else:
                _update(connection, known.id, {"changed": datetime.now(UTC)})
            _same_events(connection, known)
            row = event_row(event)
            number = len(visit.events)
            connection.execute(events.insert().values(visit_id=known.id, number=number, **row))
            self.note(connection, known.id, _said(event, visit))
        return visit

    def drop_last_event(self, known: Visit) -> Visit:
        """Take back the last event of `known`, if it has any. Opens the visit again.

        Args and errors as `add_event`; nothing is taken back but the event that is named.
        """
        mine = events.c.visit_id == known.id
        with self.transaction(write=True) as connection:
            _reopen(connection, known.id)
            _same_events(connection, known)
            last = events.c.number == len(known.events)
            connection.execute(events.delete().where(mine, last))
            if known.events:
                back = f"taken back: {_said(known.events[-1], known)}"
                self.note(connection, known.id, back)
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
        with self.transaction(write=True) as connection:
            # As the first statement this keeps other writers out of what is compared next.
            _update(connection, known.id, {"changed": datetime.now(UTC)})
            (kept,) = self.load(connection, visits.c.id == known.id)
            _same_events(connection, known)
            apart = {"events": (), "conclusion": None}
            if kept.model_copy(update=apart) != known.model_copy(update=apart):
                raise _overtaken(kept.id, "what is known of house and unit has changed")
            visit = visit.model_copy(update={"events": known.events})
            own = sa.select(visits.c.site_id).where(visits.c.id == known.id)
            before = connection.scalar(own)
            self.overwrite(connection, visit)
            house = connection.scalar(own)
            changes = _changes(kept, visit)
            called = [(_CALLED[one[0]], one[1], one[2]) for one in changes if one[0] in _CALLED]
            if before is not None and before != house:
                # What another house is called stays out of the trail of this one's visit.
                changes = [(one[0], (), ()) if one[0] in _CALLED else one for one in changes]
            elif before is not None and called and any(getattr(visit.site, n) for n in PEOPLE):
                edited = EDITED + change_words(called)
                self.note(connection, top_entry(connection, before), edited)
            ended = visit.conclusion
            if ended is not None and ended != kept.conclusion:
                self.note(connection, known.id, f"closed: {ended.step}")
            else:
                said = change_words(changes) or "nothing"
                self.note(connection, known.id, f"changed: {said}")
        return visit

    def reopen(self, known: Visit) -> Visit:
        """Take the conclusion off a visit, so that it can be gone on with.

        Raises:
            Overtaken: somebody else has gone on with it.
            InputError: no visit with its id.
        """
        with self.transaction(write=True) as connection:
            _reopen(connection, known.id)
            _same_events(connection, known)
            self.note(connection, known.id, "reopened")
        return known.model_copy(update={"conclusion": None})

    def trail(self, about: str) -> list[Trace]:
        """Who wrote what when of a visit or a site, oldest first."""
        asked = sa.select(trail).where(trail.c.about == about).order_by(trail.c.id)
        with self.transaction() as connection:
            return [Trace(row.at, row.who, row.what) for row in connection.execute(asked)]

    def note(self, connection: Connection, about: str, what: str) -> None:
        """Write into the trail who wrote what, in the transaction that writes it."""
        row = {"id": new_id(), "at": datetime.now(UTC), "who": self.who}
        connection.execute(trail.insert().values(**row, about=about, what=what))

    def overwrite(self, connection: Connection, visit: Visit) -> None:
        """Write header and free text of a kept visit anew, in a transaction of the caller's."""
        # What it is loaded with is what its house is called, not its entry if that was merged.
        site_id = site_for(connection, visit, house=True)
        row = header_row(visit)
        if site_id is not None:
            row["site_id"] = site_id
        _update(connection, visit.id, row)
        learn(connection, visit, site_id)

    def _insert(self, connection: Connection, visit: Visit) -> None:
        site_id = site_for(connection, visit)
        insert(connection, visit, site_id)
        learn(connection, visit, site_id)

    def _insert_of(self, connection: Connection, visit: Visit, site_id: str | None) -> Visit:
        """Write a visit from elsewhere, of a house that may be known; gives it as it is kept."""
        at = sa.select(sites.c.house_id).where(sites.c.id == site_id)
        top = connection.scalar(at)
        if site_id is None or top is None:
            self._insert(connection, visit)
            return visit
        named = connection.execute(sa.select(people).where(people.c.site_id == top)).first()
        said = {name: getattr(visit.site, name) for name in PEOPLE}
        called = {name: getattr(named, name, "") or one for name, one in said.items()}
        site = visit.site.model_copy(update=called)
        if any(getattr(named, name, "") != one for name, one in called.items()):
            call(connection, top, site)
        visit = visit.model_copy(update={"site": site})
        insert(connection, visit, site_id)
        learn(connection, _unedited(connection, visit, site_id, top), site_id)
        return visit

    def put(self, visit: Visit, replace: bool = False) -> Visit:
        """Take in a whole visit, as from a file; a second time changes nothing.

        A house that is known keeps what it is called, and what it was edited to since; one whose
        people were forgotten stays without names, and so does the visit.

        Args:
            visit: with its id; one without gets a new one.
            replace: let it take the place of a different visit with the same id.

        Returns:
            The visit as it is kept.

        Raises:
            Clash: a different visit has this id and `replace` is not set.
        """
        visit = visit if visit.id else visit.model_copy(update={"id": new_id()})
        with self.transaction(write=True) as connection:
            known = self.load(connection, visits.c.id == visit.id)
            own = sa.select(visits.c.site_id).where(visits.c.id == visit.id)
            site_id = visit.site.id or connection.scalar(own)
            forgotten = sa.select(trail.c.id).where(
                trail.c.about == site_id, trail.c.what == FORGOTTEN
            )
            if connection.execute(forgotten.limit(1)).first() is not None:
                visit = anonymous(visit)
            if known and _of_house(visit, known[0].site) == known[0]:
                return known[0]
            if known and not replace:
                raise Clash(
                    f"the casebook has a different visit {visit.id}",
                    right="say that it shall be replaced, or give this one another id",
                )
            connection.execute(events.delete().where(events.c.visit_id == visit.id))
            connection.execute(visits.delete().where(visits.c.id == visit.id))
            visit = self._insert_of(connection, visit, site_id)
            self.note(connection, visit.id, "replaced" if known else "taken in")
        return visit

    def _prepare(self) -> None:
        """Make the tables where there are none or older ones, and refuse a newer stillflow's."""
        with self.transaction() as connection:
            version = None
            if sa.inspect(connection).has_table(casebook.name):
                version = connection.scalar(sa.select(casebook.c.version))
        if version == VERSION:
            return
        if version is not None and not isinstance(version, int):
            what = f"it is no casebook, or is damaged (its version is {str(version)[:20]!r})"
            right = "move it away, or restore an earlier copy of it"
            raise SetupError(what, Place(self.place), right)
        if version is not None and version > VERSION:
            raise SetupError(
                f"this casebook is of a newer stillflow (its version is {version}, ours {VERSION})",
                Place(self.place),
                "update stillflow",
            )
        from stillflow.casebook.migrations import upgrade

        with self.transaction(write=True) as connection:
            upgrade(connection)

    @contextmanager
    def transaction(self, write: bool = False, alone: bool = False) -> Iterator[Connection]:
        """One transaction; what the database has to say comes as one of our errors.

        Args:
            write: keep other writers out from its beginning, where the database can.
            alone: write, and keep all other writers out everywhere.
        """
        try:
            with (self._writer if write or alone else self._engine).begin() as connection:
                if (write or alone) and connection.dialect.name == "postgresql":
                    connection.execute(_ALONE if alone else _AMONG_OTHERS)
                yield connection
            if self.gone:
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

    @contextmanager
    def snapshot(self) -> Iterator[Connection]:
        """A transaction that reads, and sees one moment however many statements it takes."""
        with self.transaction() as connection:
            if connection.dialect.name == "postgresql":
                connection.execute(
                    sa.text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
                )
            yield connection

    def load(self, connection: Connection, which: sa.ColumnElement[bool]) -> list[Visit]:
        """Whole visits, the last changed first."""
        try:
            rows = connection.execute(whole_visits().where(which)).all()
            found = [visit_of(list(group)) for _, group in groupby(rows, key=lambda row: row.id)]
            self.refused.update({visit.id: refused for visit, refused in found})
            return [visit for visit, _ in found]
        except (LookupError, OverflowError, ValueError, TypeError):
            what = "a visit in it cannot be read; the casebook is damaged"
            raise SetupError(what, Place(self.place), "restore an earlier copy of it") from None


def _said(event: Event, visit: Visit) -> str:
    """An event of a visit in a line of the trail, without its number, which a sync may change."""
    if event.strikes is not None:
        struck = _said(visit.events[event.strikes - 1], visit)
        return f"{'undone' if event.done else 'struck'} ({event.note or ''}): {struck}"
    told = event.model_dump(mode="json", exclude_none=True, exclude={"at", "by"})
    return ", ".join(f"{name} {value}" for name, value in told.items())


_CALLED = {f"site.{name}": name for name in PEOPLE}
"""What a visit's trail calls the fields of `people`."""


def _changes(before: Visit, after: Visit) -> list[Change]:
    """Which fields of a header are others now."""
    one, two = (
        visit.model_dump(mode="json", exclude={"events", "conclusion"}) for visit in (before, after)
    )
    flat = [dict(_flat(visit)) for visit in (one, two)]
    return [(key, flat[0].get(key), now) for key, now in flat[1].items() if flat[0].get(key) != now]


def _flat(header: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Fields of a header, those of its parts as PART.FIELD."""
    for key, value in header.items():
        if isinstance(value, dict):
            yield from ((f"{key}.{name}", one) for name, one in value.items())
        else:
            yield key, value


def _of_house(visit: Visit, house: Site) -> Visit:
    """The visit with its house called as the casebook calls it, unless it names another by id."""
    if visit.site.id not in ("", house.id):
        return visit
    called = {name: getattr(house, name) for name in ("id", *PEOPLE)}
    return visit.model_copy(update={"site": visit.site.model_copy(update=called)})


def _unedited(connection: Connection, visit: Visit, site_id: str, top: str) -> Visit:
    """Of a visit, what nobody has edited of its house since it was opened; for `learn`."""
    mine = trail.c.about.in_({site_id, top}), trail.c.what.startswith(EDITED)
    lines = connection.execute(sa.select(trail.c.at, trail.c.what).where(*mine)).all()
    since = [row.what for row in lines if visit.opened is None or row.at > visit.opened]
    edited = {field for what in since for field in edited_fields(what)}
    site: dict[str, Any] = {"altitude_ft": 0.0} if "altitude_ft" in edited else {}
    apart: dict[str, Any] = {}
    if "inlet" in edited:
        site |= {"inlet": "", "other_inlet": "", "inlets": ()}
        apart["events"] = ()
    if any(one.startswith("unit ") for one in edited):
        apart["unit"] = Unit()
    house = visit.house.model_copy(update=dict.fromkeys(edited.intersection(HOUSE)))
    site_now = visit.site.model_copy(update=site)
    return visit.model_copy(update={"house": house, "site": site_now, **apart})


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
