"""Houses across their visits: who lives there, what is known of unit and inlets, which visits.

A site is learnt from the visits to it as they are kept. Two entries that turn out to be one house
are merged by a mark on one of them, so that they can be parted again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from stillflow.casebook.changes import EDITED, FORGOTTEN, Change, change_words, names_in
from stillflow.casebook.ids import as_typed, short_id
from stillflow.casebook.nameless import Disguise, anonymous, people_of
from stillflow.casebook.site_writing import (
    HOUSE,
    call,
    describe,
    folded_so_far,
    name_inlets,
    reword,
    top_entry,
    unknown_site,
)
from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import (
    PEOPLE,
    asked_pieces,
    event_row,
    events,
    inlets,
    people,
    photos,
    pieces,
    sites,
    trail,
    units,
    visits,
    year_made,
)
from stillflow.engine.base import InputError
from stillflow.engine.inference import (
    GoodReading,
    House,
    NamedInlet,
    Site,
    Unit,
    Visit,
    key_of,
    unlike,
)

_SHOWN = 5
_VISITS_A_HOUSE = 20
_FEW = 500
_RAREST = 2
_MANY, _LATE = 2000, 5000
"""From so many houses with a word on, those of so many latest visits are looked at first."""

_FALLEN = 2.0
"""Times the gauge's tolerance that a reading must be below the best one to have fallen."""


@dataclass(frozen=True)
class SiteLine:
    """A site in a list.

    Attributes:
        id, short: its id, and that in six letters and digits.
        name, address, customer, phone: empty where not known or forgotten.
        visits: how many there were.
        last: when the last one began.
    """

    id: str
    short: str
    name: str
    address: str
    customer: str
    phone: str
    visits: int
    last: datetime | None

    @property
    def words(self) -> str:
        """What people know it by."""
        return (
            ", ".join(
                dict.fromkeys(filter(None, (self.name, self.address, self.customer, self.phone)))
            )
            or "an unnamed house"
        )


@dataclass(frozen=True)
class KnownSite:
    """A house as far as its visits and its editors have told.

    Attributes:
        line: who and where.
        site: people, altitude and inlets; none is chosen.
        house: tubing and hose.
        unit: as it was that day, with its age.
        units: day fitted (empty for the first known) and what is known, oldest first.
        entries: short ids of the entries that were merged into this one, and their names.
    """

    line: SiteLine
    site: Site
    house: House
    unit: Unit
    units: tuple[tuple[str, Unit], ...]
    entries: tuple[tuple[str, str], ...]


class Sites:
    """The sites of a casebook. Errors as `Casebook`."""

    def __init__(self, casebook: Casebook) -> None:
        self._casebook = casebook

    def find(self, words: str = "", limit: int = 20) -> list[SiteLine]:
        """Sites whose name, street, customer or phone holds every word, the last visited first.

        Where no word has more than two letters, they are looked for at the beginning of theirs.
        """
        with self._casebook.transaction() as connection:
            parts = words.casefold().split()
            rare = _rarest(connection, set().union(*map(asked_pieces, parts))) if parts else None
            latest = []
            if rare is None or rare.count > _MANY:
                latest = _latest(connection, limit, _spelling(parts) if parts else None)
            which = sites.c.id.in_(latest) if latest else _holding(connection, words)
            return _lines(connection, which, limit)

    def named(self, text: str) -> SiteLine:
        """The one site that an id, a short id or part of a name, street or phone is of.

        Raises:
            InputError: none is, or several are.
        """
        with self._casebook.transaction() as connection:
            found = _lines(connection, _called(text), 1)
            if not found and text.strip():
                whole = text.strip().lower()
                exactly = sa.func.lower(people.c.name) == whole
                exactly |= sa.func.lower(people.c.address) == whole
                found = _lines(connection, _holding(connection, text, exactly), _SHOWN + 1)
                found = found or _lines(connection, _holding(connection, text), _SHOWN + 1)
            if not found:
                what = f"there is no site '{text[:60]}' in the casebook"
                raise InputError(what, right="stillflow sites lists them")
            if len(found) > 1:
                some = ", ".join(f"{one.short} ({one.words})" for one in found[:_SHOWN])
                more = ", ..." if len(found) > _SHOWN else ""
                what = f"several sites have '{text[:60]}' in their name, street or phone"
                raise InputError(what, right=f"give more of it, or an id: {some}{more}")
            return found[0]

    def known(self, site_id: str, today: datetime | None = None) -> KnownSite:
        """All that is known of a site and the entries merged into it, as of a day.

        Raises:
            InputError: there is none with this id.
        """
        with self._casebook.transaction() as connection:
            return _known(connection, site_id, today or datetime.now(UTC))

    def entries(self, site_id: str) -> list[str]:
        """Ids of a site and of all entries that are of the same house."""
        with self._casebook.transaction() as connection:
            return _house(connection, site_id)

    def visits(self, site_id: str) -> list[Visit]:
        """Whole visits to a site and the entries merged into it, oldest first."""
        with self._casebook.transaction() as connection:
            mine = visits.c.site_id.in_(_house(connection, site_id))
            found = self._casebook.load(connection, mine)
        begun = datetime.min.replace(tzinfo=UTC)
        return sorted(found, key=lambda one: (one.opened or begun, one.id))

    def prefilled(self, known: KnownSite, visit: Visit) -> Visit:
        """A visit with what is known of its house, where it does not say otherwise itself."""
        good = self._good_readings(known, visit.opened)
        parts: dict[str, Any] = {"earlier": good}
        for name, part in (("site", known.site), ("unit", known.unit), ("house", known.house)):
            said = getattr(visit, name).model_dump(exclude_defaults=True)
            parts[name] = type(part)(**{**part.model_dump(), **said})
        return visit.model_copy(update=parts)

    def _good_readings(self, known: KnownSite, before: datetime | None) -> tuple[GoodReading, ...]:
        """The newest good reading of each spot of a house, as long as its unit is the same.

        Of visits that were begun before a moment, where one is written up that others came after.
        A reading that fell further below the best one there than a gauge is off does not take an
        earlier one's place: visit by visit each would be as expected, and the house ever weaker.
        """
        newest: dict[tuple[str, ...], GoodReading] = {}
        best: dict[tuple[str, ...], tuple[GoodReading, House]] = {}
        for visit in self.visits(known.line.id):
            opened = visit.opened
            later = before is not None and opened is not None and opened >= before
            same = visit.unit.fitted == known.unit.fitted
            if visit.conclusion is not None and same and not later:
                for one in visit.conclusion.readings:
                    spot = (one.station.value, one.state.value, key_of(one.inlet))
                    top, house = best.get(spot, (one, visit.house))
                    if house != visit.house or unlike(top, one.altitude_ft, one.orifice_in):
                        top = one
                    if one.suction >= top.suction:
                        best[spot] = one, visit.house
                    if one.suction >= top.suction * (1.0 - _FALLEN * one.tolerance):
                        newest[spot] = one
        return tuple(newest.values())

    def edit(
        self,
        site_id: str,
        site: Mapping[str, Any],
        unit: Mapping[str, Any],
        fitted: date | None = None,
        named: Iterable[NamedInlet] = (),
        unnamed: Iterable[str] = (),
    ) -> None:
        """Set what is known of a site.

        Args:
            site_id: which.
            site: fields of `people` and `sites` to set.
            unit: fields of the unit as it is now, or of the new one.
            fitted: the day a new unit took the place of the old one.
            named: inlets to add.
            unnamed: inlets to take off the list.

        Raises:
            InputError: no such site, or a value that cannot be.
        """
        now = datetime.now(UTC)
        with self._casebook.transaction(write=True) as connection:
            known = _known(connection, site_id, now)
            called = {key: value for key, value in site.items() if key in PEOPLE}
            measures = {key: value for key, value in site.items() if key not in PEOPLE}
            if called:
                call(connection, site_id, known.site.model_copy(update=called))
            if measures:
                connection.execute(sites.update().where(sites.c.id == site_id).values(**measures))
            of = Unit() if fitted else known.unit
            if unit or fitted:
                changed = Unit(**{**of.model_dump(), **unit, "fitted": fitted or of.fitted})
                describe(connection, site_id, changed, now)
            named = list(named)
            name_inlets(connection, site_id, named)
            gone = list(unnamed)
            if gone:
                mine = inlets.c.site_id.in_(_house(connection, site_id))
                connection.execute(inlets.delete().where(mine, inlets.c.name.in_(gone)))
            before = known.site.model_dump() | known.house.model_dump()
            changes: list[Change] = [(key, before[key], value) for key, value in site.items()]
            if fitted:
                changes.append(("unit fitted", _day(known.unit), fitted.isoformat()))
            for key, value in unit.items():
                changes.append((f"unit {key.rstrip('_')}", getattr(of, key), value))
            changes += [("inlet", None, one.name) for one in named]
            changes += [("inlet", one, None) for one in gone]
            self._casebook.note(connection, site_id, EDITED + change_words(changes))

    def unreplace(self, site_id: str, fitted: date) -> None:
        """Say that no unit was fitted on a day after all: visits since were to the one before.

        Raises:
            InputError: no such site, or none of its units was fitted then.
        """
        with self._casebook.transaction(write=True) as connection:
            known = _known(connection, site_id, datetime.now(UTC))
            days = [day for day, _ in known.units]
            if fitted.isoformat() not in days:
                said = ", ".join(filter(None, days)) or "none is on record"
                what = f"no unit of this house was fitted on {fitted}"
                raise InputError(what, right=f"days on record: {said}")
            at = days.index(fitted.isoformat())
            before = known.units[at - 1][1].fitted if at else None
            day = fitted.isoformat(), before and before.isoformat()
            mine = _house(connection, site_id)
            gone = units.c.site_id.in_(mine), units.c.fitted == fitted.isoformat()
            connection.execute(units.delete().where(*gone))
            for visit in self._casebook.load(connection, visits.c.site_id.in_(mine)):
                if visit.unit.fitted == fitted:
                    unit = visit.unit.model_copy(update={"fitted": before})
                    self._casebook.overwrite(connection, visit.model_copy(update={"unit": unit}))
                    moved = change_words([("unit.fitted", *day)])
                    self._casebook.note(connection, visit.id, f"changed: {moved}")
            self._casebook.note(connection, site_id, EDITED + change_words([("unit fitted", *day)]))

    def merge(self, site_id: str, into: str) -> None:
        """Say that an entry is of the same house as another; both keep their visits.

        Raises:
            InputError: no such site, or they are one already.
        """
        with self._casebook.transaction(write=True) as connection:
            child, parent = top_entry(connection, site_id), top_entry(connection, into)
            if child == parent:
                raise InputError("these are one house already", right="name two that are not")
            mine, house = sites.c.id == child, sites.c.house_id == child
            connection.execute(sites.update().where(mine).values(merged_into=parent))
            connection.execute(sites.update().where(house).values(house_id=parent))
            self._casebook.note(connection, child, f"merged into {short_id(parent)}")
            self._casebook.note(connection, parent, f"{short_id(child)} merged into it")

    def part(self, text: str) -> str:
        """Part an entry from the house it was merged into; gives that house's id.

        Raises:
            InputError: no such entry, or it is not merged into another.
        """
        with self._casebook.transaction(write=True) as connection:
            mine = sa.or_(sites.c.id == text, sites.c.short == as_typed(text))
            row = connection.execute(sa.select(sites).where(mine)).first()
            if row is None or row.merged_into is None:
                what = f"no entry '{text[:60]}' is merged into another"
                raise InputError(what, right="stillflow sites show SITE names those that are")
            own = sa.select(sites.c.id).where(sites.c.id == row.id).cte("own", recursive=True)
            own = own.union(sa.select(sites.c.id).join(own, sites.c.merged_into == own.c.id))
            its = sites.c.id.in_(list(connection.scalars(sa.select(own.c.id))))
            connection.execute(sites.update().where(its).values(house_id=row.id))
            mine = sites.c.id == row.id
            connection.execute(sites.update().where(mine).values(merged_into=None))
            self._casebook.note(connection, row.id, f"parted from {short_id(row.merged_into)}")
            return str(row.merged_into)

    def forget(self, site_id: str) -> int:
        """Remove every name, address and phone of a site, also where they stand in free text.

        Readings, answers and fixes stay, photos do not. What technicians are called stays too.

        Returns:
            How many visits there are.

        Raises:
            InputError: no such site.
        """
        with self._casebook.transaction(write=True) as connection:
            house = _house(connection, site_id)
            if not house:
                raise unknown_site(site_id)
            said = connection.execute(
                sa.select(*(people.c[name] for name in PEOPLE)).where(people.c.site_id.in_(house))
            ).all()
            found = self._casebook.load(connection, visits.c.site_id.in_(house))
            about = [*house, *(visit.id for visit in found)]
            everyone = [*said, *map(people_of, found), _former(connection, about)]
            disguise = Disguise(word for words in everyone for word in words)
            for visit in found:
                nameless = anonymous(visit, disguise)
                self._casebook.overwrite(connection, nameless)
                for number, event in enumerate(nameless.events, 1):
                    if event != visit.events[number - 1]:
                        its = events.c.visit_id == visit.id, events.c.number == number
                        connection.execute(events.update().where(*its).values(**event_row(event)))
            _rename_inlets(connection, house, disguise)
            for one in house:
                reword(connection, one, folded_so_far(connection, one), "")
            # What a picture shows cannot be read through for names.
            shown = photos.c.visit_id.in_([visit.id for visit in found])
            connection.execute(photos.delete().where(shown))
            connection.execute(people.delete().where(people.c.site_id.in_(house)))
            # What was taken back stands in the trail as it was typed.
            connection.execute(
                trail.update().where(trail.c.about.in_(about)).values(what="(forgotten)")
            )
            for one in house:
                self._casebook.note(connection, one, FORGOTTEN)
        self._casebook.settle()
        return len(found)


def _day(unit: Unit) -> str | None:
    return unit.fitted.isoformat() if unit.fitted else None


def _former(connection: Connection, about: Sequence[str]) -> list[str]:
    """What the people of a house were called before, as trails tell."""
    told = connection.scalars(sa.select(trail.c.what).where(trail.c.about.in_(about)))
    return [name for line in told for name in names_in(line)]


def _rename_inlets(connection: Connection, house: Sequence[str], disguise: Disguise) -> None:
    """Put inlets with a name of people in theirs on the list of their house without it."""
    rows = connection.execute(sa.select(inlets).where(inlets.c.site_id.in_(house))).all()
    for row in rows:
        old = NamedInlet(name=row.name, branch=row.branch)
        new = disguise.named(old)
        if new != old:
            mine = inlets.c.site_id == row.site_id, inlets.c.name == row.name
            connection.execute(inlets.delete().where(*mine))
            name_inlets(connection, row.site_id, [new])


def _house(connection: Connection, site_id: str) -> list[str]:
    """Ids of all entries of the house that a site is of, its own first; empty if there is none."""
    house = sa.select(sites.c.house_id).where(sites.c.id == site_id).scalar_subquery()
    found = sa.select(sites.c.id).where(sites.c.house_id == house)
    return list(connection.scalars(found.order_by(sites.c.id != house, sites.c.id)))


def _known(connection: Connection, site_id: str, today: datetime) -> KnownSite:
    site_id = top_entry(connection, site_id)
    (line,) = _lines(connection, sites.c.id == site_id, 1)
    house = _house(connection, site_id)
    others = connection.execute(
        sa.select(sites.c.short, people.c.name)
        .select_from(sites.outerjoin(people))
        .where(sites.c.id.in_(house), sites.c.id != site_id)
        .order_by(sites.c.id)
    ).all()
    # Its own entry has the last word; those merged into it speak where it is silent.
    told = connection.execute(
        sa.select(sites).where(sites.c.id.in_(house)).order_by(sites.c.id != site_id, sites.c.id)
    ).all()
    facts = {
        name: next((value for one in told if (value := getattr(one, name)) is not None), None)
        for name in (*HOUSE, "altitude_ft")
    }
    over = {
        one.fitted: _unit(one, today)
        for one in connection.execute(
            sa.select(units)
            .where(units.c.site_id.in_(house))
            .order_by(units.c.site_id == site_id, units.c.fitted)
        )
    }
    listed, day_of = tuple(sorted(over.items())), today.date().isoformat()
    named = connection.execute(
        sa.select(inlets.c.name, inlets.c.branch)
        .where(inlets.c.site_id.in_(house))
        .order_by(inlets.c.site_id == site_id, inlets.c.name)
    )
    by_name = {key_of(one.name): NamedInlet(name=one.name, branch=one.branch) for one in named}
    names = sorted(by_name.values(), key=lambda one: one.name)
    return KnownSite(
        line=line,
        site=Site(
            id=site_id,
            **{name: getattr(line, name) for name in PEOPLE},
            altitude_ft=facts["altitude_ft"] or 0.0,
            inlets=tuple(names),
        ),
        house=House(**{name: facts[name] for name in HOUSE}),
        unit=next((one for day, one in reversed(listed) if day <= day_of), Unit()),
        units=listed,
        entries=tuple((one.short, one.name or "") for one in others),
    )


def _unit(row: Any, today: datetime) -> Unit:
    age = None
    if row.made is not None:
        age = round(min(max(0.0, (year_made(today, 0.0) or 0.0) - row.made), 100.0), 1)
    fitted = date.fromisoformat(row.fitted) if row.fitted else None
    return Unit(**row.described, age_years=age, fitted=fitted)


def _called(text: str) -> sa.ColumnElement[bool]:
    return sa.or_(sites.c.id == text, sites.c.short == as_typed(text))


def _holding(
    connection: Connection, words: str, named: sa.ColumnElement[bool] | None = None
) -> sa.ColumnElement[bool]:
    """Sites in whose name, street, customer or phone every word stands, and of which that holds."""
    parts = words.casefold().split()
    if not parts:
        return sa.true()
    named = sa.true() if named is None else named
    found = _with_all(connection, parts, named)
    digits = "".join(one for one in words if one.isdigit())
    if len(digits) >= 4 and not any(one.isalpha() for one in words):
        found = sa.or_(found, _with_all(connection, [digits], named))
    return found


def _with_all(
    connection: Connection, parts: Sequence[str], named: sa.ColumnElement[bool]
) -> sa.ColumnElement[bool]:
    """Sites that are found by all parts, looked up by the rarest of their pieces."""
    asked = set().union(*map(asked_pieces, parts))
    rare = _rarest(connection, asked)
    if len(rare.pieces) < len(asked):
        return sa.false()
    some = people.c.site_id.in_(with_pieces(rare.pieces[:_RAREST]))
    return sites.c.id.in_(sa.select(people.c.site_id).where(some, _spelling(parts), named))


def _spelling(parts: Sequence[str]) -> sa.ColumnElement[bool]:
    holds = (people.c.folded.contains(part, autoescape=True) for part in parts)
    return sa.and_(sa.true(), *holds)


@dataclass(frozen=True)
class _Rarest:
    """Pieces that somebody is found by, the rarest first, and how many have that one."""

    pieces: list[int]
    count: int


def _rarest(connection: Connection, asked: set[int]) -> _Rarest:
    count = sa.func.count()
    counted = sa.select(pieces.c.piece, count).where(pieces.c.piece.in_(asked))
    rows = connection.execute(counted.group_by(pieces.c.piece).order_by(count)).all()
    return _Rarest([row[0] for row in rows], rows[0][1] if rows else 0)


def with_pieces(some: Sequence[int]) -> sa.Select[Any]:
    """Ids of the sites that have all of some pieces."""
    found = sa.select(pieces.c.site_id).where(pieces.c.piece.in_(some))
    return found.group_by(pieces.c.site_id).having(sa.func.count() == len(some))


def latest_statement(limit: int, named: sa.ColumnElement[bool] | None = None) -> sa.Select[Any]:
    """Houses of the latest visits, one as often as it was visited; those named so, of the latest.

    Args:
        limit: how many houses are wanted.
        named: what is asked of `people`.
    """
    begun, newest = visits.c.opened.is_not(None), visits.c.opened.desc()
    if named is None:
        of = visits.join(sites, sites.c.id == visits.c.site_id)
        asked = sa.select(sites.c.house_id).select_from(of).where(begun)
        return asked.order_by(newest).limit(_VISITS_A_HOUSE * limit)
    late = sa.select(visits.c.site_id, visits.c.opened).where(begun).order_by(newest)
    late_visits = late.limit(_LATE).subquery()
    of = sa.join(late_visits, sites, sites.c.id == late_visits.c.site_id)
    of = of.join(people, people.c.site_id == sites.c.id)
    found = sa.select(sites.c.house_id).select_from(of).where(named)
    return found.order_by(late_visits.c.opened.desc())


def _latest(connection: Connection, limit: int, named: sa.ColumnElement[bool] | None) -> list[str]:
    """The houses visited last, without reading all visits; empty where that may be too few."""
    asked = latest_statement(limit, named)
    found: list[str] = list(dict.fromkeys(connection.scalars(asked)))
    return found[:limit] if limit <= _FEW and len(found) >= limit else []


def _lines(connection: Connection, which: sa.ColumnElement[bool], limit: int) -> list[SiteLine]:
    """Houses one of whose entries is as asked for, the last visited first."""
    entry = sites.alias("entry")
    asked = sa.select(sites.c.house_id).where(which)
    # One look into the index of visits for each entry; the few that are wanted are counted below.
    newest = sa.select(sa.func.max(visits.c.opened)).where(visits.c.site_id == entry.c.id)
    latest = sa.func.max(newest.scalar_subquery()).desc().nulls_last()
    wanted = sa.select(entry.c.house_id).where(entry.c.house_id.in_(asked))
    wanted = wanted.group_by(entry.c.house_id).order_by(latest, entry.c.house_id).limit(limit)
    last = sa.func.max(visits.c.opened).label("last")
    columns = (sites.c.id, sites.c.short, *(people.c[name] for name in PEOPLE))
    rows = connection.execute(
        sa.select(*columns, sa.func.count(visits.c.id).label("visits"), last)
        .select_from(
            sites.outerjoin(people, people.c.site_id == sites.c.id)
            .join(entry, entry.c.house_id == sites.c.id)
            .outerjoin(visits, visits.c.site_id == entry.c.id)
        )
        .where(sites.c.id.in_(list(connection.scalars(wanted))))
        .group_by(*columns)
        .order_by(last.desc().nulls_last(), sites.c.id)
    )
    return [
        SiteLine(
            row.id,
            row.short,
            **{name: getattr(row, name) or "" for name in PEOPLE},
            visits=row.visits,
            last=row.last,
        )
        for row in rows
    ]
