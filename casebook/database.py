"""Where the casebook is: the engine for a URL, SQLite's settings, what databases say.

What is kept in it is in `tables` and `store`.
"""

from __future__ import annotations

from pathlib import Path as FilePath
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import ArgumentError

from stillflow.engine.base import InputError, Place, SetupError

_ELSEWHERE = "or name another place with --db or STILLFLOW_DB"


def default_url() -> str:
    """Of casebook.db in the user's data folder, which is made if it is not there.

    Raises:
        SetupError: the folder cannot be made.
    """
    from platformdirs import user_data_dir

    folder = FilePath(user_data_dir("stillflow", appauthor=False))
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        reason = (problem.strerror or str(problem)).lower()
        what = f"this folder for visits cannot be made ({reason})"
        raise SetupError(what, Place(str(folder)), f"make it writable, {_ELSEWHERE}") from None
    return sa.URL.create("sqlite", database=str(folder / "casebook.db")).render_as_string()


def open_engine(url: str) -> sa.Engine:
    """The engine for a database URL; connects only when used.

    Raises:
        InputError: not a database URL.
        SetupError: the driver it needs is not installed.
    """
    right = "write sqlite:///visits.db, or postgresql://user@host/name"
    try:
        engine = sa.create_engine(url)
    except ArgumentError:
        if "://" not in url and url:
            right = f"for a file write sqlite:///{url}"
        raise InputError(f"'{url}' is not a database URL", right=right) from None
    except ImportError as problem:
        what = f"the driver '{problem.name}' for this database is not installed"
        raise SetupError(what, right=f"install it: pip install {problem.name}") from None
    if engine.dialect.name == "sqlite":
        sa.event.listen(engine, "connect", _set_up_sqlite)
    return engine


def _set_up_sqlite(connection: Any, _record: Any) -> None:
    # Readers do not wait for a writer, and a commit is on disk even if the power goes. Another
    # program's write is waited for: Python's sqlite3 sets SQLite's busy timeout to 5 s, or to what
    # the URL says (`?timeout=`).
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {pragma}")


_REASONS = (
    ("locked", "it is in use by another program", "close that program and try again"),
    ("busy", "it is in use by another program", "close that program and try again"),
    ("readonly", "it may not be written", f"make it writable, {_ELSEWHERE}"),
    (
        "unable to open database file",
        "it cannot be opened",
        f"see that the folder is there and may be written, {_ELSEWHERE}",
    ),
    ("not a database", "it is no casebook, or is damaged", f"move it away, {_ELSEWHERE}"),
    ("malformed", "it is no casebook, or is damaged", f"move it away, {_ELSEWHERE}"),
)
"""What databases say, what a person is told, and what would be right."""


def place_of(engine: sa.Engine) -> str:
    """What people know the database by: its file, or its URL without the password."""
    if engine.dialect.name == "sqlite":
        return engine.url.database or "the database in memory"
    return engine.url.render_as_string(hide_password=True)


def explained(said: str, place: str) -> SetupError:
    """What a database said, as an error that says what would be right."""
    said = (said.splitlines() or [""])[0]
    for words, what, right in _REASONS:
        if words in said.lower():
            return SetupError(what, Place(place), right)
    return SetupError(f"it cannot be used ({said})", Place(place), f"mend that, {_ELSEWHERE}")
