"""Two casebooks joined, such as a laptop's and the shop's, until both hold all of both.

Every write to a visit or a house leaves a line in the trail, under an id of its own. So where all
lines of one side are known to the other, the other has the later version, and it is taken as it
is; where both have lines of their own, two people have gone on apart. Then a note or a part that
one of them added is put behind what the other did, and anything else is kept as two visits.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import NAMESPACE_URL, uuid5

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from stillflow.casebook.changes import FORGOTTEN, change_words, edited_fields
from stillflow.casebook.files import visit_text
from stillflow.casebook.ids import new_id, short_id
from stillflow.casebook.site_writing import learn, reword
from stillflow.casebook.sites import Sites
from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import (
    PEOPLE,
    events,
    folded,
    inlets,
    insert,
    people,
    photos,
    sites,
    trail,
    units,
    visits,
)
from stillflow.engine.base import InputError, Place
from stillflow.engine.inference import Event, Visit

_AT_ONCE = 400
_PHOTOS_AT_ONCE = 10

Mark = tuple[int, str]
"""Of the trail of one thing: how many lines, and the last one's id."""


@dataclass(frozen=True)
class Parted:
    """A visit that two people went on with apart.

    Attributes:
        kept: the other casebook's version, under the visit's id.
        other: this one's, as a visit of its own.
        house: what it is called.
        by: " by NAME" of `other` and of `kept`, of who wrote it since they were one; empty where
            nobody is said.
    """

    kept: str
    other: str
    house: str
    by: tuple[str, str]


@dataclass(frozen=True)
class Differing:
    """A field of a house of which two people wrote something else, apart.

    Attributes:
        house: its short id.
        field: such as phone.
        kept, dropped: what is there now, and what the trail alone still says.
    """

    house: str
    field: str
    kept: Any
    dropped: Any


@dataclass(frozen=True)
class Synced:
    """What a sync came to.

    Attributes:
        sent, fetched: visits that the other casebook, and this one, did not have so.
        joined: visits in which what both had added was put together.
        parted: visits of which both versions are kept.
        apart: what both say otherwise of a house; the later word holds, else the other casebook's.
        forgotten: houses that one side had forgotten, and the other now has too.
    """

    sent: int
    fetched: int
    joined: int
    parted: tuple[Parted, ...]
    apart: tuple[Differing, ...]
    forgotten: int = 0


def sync(here: Casebook, there: Casebook) -> Synced:
    """Join two casebooks. All of it is done on a side, or nothing; a second time changes nothing.

    Raises:
        InputError: they are one and the same.
    """
    if here.same_as(there):
        right = "name the other casebook with --to"
        raise InputError("this is one and the same casebook", Place(there.place), right)
    forgotten = _forget_alike(here, there)
    # The inner one is committed first: what is broken off then is gone on with the next time.
    with here.transaction(alone=True) as mine, there.transaction(alone=True) as theirs:
        return _Joining((here, there), (mine, theirs)).run(forgotten)


def _forget_alike(here: Casebook, there: Casebook) -> int:
    """Whom one side has forgotten, the other forgets too, before names could come back."""
    gone, count = [], 0
    for book in (here, there):
        with book.transaction() as connection:
            asked = sa.select(trail.c.about, trail.c.id).where(trail.c.what == FORGOTTEN)
            gone.append({(row.about, row.id) for row in connection.execute(asked)})
    for book, told in ((here, gone[1] - gone[0]), (there, gone[0] - gone[1])):
        for site_id in sorted({about for about, _ in told}):
            with book.transaction() as connection:
                named = sa.select(people.c.site_id).where(people.c.site_id == site_id)
                known = connection.scalar(named) is not None
            # Of entries that were merged, one takes the others along.
            if known:
                Sites(book).forget(site_id)
                count += 1
    return count


class _Joining:
    """One sync: two casebooks, a connection to each, in a transaction of their own."""

    def __init__(
        self, books: tuple[Casebook, Casebook], connections: tuple[Connection, Connection]
    ) -> None:
        self._books = books
        self._sides = connections
        self._moved = [0, 0]
        self._joined = 0
        self._parted: list[Parted] = []
        self._apart: list[Differing] = []
        self._edits: dict[str, tuple[dict[str, datetime], dict[str, datetime]]] = {}

    def run(self, forgotten: int) -> Synced:
        marks = [_marks(one) for one in self._sides]
        self._join_sites(marks)
        at = [
            {row.id: row.site_id for row in one.execute(sa.select(visits.c.id, visits.c.site_id))}
            for one in self._sides
        ]
        apart = [
            one
            for one in sorted(at[0].keys() | at[1].keys())
            if one not in at[0]
            or one not in at[1]
            or marks[0].get(one) is None
            or marks[0].get(one) != marks[1].get(one)
        ]
        for some in _pieces(apart, _AT_ONCE):
            self._join_visits(some, at)
        self._join_photos()
        sent, fetched = self._moved
        parted, differing = tuple(self._parted), tuple(self._apart)
        return Synced(sent, fetched, self._joined, parted, differing, forgotten)

    def _join_visits(self, some: Sequence[str], at: list[dict[str, str | None]]) -> None:
        lines = [_lines(one, some) for one in self._sides]
        found = [
            {one.id: one for one in book.load(connection, visits.c.id.in_(some))}
            for book, connection in zip(self._books, self._sides, strict=True)
        ]
        for visit_id in some:
            mine, theirs = (one.get(visit_id) for one in found)
            ours, its = (one.get(visit_id) for one in at)
            known = [set(one[visit_id]) for one in lines]
            if mine == theirs:
                continue
            if theirs is None or (mine is not None and known[0] > known[1]):
                assert mine is not None
                self._write(1, mine, ours)
                self._moved[0] += 1
            elif mine is None or known[1] > known[0]:
                self._write(0, theirs, its)
                self._moved[1] += 1
            elif (both := _joined(mine, theirs)) is not None:
                self._write(0, both, its or ours)
                self._write(1, both, its or ours)
                self._joined += 1
            else:
                self._part(mine, theirs, its or ours, _own_writers(lines, visit_id))
        self._join_lines(lines)

    def _write(self, side: int, visit: Visit, site_id: str | None) -> None:
        """Have one side keep a visit as it is; what it says of its house is learnt on both."""
        connection = self._sides[side]
        connection.execute(events.delete().where(events.c.visit_id == visit.id))
        connection.execute(visits.delete().where(visits.c.id == visit.id))
        insert(connection, visit, site_id)
        for one in self._sides:
            learn(one, visit, site_id)

    def _part(self, mine: Visit, theirs: Visit, site_id: str | None, by: tuple[str, str]) -> None:
        """Keep both versions: theirs under the visit's id, mine as a visit of its own.

        Args:
            mine: this casebook's version.
            theirs: the other one's.
            site_id: their house.
            by: who wrote mine and theirs since they were one, in words; empty where nobody is said.
        """
        # The id comes from what is in it, so that a sync that broke off comes to the same one.
        other = mine.model_copy(update={"id": str(uuid5(NAMESPACE_URL, visit_text(mine)))})
        self._write(0, theirs, site_id)
        for side in (0, 1):
            self._write(side, other, site_id)
        short = short_id(other.id)
        for about, what in (
            (theirs.id, f"two people went on with it apart: the other version{by[0]} is {short}"),
            (other.id, f"the version{by[0]} of visit {short_id(theirs.id)}, kept by a sync"),
        ):
            self._note(about, what)
        house = theirs.site.name or theirs.site.address
        self._parted.append(Parted(theirs.id, other.id, house, by))

    def _note(self, about: str, what: str) -> None:
        """Write the same line into the trail of either side."""
        who = self._books[0].who or self._books[1].who
        row = {"id": new_id(), "at": datetime.now(UTC), "who": who, "about": about, "what": what}
        for connection in self._sides:
            connection.execute(trail.insert().values(**row))

    def _join_lines(self, lines: list[dict[str, dict[str, Any]]]) -> None:
        """Give each side the lines of the trail that it lacks."""
        for side, connection in enumerate(self._sides):
            has, given = lines[side], lines[1 - side]
            missing = [
                row for about in given for key, row in given[about].items() if key not in has[about]
            ]
            if missing:
                connection.execute(trail.insert(), missing)

    def _join_sites(self, marks: list[dict[str, Mark]]) -> None:
        rows = [_rows(one, sites, "id") for one in self._sides]
        named = [_rows(one, people, "site_id") for one in self._sides]
        ids = sorted(rows[0].keys() | rows[1].keys())
        apart = [
            one
            for one in ids
            if rows[0].get(one) != rows[1].get(one)
            or named[0].get(one) != named[1].get(one)
            or marks[0].get(one) != marks[1].get(one)
        ]
        later: dict[str, int] = {}
        for some in _pieces(apart, _AT_ONCE):
            lines = [_lines(one, some) for one in self._sides]
            for site_id in some:
                known = [set(one[site_id]) for one in lines]
                if known[0] > known[1] or known[1] > known[0]:
                    later[site_id] = 0 if known[0] > known[1] else 1
                    continue
                self._edits[site_id] = _own_edits(lines, site_id)
            self._join_lines(lines)
        # Entries first, since one may be merged into another that is not there yet.
        bare = {"merged_into": None}
        for side, connection in enumerate(self._sides):
            new = [rows[1 - side][one] | bare for one in ids if one not in rows[side]]
            if new:
                connection.execute(sites.insert(), new)
        parents: dict[str, str | None] = {}
        for one in ids:
            said = [side[one]["merged_into"] if one in side else None for side in rows]
            parents[one] = said[later[one]] if one in later else said[1] or said[0]
        for side, connection in enumerate(self._sides):
            for one in ids:
                wanted = {"merged_into": parents[one], "house_id": _top(parents, one)}
                row = rows[side].get(one) or rows[1 - side][one] | bare
                if any(row[key] != value for key, value in wanted.items()):
                    mine = sites.c.id == one
                    connection.execute(sites.update().where(mine).values(**wanted))
        self._join_rows(sites, ("id",), later, {"merged_into", "house_id"})
        self._join_rows(people, ("site_id",), later, {"folded"})
        self._join_rows(inlets, ("site_id", "name"), later)
        self._join_rows(units, ("site_id", "fitted"), later)

    def _join_rows(
        self,
        table: sa.Table,
        key: tuple[str, ...],
        later: dict[str, int],
        beside: Collection[str] = (),
    ) -> None:
        """Bring the rows of a table together: the later word, or all that either side says."""
        found = [_rows(one, table, *key) for one in self._sides]
        for one in sorted(found[0].keys() | found[1].keys()):
            rows = [side.get(one) for side in found]
            if rows[0] == rows[1]:
                continue
            site_id = one if isinstance(one, str) else one[0]
            decided = later.get(site_id)
            if decided is not None and rows[decided] is None and table in (inlets, units):
                # Who has the later word has taken it off.
                mine = [table.c[name] == value for name, value in zip(key, one, strict=True)]
                self._sides[1 - decided].execute(table.delete().where(*mine))
                continue
            both = rows[0] or rows[1] or {}, rows[1] or rows[0] or {}
            if decided is None:
                merged = self._merged(table, site_id, both, beside)
            else:
                merged = {name: one for name, one in both[decided].items() if name not in beside}
            if table is people:
                merged["folded"] = folded(merged[name] for name in PEOPLE)
            for row, connection in zip(rows, self._sides, strict=True):
                if row is None:
                    connection.execute(table.insert().values(**merged))
                elif any(row[name] != value for name, value in merged.items()):
                    mine = [table.c[name] == merged[name] for name in key]
                    connection.execute(table.update().where(*mine).values(**merged))
                if table is people:
                    reword(connection, site_id, (row or {}).get("folded", ""), merged["folded"])

    def _merged(
        self,
        table: sa.Table,
        site_id: str,
        rows: Sequence[dict[str, Any]],
        beside: Collection[str] = (),
    ) -> dict[str, Any]:
        """Field by field of two rows the later word; where nobody knows which is, the other's."""
        edits = self._edits.get(site_id, ({}, {}))
        merged: dict[str, Any] = {}
        for name in sorted({*rows[0], *rows[1]} - {*beside}):
            values = [row.get(name) for row in rows]
            if isinstance(values[0], dict) and isinstance(values[1], dict):
                merged[name] = self._merged(table, site_id, (values[0], values[1]))
                continue
            field = name if table is not units else f"unit {_SAID_AS.get(name, name)}"
            mine, theirs = (side.get(field) for side in edits)
            if mine is None and theirs is None:
                later, asked = int(values[1] not in (None, "")), table is people and all(values)
            else:
                later = int(mine is None or (theirs is not None and theirs >= mine))
                asked = mine is not None and theirs is not None
            merged[name] = values[later]
            if asked and values[0] != values[1]:
                kept, dropped = values[later], values[1 - later]
                self._apart.append(Differing(short_id(site_id), field, kept, dropped))
                words = change_words([(field, dropped, kept)])
                self._note(site_id, f"two people edited it apart: {words}")
        return merged

    def _join_photos(self) -> None:
        has = [set(one.scalars(sa.select(photos.c.id))) for one in self._sides]
        for side, connection in enumerate(self._sides):
            for some in _pieces(sorted(has[1 - side] - has[side]), _PHOTOS_AT_ONCE):
                asked = sa.select(photos).where(photos.c.id.in_(some))
                rows = [dict(row) for row in self._sides[1 - side].execute(asked).mappings()]
                connection.execute(photos.insert(), rows)


_SAID_AS = {"made": "age_years"}
"""Columns of `units` that an edit is said of by another name."""


def _own_edits(
    lines: list[dict[str, dict[str, Any]]], about: str
) -> tuple[dict[str, datetime], dict[str, datetime]]:
    """Fields that each side alone knows to have been edited, and when last."""
    mine, theirs = (
        {field: row["at"] for row in own for field in edited_fields(row["what"])}
        for own in _own_lines(lines, about)
    )
    return mine, theirs


def _own_writers(lines: list[dict[str, dict[str, Any]]], about: str) -> tuple[str, str]:
    """Who wrote the lines of the trail that only one side has, of each side, in words."""
    mine, theirs = (
        " and ".join(filter(None, dict.fromkeys(row["who"] for row in own)))
        for own in _own_lines(lines, about)
    )
    return mine and f" by {mine}", theirs and f" by {theirs}"


def _own_lines(
    lines: list[dict[str, dict[str, Any]]], about: str
) -> Iterator[list[dict[str, Any]]]:
    """The lines of the trail that only one side has, oldest first, of each side."""
    for has, other in (lines, lines[::-1]):
        yield [row for key, row in sorted(has[about].items()) if key not in other[about]]


def _joined(mine: Visit, theirs: Visit) -> Visit | None:
    """Both versions in one, where one side has only added what nobody's belief rests on."""
    apart: dict[str, Any] = {"events": (), "conclusion": None}
    if mine.model_copy(update=apart) != theirs.model_copy(update=apart):
        return None
    pairs = zip(mine.events, theirs.events, strict=False)
    same = next((n for n, (a, b) in enumerate(pairs) if a != b), None)
    same = min(len(mine.events), len(theirs.events)) if same is None else same
    rests = mine.events[same:], theirs.events[same:]
    quiet = [all(map(_quiet, rest)) for rest in rests]
    if not any(quiet):
        return None
    base, other, added = (theirs, mine, rests[0]) if quiet[0] else (mine, theirs, rests[1])
    ended = base.conclusion or (other.conclusion if all(quiet) else None)
    return base.model_copy(update={"events": (*base.events, *added), "conclusion": ended})


def _quiet(event: Event) -> bool:
    return event.beside and event.strikes is None


def _top(parents: dict[str, str | None], site_id: str) -> str:
    """The entry that stands for a house; of entries merged in a ring, the first by id."""
    seen = [site_id]
    while (above := parents.get(seen[-1])) is not None:
        if above in seen:
            return min(seen)
        seen.append(above)
    return seen[-1]


def _marks(connection: Connection) -> dict[str, Mark]:
    asked = sa.select(trail.c.about, sa.func.count(), sa.func.max(trail.c.id))
    rows = connection.execute(asked.group_by(trail.c.about))
    return {row[0]: (row[1], row[2]) for row in rows}


def _lines(connection: Connection, about: Sequence[str]) -> dict[str, dict[str, Any]]:
    """What a trail is of -> id of a line -> its row."""
    found: dict[str, dict[str, Any]] = defaultdict(dict)
    asked = sa.select(trail).where(trail.c.about.in_(about))
    for row in connection.execute(asked).mappings():
        found[row["about"]][row["id"]] = dict(row)
    return found


def _rows(connection: Connection, table: sa.Table, *key: str) -> dict[Any, dict[str, Any]]:
    rows = [dict(row) for row in connection.execute(sa.select(table)).mappings()]
    if len(key) == 1:
        return {row[key[0]]: row for row in rows}
    return {tuple(row[one] for one in key): row for row in rows}


def _pieces(some: Iterable[str], size: int) -> Iterator[list[str]]:
    whole = list(some)
    return (whole[at : at + size] for at in range(0, len(whole), size))
