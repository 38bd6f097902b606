"""The casebook's tables, and how a visit becomes rows of them and back.

Which rows are read and written when is in `store`; where the database is, in `database`.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from copy import deepcopy
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from pydantic import ValidationError
from sqlalchemy.engine import Connection, Dialect

from stillflow.casebook.parsing import in_utc
from stillflow.engine.base import Place, SetupError
from stillflow.engine.inference import Event, Visit

VERSION = 2
"""Of the tables below. A higher one in a database was made by a newer stillflow."""


class _Moment(sa.types.TypeDecorator[datetime]):
    """A moment in UTC, also where the database keeps no time zone."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None or value.tzinfo is not None:
            return value and value.astimezone(UTC)
        return value.replace(tzinfo=UTC)


class _Answer(sa.types.TypeDecorator[float | str]):
    """A reading or a word, as JSON in a column of text.

    SQLite takes a column called JSON for one of numbers, and reads a decimal less exactly than
    Python does: some readings came back changed in their last digit. Casebooks made before have
    such a column still, and give numbers from it.
    """

    impl = sa.Text
    cache_ok = True

    def process_bind_param(self, value: float | str | None, dialect: Dialect) -> str | None:
        return None if value is None else json.dumps(value)

    def process_result_value(
        self, value: float | str | None, dialect: Dialect
    ) -> float | str | None:
        return json.loads(value) if isinstance(value, str) else value


TABLES = sa.MetaData()

casebook = sa.Table(
    "casebook",
    TABLES,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("version", sa.Integer, nullable=False),
)

visits = sa.Table(
    "visits",
    TABLES,
    sa.Column("id", sa.String(80), primary_key=True),
    sa.Column("opened", _Moment, nullable=True),
    sa.Column("changed", _Moment, nullable=False),
    sa.Column("status", sa.String(10), nullable=False),
    # The site's name again, beside the header that holds it, so that visits to it can be found.
    sa.Column("site", sa.String(200), nullable=False),
    sa.Column("rules", sa.Text, nullable=False),
    sa.Column("header", sa.JSON, nullable=False),
    sa.Column("conclusion", sa.JSON(none_as_null=True), nullable=True),
)

events = sa.Table(
    "events",
    TABLES,
    sa.Column("visit_id", sa.ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("at", _Moment, nullable=True),
    sa.Column("check", sa.Text, nullable=True),
    sa.Column("answer", _Answer, nullable=True),
    sa.Column("fix", sa.Text, nullable=True),
    sa.Column("done", sa.Boolean, nullable=True),
    sa.Column("found", sa.Boolean, nullable=True),
    sa.Column("inlet", sa.Text, nullable=True),
)

NEWEST = (visits.c.changed.desc(), visits.c.id.desc())
"""Order of visits: the last changed first."""

_EVENT_KEYS = ("check", "answer", "fix", "done", "found", "inlet", "at")


def prepare(connection: Connection, place: str) -> None:
    """Make the tables where there are none, and refuse those of a newer stillflow.

    Raises:
        SetupError: made by a newer stillflow.
    """
    version = None
    if sa.inspect(connection).has_table(casebook.name):
        version = connection.scalar(sa.select(casebook.c.version))
    if version is None:
        # Another program may be at the same, so each step allows for its having been done, and
        # the version comes last.
        for table in TABLES.sorted_tables:
            connection.execute(sa.schema.CreateTable(table, if_not_exists=True))
        ours = sa.select(sa.literal(1), sa.literal(VERSION)).where(
            ~sa.exists(sa.select(casebook.c.id))
        )
        connection.execute(casebook.insert().from_select(["id", "version"], ours))
    elif not isinstance(version, int):
        what = f"it is no casebook, or is damaged (its version is {str(version)[:20]!r})"
        raise SetupError(what, Place(place), "move it away, or restore an earlier copy of it")
    elif version > VERSION:
        raise SetupError(
            f"this casebook is of a newer stillflow (its version is {version}, ours {VERSION})",
            Place(place),
            "update stillflow",
        )
    elif version < VERSION:
        _bring_up(connection)


def _bring_up(connection: Connection) -> None:
    """Make tables of an earlier version those of today; nothing that is kept is changed."""
    # As the first statement this keeps out another program that is at the same.
    connection.execute(casebook.update().values(version=VERSION))
    known = {column["name"] for column in sa.inspect(connection).get_columns(events.name)}
    for column in events.columns:
        if column.name not in known:
            # Every column that ever came later may be empty.
            kind = column.type.compile(connection.dialect)
            connection.execute(
                sa.text(f"ALTER TABLE {events.name} ADD COLUMN {column.name} {kind}")
            )


def insert(connection: Connection, visit: Visit) -> None:
    """Write a visit that is not there yet, with its events."""
    connection.execute(visits.insert().values(id=visit.id, **header_row(visit)))
    rows = [
        {"visit_id": visit.id, "number": number, **event_row(event)}
        for number, event in enumerate(visit.events, start=1)
    ]
    if rows:
        connection.execute(events.insert(), rows)


def header_row(visit: Visit) -> dict[str, Any]:
    """Columns of `visits` for all of a visit but its id and events.

    Raises:
        InputError: a time without a time zone.
    """
    apart = {"id", "opened", "rules", "conclusion", "events"}
    conclusion = visit.conclusion
    return {
        "opened": in_utc(visit.opened, Place(key="opened")),
        "changed": datetime.now(UTC),
        "status": "open" if conclusion is None else "closed",
        "site": visit.site.name,
        "rules": visit.rules,
        "header": visit.model_dump(mode="json", by_alias=True, exclude=apart),
        "conclusion": None if conclusion is None else conclusion.model_dump(mode="json"),
    }


def event_row(event: Event) -> dict[str, Any]:
    """Columns of `events` for one event. Errors as `header_row`."""
    row = {key: getattr(event, key) for key in _EVENT_KEYS}
    return {**row, "at": in_utc(event.at, Place(key="at"))}


def event_of(row: Any, prefix: str = "") -> Event:
    """The event in a row of `events`, whose columns may carry a prefix."""
    return Event(**{key: getattr(row, prefix + key) for key in _EVENT_KEYS})


def whole_visits() -> sa.Select[Any]:
    """Rows for `visit_of`: visits beside their events, these with the prefix `e_`.

    One statement, so that all of it is of one moment.
    """
    both: list[Any] = [visits, *(column.label(f"e_{column.name}") for column in events.c)]
    joined: sa.Select[Any] = sa.select(*both).select_from(visits.outerjoin(events))
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
    try:
        return Visit(**row.header, **apart), {}
    except ValidationError as problem:
        header: dict[str, Any] = deepcopy(row.header)
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
