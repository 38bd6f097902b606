"""The tables of version 0.1.0, which had no migrations; there they are already."""

import sqlalchemy as sa
from alembic import op

revision = "v1"
down_revision = None


def upgrade() -> None:
    """Make them where they are not."""
    moment = sa.DateTime(timezone=True)
    op.create_table(
        "casebook",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("version", sa.Integer, nullable=False),
        if_not_exists=True,
    )
    op.create_table(
        "visits",
        sa.Column("id", sa.String(80), primary_key=True),
        sa.Column("opened", moment, nullable=True),
        sa.Column("changed", moment, nullable=False),
        sa.Column("status", sa.String(10), nullable=False),
        sa.Column("site", sa.String(200), nullable=False),
        sa.Column("rules", sa.Text, nullable=False),
        sa.Column("header", sa.JSON, nullable=False),
        sa.Column("conclusion", sa.JSON, nullable=True),
        if_not_exists=True,
    )
    op.create_table(
        "events",
        sa.Column(
            "visit_id",
            sa.String(80),
            sa.ForeignKey("visits.id", ondelete="CASCADE"),
            primary_key=True,
        ),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", moment, nullable=True),
        sa.Column("check", sa.Text, nullable=True),
        sa.Column("answer", sa.Text, nullable=True),
        sa.Column("fix", sa.Text, nullable=True),
        sa.Column("done", sa.Boolean, nullable=True),
        sa.Column("found", sa.Boolean, nullable=True),
        if_not_exists=True,
    )
