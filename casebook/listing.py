"""Visits as lines of a list, found by house, day, fault, technician, and whether they are open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import NEWEST, events, people, visits, visits_of_houses


@dataclass(frozen=True)
class VisitLine:
    """A visit in a list.

    Attributes:
        id, short: its id, and that in six letters and digits.
        opened: when it began.
        status: open or closed.
        ended: how a closed one did: done, refer or stop.
        site: what the house is called; empty where it has no name.
        technician, fault: as kept; the fault's id, empty where none was found.
        answers: how many events it has.
    """

    id: str
    short: str
    opened: datetime | None
    status: str
    ended: str
    site: str
    technician: str
    fault: str
    answers: int


@dataclass(frozen=True)
class Wanted:
    """Which visits; what is None does not matter.

    Attributes:
        entries: ids of the entries of one house.
        since, until: day and time, UTC; `until` is not among them.
        fault: id of the fault it was closed with.
        technician: as kept.
        status: open or closed.
    """

    entries: Sequence[str] | None = None
    since: datetime | None = None
    until: datetime | None = None
    fault: str | None = None
    technician: str | None = None
    status: str | None = None

    @property
    def conditions(self) -> list[sa.ColumnElement[bool]]:
        """What SQL is asked."""
        found: list[sa.ColumnElement[bool]] = []
        if self.entries is not None:
            found.append(visits.c.site_id.in_(self.entries))
        if self.since is not None:
            found.append(visits.c.opened >= self.since)
        if self.until is not None:
            found.append(visits.c.opened < self.until)
        for column in (visits.c.fault, visits.c.technician, visits.c.status):
            value = getattr(self, column.name)
            if value is not None:
                found.append(column == value)
        return found


def lines_statement(wanted: Wanted, limit: int) -> sa.Select[tuple[object, ...]]:
    """The query behind `listed`."""
    answers = sa.select(sa.func.count()).where(events.c.visit_id == visits.c.id)
    order = NEWEST if wanted.status == "open" else (visits.c.opened.desc(), visits.c.id.desc())
    return (
        sa.select(
            visits.c.id,
            visits.c.short,
            visits.c.opened,
            visits.c.status,
            visits.c.conclusion["step"].as_string().label("ended"),
            people.c.name,
            people.c.address,
            visits.c.technician,
            visits.c.fault,
            answers.scalar_subquery().label("answers"),
        )
        .select_from(visits_of_houses())
        .where(*wanted.conditions)
        .order_by(*order)
        .limit(limit)
    )


def listed(casebook: Casebook, wanted: Wanted, limit: int) -> list[VisitLine]:
    """Visits as asked for, the latest first; open ones the last changed first."""
    with casebook.transaction() as connection:
        return [
            VisitLine(
                id=row.id,
                short=row.short,
                opened=row.opened,
                status=row.status,
                ended=row.ended or "",
                site=row.name or row.address or "",
                technician=row.technician,
                fault=row.fault or "",
                answers=row.answers,
            )
            for row in connection.execute(lines_statement(wanted, limit))
        ]
