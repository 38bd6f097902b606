"""Who wrote an answer or a fix, where that is not the technician of the visit; from the trail."""

import re

import sqlalchemy as sa
from alembic import op

revision = "v6"
down_revision = "v5"

_ANSWERED = re.compile(r"(\d+): (?:check|fix) ")


def upgrade() -> None:
    """Add the column, fill it with what the trail tells, and let visits be found by it."""
    op.add_column("events", sa.Column("by", sa.String(200), nullable=True))
    told = sa.table("trail", *map(sa.column, ("id", "who", "about", "what")))
    begun = sa.table("visits", *map(sa.column, ("id", "technician")))
    events = sa.table("events", *map(sa.column, ("visit_id", "number", "check", "fix", "by")))
    of = told.join(begun, begun.c.id == told.c.about)
    another = sa.select(told.c.about).select_from(of)
    another = another.where(told.c.who.not_in(["", begun.c.technician]))
    asked = sa.select(told.c.who, told.c.about, told.c.what, begun.c.technician).select_from(of)
    lines = op.get_bind().execute(asked.where(told.c.about.in_(another)).order_by(told.c.id)).all()
    # What was taken back and answered anew is of who wrote it last.
    wrote = {
        (row.about, int(found[1])): None if row.who in ("", row.technician) else row.who
        for row in lines
        if (found := _ANSWERED.match(row.what))
    }
    for (visit_id, number), who in wrote.items():
        mine = events.c.visit_id == visit_id, events.c.number == number
        answered = sa.or_(events.c.check.is_not(None), events.c.fix.is_not(None))
        if who is not None:
            op.execute(events.update().where(*mine, answered).values(by=who))
    op.create_index(
        "ix_events_by",
        "events",
        ["by", "visit_id"],
        sqlite_where=sa.text('"by" IS NOT NULL'),
        postgresql_where=sa.text('"by" IS NOT NULL'),
    )
