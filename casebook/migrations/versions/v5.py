"""What houses are found by, and open visits, so that nobody has to read all of them."""

import sqlalchemy as sa
from alembic import op

from stillflow.casebook.tables import fill_pieces

revision = "v5"
down_revision = "v4"


def upgrade() -> None:
    """Make the table and fill it."""
    op.create_table(
        "pieces",
        sa.Column("piece", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("site_id", sa.String(80), primary_key=True),
        sqlite_with_rowid=False,
        if_not_exists=True,
    )
    fill_pieces(op.get_bind())
    # With the id in it the few open ones come sorted out of it; without, all visits were read.
    op.drop_index("ix_visits_status_changed", "visits")
    op.create_index("ix_visits_status_changed", "visits", ["status", "changed", "id"])
