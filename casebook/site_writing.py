"""What a visit says of its house, put on record; kept by whoever is in the middle of a write.

All take a connection inside a transaction. Houses as people ask for them are in `sites`.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from stillflow.casebook.ids import new_id, short_id
from stillflow.casebook.tables import (
    PEOPLE,
    folded,
    inlets,
    people,
    pieces,
    pieces_of,
    sites,
    units,
    visits,
    year_made,
)
from stillflow.engine.base import InputError
from stillflow.engine.inference import NamedInlet, Site, Unit, Visit, key_of

HOUSE = ("tubing_ft", "hose_ft", "hose_bore_in")
"""What a house is known by beside its unit and its inlets."""


def site_for(connection: Connection, visit: Visit, house: bool = False) -> str | None:
    """The site a visit is to, made where it is not there; None for a house nobody has named.

    A visit that does not say by id which site it is to belongs to the one with just its names.
    Of a visit on record (`house`), what it calls the site counts for the house, whichever of its
    entries the visit is of.
    """
    site = visit.site
    called = any(getattr(site, name) for name in PEOPLE)
    if house and called and not site.id:
        own = sa.select(visits.c.site_id).where(visits.c.id == visit.id)
        site = site.model_copy(update={"id": connection.scalar(own) or ""})
    if site.id:
        known = connection.execute(sa.select(sites.c.id).where(sites.c.id == site.id)).first()
        if known is None:
            _make(connection, site.id)
        if called:
            call(connection, top_entry(connection, site.id) if house else site.id, site)
        return site.id
    if not called:
        return None
    alike = [people.c[name] == getattr(site, name) for name in PEOPLE]
    found = connection.scalar(sa.select(people.c.site_id).where(*alike).limit(1))
    if found is not None:
        return str(found)
    made = new_id()
    _make(connection, made)
    call(connection, made, site)
    return made


def learn(connection: Connection, visit: Visit, site_id: str | None) -> None:
    """Take what a visit says of its house into the site, unless a later visit has said it."""
    if site_id is None:
        return
    told = [*visit.site.inlets, *map(_inlet, _names(visit))]
    name_inlets(connection, site_id, told)
    if visit.opened is not None:
        later = visits.c.site_id == site_id, visits.c.opened > visit.opened
        if connection.scalar(sa.select(visits.c.id).where(*later).limit(1)) is not None:
            return
    facts = {name: getattr(visit.house, name) for name in HOUSE}
    facts["altitude_ft"] = visit.site.altitude_ft or None
    facts = {name: value for name, value in facts.items() if value is not None}
    if facts:
        connection.execute(sites.update().where(sites.c.id == site_id).values(**facts))
    if visit.unit != Unit():
        describe(connection, site_id, visit.unit, visit.opened or datetime.now(UTC))


def _make(connection: Connection, site_id: str) -> None:
    values = {"id": site_id, "house_id": site_id, "short": short_id(site_id)}
    connection.execute(sites.insert().values(**values))


def call(connection: Connection, site_id: str, site: Site) -> None:
    """Write down what people know a site by, and let it be found by that."""
    called = {name: getattr(site, name) for name in PEOPLE}
    values = {**called, "folded": folded(called.values())}
    mine = people.c.site_id == site_id
    before = folded_so_far(connection, site_id)
    if not connection.execute(people.update().where(mine).values(**values)).rowcount:
        connection.execute(people.insert().values(site_id=site_id, **values))
    reword(connection, site_id, before, values["folded"])


def folded_so_far(connection: Connection, site_id: str) -> str:
    """The words a site is found by so far; whoever else would change them waits."""
    asked = sa.select(people.c.folded).where(people.c.site_id == site_id).with_for_update()
    return str(connection.scalar(asked) or "")


def reword(connection: Connection, site_id: str, before: str, now: str) -> None:
    """Let a site be found by other words than before."""
    old, new = pieces_of(before), pieces_of(now)
    if old - new:
        gone = pieces.c.site_id == site_id, pieces.c.piece.in_(old - new)
        connection.execute(pieces.delete().where(*gone))
    if new - old:
        rows = [{"piece": piece, "site_id": site_id} for piece in sorted(new - old)]
        connection.execute(pieces.insert(), rows)


def _inlet(name: str) -> NamedInlet:
    return NamedInlet(name=name)


def _names(visit: Visit) -> list[str]:
    """Inlets that a visit speaks of by name."""
    about = [visit.site.inlet, visit.site.other_inlet, *(one.inlet for one in visit.events)]
    return list(dict.fromkeys(one for one in about if one and one.strip()))


def name_inlets(connection: Connection, site_id: str, told: Iterable[NamedInlet]) -> None:
    """Put inlets on a site's list; a branch that is named anew takes the place of the old name."""
    told = list(told)
    if not told:
        return
    mine = inlets.c.site_id == site_id
    listed = connection.execute(sa.select(inlets.c.name, inlets.c.branch).where(mine)).all()
    kept = {key_of(row.name): (row.name, row.branch) for row in listed}
    for one in told:
        name, branch = kept.get(key_of(one.name), ("", ""))
        if not name:
            values = {"site_id": site_id, "name": one.name, "branch": one.branch}
            connection.execute(inlets.insert().values(**values))
        elif one.branch and one.branch != branch:
            named = mine, inlets.c.name == name
            connection.execute(inlets.update().where(*named).values(branch=one.branch))
        kept[key_of(one.name)] = (name or one.name, one.branch or branch)


def describe(connection: Connection, site_id: str, unit: Unit, on: datetime) -> None:
    """Write down a site's unit as it is described; its age as of a day."""
    described = unit.model_dump(
        mode="json", by_alias=True, exclude={"fitted", "age_years"}, exclude_none=True
    )
    fitted = unit.fitted.isoformat() if unit.fitted else ""
    made = year_made(on, unit.age_years)
    values: dict[str, Any] = {"described": described, **({"made": made} if made else {})}
    mine = units.c.site_id == site_id, units.c.fitted == fitted
    if not connection.execute(units.update().where(*mine).values(**values)).rowcount:
        connection.execute(units.insert().values(site_id=site_id, fitted=fitted, **values))


def top_entry(connection: Connection, site_id: str) -> str:
    """The entry that stands for a site's house."""
    found = connection.scalar(sa.select(sites.c.house_id).where(sites.c.id == site_id))
    if found is None:
        raise unknown_site(site_id)
    return str(found)


def unknown_site(site_id: str) -> InputError:
    """What to say where no site has that id."""
    right = "stillflow sites lists them"
    return InputError(f"there is no site '{site_id[:60]}' in the casebook", right=right)
