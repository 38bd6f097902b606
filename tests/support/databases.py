"""Where tests of the store run: SQLite, or a PostgreSQL server where one is given."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import pytest
import sqlalchemy as sa

POSTGRES = os.environ.get("STILLFLOW_TEST_POSTGRES", "")
"""URL of a server's database; the tests of the store run on it where it is given."""

sqlite_only = pytest.mark.skipif(bool(POSTGRES), reason="about a file of SQLite")


@contextmanager
def fresh_database(folder: Path | None = None) -> Iterator[str]:
    """Where there are no tables yet: on the server if there is one, else a file or in memory."""
    if not POSTGRES:
        yield f"sqlite:///{folder}/casebook.db" if folder else "sqlite://"
        return
    server = sa.create_engine(POSTGRES, isolation_level="AUTOCOMMIT")
    name = f"test_{uuid4().hex}"
    with server.connect() as connection:
        connection.execute(sa.text(f"CREATE SCHEMA {name}"))
    its = sa.make_url(POSTGRES).update_query_dict({"options": f"-csearch_path={name}"})
    yield its.render_as_string(hide_password=False)
    with server.connect() as connection:
        connection.execute(sa.text(f"DROP SCHEMA {name} CASCADE"))
    server.dispose()
