"""Sites: names leave the visits for a table of their own; parts, notes, strikes and a trail."""

from typing import Any

import sqlalchemy as sa
from alembic import op

from stillflow.casebook.ids import new_id, short_id
from stillflow.casebook.tables import folded, year_made

revision = "v3"
down_revision = "v2"

_PEOPLE = ("name", "address", "customer", "phone")


def upgrade() -> None:
    """Make the new tables, then move what the visits say of their houses into them."""
    moment = sa.DateTime(timezone=True)
    op.create_table(
        "sites",
        sa.Column("id", sa.String(80), primary_key=True),
        sa.Column("short", sa.String(80), nullable=False, index=True),
        sa.Column(
            "merged_into", sa.String(80), sa.ForeignKey("sites.id"), nullable=True, index=True
        ),
        sa.Column("house_id", sa.String(80), nullable=False, index=True),
        sa.Column("altitude_ft", sa.Float, nullable=True),
        sa.Column("tubing_ft", sa.Float, nullable=True),
        sa.Column("hose_ft", sa.Float, nullable=True),
        sa.Column("hose_bore_in", sa.Float, nullable=True),
    )
    op.create_table(
        "people",
        sa.Column(
            "site_id",
            sa.String(80),
            sa.ForeignKey("sites.id", ondelete="CASCADE"),
            primary_key=True,
        ),
        sa.Column("name", sa.String(200), nullable=False, index=True),
        sa.Column("address", sa.String(200), nullable=False),
        sa.Column("customer", sa.String(200), nullable=False),
        sa.Column("phone", sa.String(200), nullable=False),
        sa.Column("folded", sa.Text, nullable=False),
    )
    op.create_table(
        "inlets",
        sa.Column(
            "site_id",
            sa.String(80),
            sa.ForeignKey("sites.id", ondelete="CASCADE"),
            primary_key=True,
        ),
        sa.Column("name", sa.String(200), primary_key=True),
        sa.Column("branch", sa.String(200), nullable=False),
    )
    op.create_table(
        "units",
        sa.Column(
            "site_id",
            sa.String(80),
            sa.ForeignKey("sites.id", ondelete="CASCADE"),
            primary_key=True,
        ),
        sa.Column("fitted", sa.String(10), primary_key=True),
        sa.Column("described", sa.JSON, nullable=False),
        sa.Column("made", sa.Float, nullable=True),
    )
    op.create_table(
        "trail",
        sa.Column("id", sa.String(80), primary_key=True),
        sa.Column("at", moment, nullable=False),
        sa.Column("who", sa.String(200), nullable=False),
        sa.Column("about", sa.String(80), nullable=False),
        sa.Column("what", sa.Text, nullable=False),
    )
    op.create_index("ix_trail_about", "trail", ["about", "id"])
    op.add_column("events", sa.Column("more", sa.JSON, nullable=True))
    op.add_column("visits", sa.Column("short", sa.String(80), nullable=False, server_default=""))
    site: sa.Column[str] = sa.Column(
        "site_id", sa.String(80), sa.ForeignKey("sites.id"), nullable=True
    )
    op.add_column("visits", site, inline_references=True)
    op.add_column(
        "visits", sa.Column("technician", sa.String(200), nullable=False, server_default="")
    )
    op.add_column("visits", sa.Column("fault", sa.Text, nullable=True))
    _move(op.get_bind())
    op.drop_column("visits", "site")
    for name, columns in (
        ("ix_visits_short", ["short"]),
        ("ix_visits_site_opened", ["site_id", "opened"]),
        ("ix_visits_status_changed", ["status", "changed"]),
        ("ix_visits_changed", ["changed", "id"]),
        ("ix_visits_opened", ["opened"]),
        ("ix_visits_technician", ["technician", "opened"]),
        ("ix_visits_fault", ["fault", "opened"]),
    ):
        op.create_index(name, "visits", columns)


def _move(connection: sa.Connection) -> None:
    """Give every house that is named a site, and take its name out of the visits."""
    tables = sa.MetaData()
    tables.reflect(connection)
    sites, people, inlets, units, visits = (
        tables.tables[name] for name in ("sites", "people", "inlets", "units", "visits")
    )
    # Read by type, since SQLite says JSON and moments in its own way.
    rows = connection.execute(
        sa.text("SELECT id, opened, header, conclusion FROM visits ORDER BY opened").columns(
            opened=sa.DateTime(timezone=True), header=sa.JSON, conclusion=sa.JSON
        )
    ).all()
    known: dict[tuple[str, ...], str] = {}
    named: set[tuple[str, str]] = set()
    described: dict[str, dict[str, Any]] = {}
    for row in rows:
        header = dict(row.header)
        site = dict(header.get("site", {}))
        key = tuple(str(site.pop(name, "") or "") for name in _PEOPLE)
        header["site"] = site
        site_id = known.get(key) if any(key) else None
        if any(key) and site_id is None:
            site_id = known[key] = new_id()
            made = {"id": site_id, "house_id": site_id, "short": short_id(site_id)}
            connection.execute(sites.insert().values(**made))
            values = {**dict(zip(_PEOPLE, key, strict=True)), "folded": folded(key)}
            connection.execute(people.insert().values(site_id=site_id, **values))
        if site_id is not None:
            house = {name: value for name, value in header.get("house", {}).items() if value}
            height = {"altitude_ft": site["altitude_ft"]} if site.get("altitude_ft") else {}
            if house or height:
                mine = sites.c.id == site_id
                connection.execute(sites.update().where(mine).values(**house, **height))
            for inlet in filter(None, (site.get("inlet"), site.get("other_inlet"))):
                if (site_id, inlet) not in named:
                    named.add((site_id, inlet))
                    row_of = {"site_id": site_id, "name": inlet, "branch": ""}
                    connection.execute(inlets.insert().values(**row_of))
            unit = {name: value for name, value in header.get("unit", {}).items() if value}
            age = unit.pop("age_years", None)
            if unit or age:
                year = year_made(row.opened, age)
                described[site_id] = {"site_id": site_id, "fitted": "", "made": year}
                described[site_id]["described"] = unit
        fault = (row.conclusion or {}).get("fault")
        moved = {"site_id": site_id, "short": short_id(row.id), "fault": fault}
        moved |= {"header": header, "technician": header.get("technician", "")}
        connection.execute(
            visits.update()
            .where(visits.c.id == row.id)
            .values(**{**moved, "header": sa.literal(header, sa.JSON)})
        )
    for one in described.values():
        made_of = sa.literal(one["described"], sa.JSON)
        connection.execute(units.insert().values(**{**one, "described": made_of}))
