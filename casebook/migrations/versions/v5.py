"""What houses are found by, so that nobody has to read all names."""

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
