"""How the tables of an older casebook become those of `tables`, step by step (Alembic)."""

from __future__ import annotations

from importlib import resources

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from sqlalchemy.engine import Connection

from stillflow.casebook.tables import VERSION, casebook

_LOCK = 5_318_008
"""Number of the lock that is held on PostgreSQL while the tables are made; any will do."""


def upgrade(connection: Connection) -> None:
    """Bring a database to the tables of today; safe where several programs do so at once."""
    if connection.dialect.name == "postgresql":
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))
    config = Config()
    config.set_main_option("script_location", str(resources.files(__name__)).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
    # What an older stillflow looks at, so that it leaves the casebook alone.
    connection.execute(casebook.delete())
    connection.execute(casebook.insert().values(id=1, version=VERSION))
