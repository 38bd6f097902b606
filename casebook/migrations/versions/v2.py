"""Which inlet an event is about, by name."""

import sqlalchemy as sa
from alembic import op

revision = "v2"
down_revision = "v1"


def upgrade() -> None:
    """Add the column, unless a stillflow without migrations has."""
    columns = {column["name"] for column in sa.inspect(op.get_bind()).get_columns("events")}
    if "inlet" not in columns:
        op.add_column("events", sa.Column("inlet", sa.Text, nullable=True))
