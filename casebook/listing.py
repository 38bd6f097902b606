"""Visits as lines of a list, found by house, day, fault, technician, and whether they are open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
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
        ended: how a closed one did: done, refer, stop or aside.
        site: what the house is called; empty where it has no name.
        technician, fault: as kept; the fault's id, empty where none was found.
        others: how many wrote answers or fixes in it beside the technician.
        answers: how many events it has.
    """

    id: str
    short: str
    opened: datetime | None
    status: str
    ended: str
    site: str
    technician: str
    others: int
    fault: str
    answers: int


@dataclass(frozen=True)
class Wanted:
    """Which visits; what is None does not matter.

    Attributes:
        entries: ids of the entries of one house.
        since, until: day and time, UTC; `until` is not among them.
        fault: id of the fault it was closed with.
        technician: whose visit it is, or who wrote an answer or a fix in it.
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
        if self.technician is not None:
            found.append(sa.or_(*self.hands))
        for column in (visits.c.fault, visits.c.status):
            value = getattr(self, column.name)
            if value is not None:
                found.append(column == value)
        return found

    @property
    def hands(self) -> tuple[sa.ColumnElement[bool], sa.ColumnElement[bool]]:
        """That the technician began a visit, and that he wrote in one of somebody else's."""
        wrote = sa.select(events.c.visit_id).where(events.c.by == self.technician)
        return visits.c.technician == self.technician, visits.c.id.in_(wrote)


def lines_statement(wanted: Wanted, limit: int) -> sa.Select[tuple[object, ...]]:
    """The query behind `listed`."""
    mine = events.c.visit_id == visits.c.id
    answers = sa.select(sa.func.count()).where(mine)
    others = sa.select(sa.func.count(events.c.by.distinct())).where(mine)
    order = NEWEST if wanted.status == "open" else (visits.c.opened.desc(), visits.c.id.desc())
    which = wanted.conditions
    if wanted.technician is not None:
        # His own come sorted out of their index, which they would not with those he wrote in.
        which = replace(wanted, technician=None).conditions
        some = [
            sa.select(visits.c.id).where(*which, one).order_by(*order).limit(limit).subquery()
            for one in wanted.hands
        ]
        which = [visits.c.id.in_(sa.union(*map(sa.select, some)))]
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
            others.scalar_subquery().label("others"),
            visits.c.fault,
            answers.scalar_subquery().label("answers"),
        )
        .select_from(visits_of_houses())
        .where(*which)
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
                others=row.others,
                fault=row.fault or "",
                answers=row.answers,
            )
            for row in connection.execute(lines_statement(wanted, limit))
        ]
