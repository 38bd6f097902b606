"""The casebook's tables, and how a visit becomes rows of them and back.

Names, addresses and phones stand in `people` and nowhere else. Which rows are read and written when
is in `store` and `sites`; where the database is, in `database`; how older tables become these, in
`migrations`.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from copy import deepcopy
from datetime import UTC, datetime
from typing import Any
from zlib import crc32

import sqlalchemy as sa
from pydantic import ValidationError
from sqlalchemy.engine import Connection, Dialect

from stillflow.casebook.ids import short_id
from stillflow.casebook.parsing import in_utc
from stillflow.engine.base import Place
from stillflow.engine.inference import Event, Visit

VERSION = 6
"""Of the tables below. A higher one in a database was made by a newer stillflow."""


class UtcMoment(sa.types.TypeDecorator[datetime]):
    """A moment in UTC, also where the database keeps no time zone."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """The moment with its time zone."""
        if value is None or value.tzinfo is not None:
            return value and value.astimezone(UTC)
        return value.replace(tzinfo=UTC)


class JsonAnswer(sa.types.TypeDecorator[float | str]):
    """A reading or a word, as JSON in a column of text.

    SQLite takes a column called JSON for one of numbers, and reads a decimal less exactly than
    Python does: some readings came back changed in their last digit. Casebooks made before have
    such a column still, and give numbers from it.
    """

    impl = sa.Text
    cache_ok = True

    def process_bind_param(self, value: float | str | None, dialect: Dialect) -> str | None:
        """The answer as JSON."""
        return None if value is None else json.dumps(value)

    def process_result_value(
        self, value: float | str | None, dialect: Dialect
    ) -> float | str | None:
        """The answer from JSON."""
        return json.loads(value) if isinstance(value, str) else value


TABLES = sa.MetaData()
_NOTHING = sa.JSON(none_as_null=True)

casebook = sa.Table(
    "casebook",
    TABLES,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("version", sa.Integer, nullable=False),
)

sites = sa.Table(
    "sites",
    TABLES,
    sa.Column("id", sa.String(80), primary_key=True),
    sa.Column("short", sa.String(80), nullable=False, index=True),
    # An entry that turned out to be of a house with another one is kept, so that it can be parted;
    # `house_id` is the entry that stands for the house.
    sa.Column("merged_into", sa.ForeignKey("sites.id"), nullable=True, index=True),
    sa.Column("house_id", sa.String(80), nullable=False, index=True),
    sa.Column("altitude_ft", sa.Float, nullable=True),
    sa.Column("tubing_ft", sa.Float, nullable=True),
    sa.Column("hose_ft", sa.Float, nullable=True),
    sa.Column("hose_bore_in", sa.Float, nullable=True),
)

people = sa.Table(
    "people",
    TABLES,
    sa.Column("site_id", sa.ForeignKey("sites.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("name", sa.String(200), nullable=False, index=True),
    sa.Column("address", sa.String(200), nullable=False),
    sa.Column("customer", sa.String(200), nullable=False),
    sa.Column("phone", sa.String(200), nullable=False),
    # All of it in small letters and the phone's digits: databases differ on what LIKE minds.
    sa.Column("folded", sa.Text, nullable=False),
)

# What a house is found by without reading all of `people`: pieces of its words, as numbers, so that
# no name stands here. Whoever writes `people` writes these too.
pieces = sa.Table(
    "pieces",
    TABLES,
    sa.Column("piece", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("site_id", sa.String(80), primary_key=True),
    sqlite_with_rowid=False,
)

inlets = sa.Table(
    "inlets",
    TABLES,
    sa.Column("site_id", sa.ForeignKey("sites.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("name", sa.String(200), primary_key=True),
    sa.Column("branch", sa.String(200), nullable=False),
)

units = sa.Table(
    "units",
    TABLES,
    sa.Column("site_id", sa.ForeignKey("sites.id", ondelete="CASCADE"), primary_key=True),
    # The day as text; empty for the unit that was there when the house was first seen.
    sa.Column("fitted", sa.String(10), primary_key=True),
    sa.Column("described", sa.JSON, nullable=False),
    sa.Column("made", sa.Float, nullable=True),
)

visits = sa.Table(
    "visits",
    TABLES,
    sa.Column("id", sa.String(80), primary_key=True),
    sa.Column("short", sa.String(80), nullable=False, index=True),
    sa.Column("site_id", sa.ForeignKey("sites.id"), nullable=True),
    sa.Column("opened", UtcMoment, nullable=True),
    sa.Column("changed", UtcMoment, nullable=False),
    sa.Column("status", sa.String(10), nullable=False),
    # These two again, beside header and conclusion that hold them, so that visits can be found.
    sa.Column("technician", sa.String(200), nullable=False),
    sa.Column("fault", sa.Text, nullable=True),
    sa.Column("rules", sa.Text, nullable=False),
    sa.Column("header", sa.JSON, nullable=False),
    sa.Column("conclusion", _NOTHING, nullable=True),
    sa.Index("ix_visits_site_opened", "site_id", "opened"),
    sa.Index("ix_visits_status_changed", "status", "changed", "id"),
    sa.Index("ix_visits_changed", "changed", "id"),
    sa.Index("ix_visits_opened", "opened"),
    sa.Index("ix_visits_technician", "technician", "opened"),
    sa.Index("ix_visits_fault", "fault", "opened"),
)

events = sa.Table(
    "events",
    TABLES,
    sa.Column("visit_id", sa.ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("at", UtcMoment, nullable=True),
    sa.Column("check", sa.Text, nullable=True),
    sa.Column("answer", JsonAnswer, nullable=True),
    sa.Column("fix", sa.Text, nullable=True),
    sa.Column("done", sa.Boolean, nullable=True),
    sa.Column("found", sa.Boolean, nullable=True),
    sa.Column("inlet", sa.Text, nullable=True),
    # What else an event says: a note, a part, what it strikes.
    sa.Column("more", _NOTHING, nullable=True),
    # Who wrote an answer or a fix, where that is not the technician of the visit.
    sa.Column("by", sa.String(200), nullable=True),
)
sa.Index(
    "ix_events_by",
    events.c.by,
    events.c.visit_id,
    sqlite_where=events.c.by.is_not(None),
    postgresql_where=events.c.by.is_not(None),
)

trail = sa.Table(
    "trail",
    TABLES,
    sa.Column("id", sa.String(80), primary_key=True),
    sa.Column("at", UtcMoment, nullable=False),
    sa.Column("who", sa.String(200), nullable=False),
    # Of a visit or a site; kept when that is gone.
    sa.Column("about", sa.String(80), nullable=False),
    sa.Column("what", sa.Text, nullable=False),
    sa.Index("ix_trail_about", "about", "id"),
)

# What a phone's cookie holds is kept as a hash, so that nobody who reads the database can use it.
phones = sa.Table(
    "phones",
    TABLES,
    sa.Column("token", sa.String(64), primary_key=True),
    sa.Column("name", sa.String(80), nullable=False),
    sa.Column("paired", UtcMoment, nullable=False),
    sa.Column("seen", UtcMoment, nullable=False),
)

photos = sa.Table(
    "photos",
    TABLES,
    sa.Column("id", sa.String(80), primary_key=True),
    sa.Column("visit_id", sa.String(80), nullable=False, index=True),
    sa.Column("at", UtcMoment, nullable=False),
    sa.Column("who", sa.String(200), nullable=False),
    sa.Column("jpeg", sa.LargeBinary, nullable=False),
)

NEWEST = (visits.c.changed.desc(), visits.c.id.desc())
"""Order of visits: the last changed first."""

PEOPLE = ("name", "address", "customer", "phone")
"""Fields of a site that stand in `people`, and its columns."""


def folded(words: Iterable[str]) -> str:
    """Names, street and phone as they are searched: small letters, and each phone's digits."""
    words = list(words)
    digits = re.sub(r"\D", "", words[-1])
    return "\n".join([*words, digits]).casefold()


def pieces_of(words: str) -> set[int]:
    """Numbers of the pieces of folded words: all of three letters, and how each word begins."""
    found: set[str] = set()
    for word in words.split():
        found.update(word[at : at + _PIECE] for at in range(len(word) - _PIECE + 1))
        found.update(f" {word[:count]}" for count in range(1, _PIECE))
    return {_numbered(one) for one in found}


def asked_pieces(word: str) -> set[int]:
    """Of the pieces of every word that holds this one; that begins with it, where it is short."""
    if len(word) < _PIECE:
        return {_numbered(f" {word}")}
    return {_numbered(word[:_PIECE]), _numbered(word[-_PIECE:])}


_PIECE = 3


def _numbered(piece: str) -> int:
    return crc32(piece.encode("utf-8", "surrogatepass")) >> 1


def fill_pieces(connection: Connection) -> None:
    """Write the pieces of all people anew."""
    connection.execute(pieces.delete())
    asked = sa.select(people.c.site_id, people.c.folded).execution_options(yield_per=1000)
    for some in connection.execute(asked).partitions():
        rows = [
            {"piece": piece, "site_id": row.site_id}
            for row in some
            for piece in pieces_of(row.folded)
        ]
        if rows:
            connection.execute(pieces.insert(), rows)


def year_made(opened: datetime | None, age_years: float | None) -> float | None:
    """The year a unit is of, where its age was given on a day."""
    if age_years is None or opened is None:
        return None
    return opened.year + (opened.timetuple().tm_yday - 1) / 365.25 - age_years


_EVENT_KEYS = ("check", "answer", "fix", "done", "found", "inlet", "by", "at")


def insert(connection: Connection, visit: Visit, site_id: str | None) -> None:
    """Write a visit that is not there yet, with its events."""
    row = {"id": visit.id, "short": short_id(visit.id), "site_id": site_id, **header_row(visit)}
    connection.execute(visits.insert().values(**row))
    rows = [
        {"visit_id": visit.id, "number": number, **event_row(event)}
        for number, event in enumerate(visit.events, start=1)
    ]
    if rows:
        connection.execute(events.insert(), rows)


def header_row(visit: Visit) -> dict[str, Any]:
    """Columns of `visits` for all of a visit but its id, its people and its events.

    Raises:
        InputError: a time without a time zone.
    """
    hidden: dict[str, Any] = dict.fromkeys(("id", "opened", "rules", "conclusion", "events"), True)
    hidden["site"] = set(PEOPLE)
    conclusion = visit.conclusion
    return {
        "opened": in_utc(visit.opened, Place(key="opened")),
        "changed": datetime.now(UTC),
        "status": "open" if conclusion is None else "closed",
        "technician": visit.technician,
        "fault": conclusion and conclusion.fault,
        "rules": visit.rules,
        "header": visit.model_dump(mode="json", by_alias=True, exclude=hidden),
        "conclusion": None if conclusion is None else conclusion.model_dump(mode="json"),
    }


def event_row(event: Event) -> dict[str, Any]:
    """Columns of `events` for one event. Errors as `header_row`."""
    row = {key: getattr(event, key) for key in _EVENT_KEYS}
    more = event.model_dump(mode="json", exclude=set(_EVENT_KEYS), exclude_defaults=True)
    return {**row, "at": in_utc(event.at, Place(key="at")), "more": more or None}


def event_of(row: Any, prefix: str = "") -> Event:
    """The event in a row of `events`, whose columns may carry a prefix."""
    more = getattr(row, f"{prefix}more") or {}
    return Event(**{key: getattr(row, prefix + key) for key in _EVENT_KEYS}, **more)


def visits_of_houses() -> sa.Join:
    """Visits beside the people of the house that their site's entry is of."""
    of = visits.outerjoin(sites, sites.c.id == visits.c.site_id)
    return of.outerjoin(people, people.c.site_id == sites.c.house_id)


def whole_visits() -> sa.Select[Any]:
    """Rows for `visit_of`: visits beside the people of their house (prefix `p_`) and events (`e_`).

    One statement, so that all of it is of one moment.
    """
    columns: list[Any] = [
        visits,
        *(people.c[name].label(f"p_{name}") for name in PEOPLE),
        *(column.label(f"e_{column.name}") for column in events.c),
    ]
    joined: sa.Select[Any] = sa.select(*columns).select_from(
        visits_of_houses().outerjoin(events, events.c.visit_id == visits.c.id)
    )
    return joined.order_by(*NEWEST, events.c.number)


def visit_of(rows: Sequence[Any]) -> tuple[Visit, Refused]:
    """The visit in its rows of `whole_visits`, and what of its header cannot be used any more.

    A number outside the limits of today was taken in by an earlier stillflow; it is left out, so
    that it can be asked again.

    Raises:
        ValueError: what is kept is not a visit.
    """
    row = rows[0]
    apart = {
        "id": row.id,
        "opened": row.opened,
        "rules": row.rules,
        "conclusion": row.conclusion,
        "events": tuple(event_of(one, "e_") for one in rows if one.e_number is not None),
    }
    header: dict[str, Any] = dict(deepcopy(row.header))
    named = {name: getattr(row, f"p_{name}") for name in PEOPLE}
    header["site"] = {**header.get("site", {}), **{k: v for k, v in named.items() if v}}
    try:
        return Visit(**header, **apart), {}
    except ValidationError as problem:
        refused: Refused = {}
        for error in problem.errors(include_url=False):
            if not isinstance(error.get("input"), int | float) or len(error["loc"]) < 2:
                raise
            *path, last = error["loc"]
            holder: Any = header
            for step in path:
                holder = holder[step]
            del holder[last]
            why = str(error["msg"]).removeprefix("Value error, ")
            refused[str(error["loc"][0]), ".".join(map(str, error["loc"][1:]))] = why
        return Visit(**header, **apart), refused


Refused = dict[tuple[str, str], str]
"""Part and field of a visit -> what is wrong with the value that is kept of it."""
