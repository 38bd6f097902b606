"""Phones that may see the casebook, and photos of visits; they may have made themselves already."""

import sqlalchemy as sa
from alembic import op

revision = "v4"
down_revision = "v3"


def upgrade() -> None:
    """Make them where they are not, and the index that photos never got."""
    moment = sa.DateTime(timezone=True)
    op.create_table(
        "phones",
        sa.Column("token", sa.String(64), primary_key=True),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("paired", moment, nullable=False),
        sa.Column("seen", moment, nullable=False),
        if_not_exists=True,
    )
    op.create_table(
        "photos",
        sa.Column("id", sa.String(80), primary_key=True),
        sa.Column("visit_id", sa.String(80), nullable=False),
        sa.Column("at", moment, nullable=False),
        sa.Column("who", sa.String(200), nullable=False),
        sa.Column("jpeg", sa.LargeBinary, nullable=False),
        if_not_exists=True,
    )
    op.create_index("ix_photos_visit_id", "photos", ["visit_id"], if_not_exists=True)
