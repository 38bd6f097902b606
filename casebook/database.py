"""Where the casebook is: the engine for a URL, SQLite's settings, what databases say.

What is kept in it is in `tables` and `store`.
"""

from __future__ import annotations

import os
import re
import sqlite3
import time
from contextlib import suppress
from pathlib import Path as FilePath
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import ArgumentError

from stillflow.engine.base import InputError, Place, SetupError

_ELSEWHERE = "or name another place with --db or STILLFLOW_DB"


def default_url() -> sa.URL:
    """Of casebook.db in the user's data folder, which is made if it is not there.

    Raises:
        SetupError: the folder cannot be made.
    """
    from platformdirs import user_data_dir

    folder = FilePath(user_data_dir("stillflow", appauthor=False))
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as problem:
        reason = (problem.strerror or str(problem)).lower()
        what = f"this folder for visits cannot be made ({reason})"
        raise SetupError(what, Place(str(folder)), f"make it writable, {_ELSEWHERE}") from None
    return sa.URL.create("sqlite", database=str(folder / "casebook.db"))


def open_engine(url: str | sa.URL) -> sa.Engine:
    """The engine for a database URL; connects only when used.

    A SQLite file that is not there is made, for its owner only: it holds names and addresses.

    Raises:
        InputError: not a database URL. Passwords in it are not repeated.
        SetupError: the driver it needs is not installed.
    """
    right = "write sqlite:///visits.db, or postgresql://user@host/name"
    try:
        read = _driver(_read_url(url))
        engine = sa.create_engine(read)
    except (ArgumentError, ValueError):
        told = str(url) if not _SECRET.search(str(url)) else ""
        if told and "://" not in told:
            right = f"for a file write sqlite:///{told}"
        what = f"'{told}' is not" if told or not url else "this is not"
        raise InputError(f"{what} a database URL", right=right) from None
    except ImportError as problem:
        if read.get_backend_name() != "postgresql":
            raise InputError(f"no casebook is kept in {read.drivername}", right=right) from None
        what = f"the driver '{problem.name}' for this database is not installed"
        raise SetupError(what, right="install it: pip install 'stillflow[postgres]'") from None
    if engine.dialect.name == "sqlite":
        _make_private(engine)
        sa.event.listen(engine, "connect", _set_up_sqlite)
        sa.event.listen(engine, "begin", _begin_sqlite)
        if "timeout" not in engine.url.query:
            sa.event.listen(engine, "do_connect", _wait_longer)
    elif engine.dialect.name == "postgresql":
        sa.event.listen(engine, "connect", _set_up_postgresql)
    return engine


_SECRET = re.compile(r"[@?=]|:.*:", re.DOTALL)
"""What text that holds a password may have in it, also with its scheme mistyped."""


def _read_url(url: str | sa.URL) -> sa.URL:
    if isinstance(url, sa.URL):
        return url
    name, mark, settings = url.partition("?")
    read = sa.make_url(url)
    if mark and read.drivername.startswith("sqlite") and "=" not in settings:
        # What follows is no setting, so the mark is part of the file's name.
        return sa.make_url(name).set(database=f"{sa.make_url(name).database}?{settings}")
    return read


def _driver(url: sa.URL) -> sa.URL:
    """The URL with psycopg 3, the driver of the extra `postgres`, where it names none."""
    if url.drivername in ("postgresql", "postgres"):
        return url.set(drivername="postgresql+psycopg")
    return url


def _file_named(url: sa.URL) -> str:
    """The name of the file that a SQLite database is; empty for any other URL, and in memory."""
    name = url.database or ""
    is_file = url.get_backend_name() == "sqlite" and not name.startswith((":memory:", "file:"))
    return name if is_file else ""


def _make_private(engine: sa.Engine) -> None:
    name = _file_named(engine.url)
    if name:
        # SQLite has to say what is wrong with a name, so that it is said once.
        with suppress(OSError, ValueError):
            os.close(os.open(name, os.O_CREAT | os.O_RDWR, 0o600))


def missing_file(url: str | None) -> str:
    """The file of a SQLite database where there is none yet; empty for any other URL, or none."""
    with suppress(ArgumentError, ValueError, OSError):
        name = _file_named(_read_url(url or ""))
        return name if name and not FilePath(name).exists() else ""
    return ""


def file_of(engine: sa.Engine) -> tuple[int, int] | None:
    """Which file a SQLite database is (device and number); None for any other and in memory."""
    name = engine.url.database
    if engine.dialect.name != "sqlite" or not name or name == ":memory:":
        return None
    with suppress(OSError, ValueError):
        found = FilePath(name).stat()
        return found.st_dev, found.st_ino
    return None


def still_there(engine: sa.Engine, file: tuple[int, int] | None) -> bool:
    """Whether what is written will be found again: on a server, or in the file it was opened as."""
    if engine.dialect.name != "sqlite":
        return True
    return file is not None and file_of(engine) == file


def _set_up_postgresql(connection: Any, _record: Any) -> None:
    # Moments come back in UTC, also those that are none in another zone (the first day of all).
    connection.execute("SET TIME ZONE 'UTC'")
    # A lock is waited for as long as SQLite's, unless the URL or the server says how long.
    connection.execute(
        "SELECT set_config('lock_timeout', '60s', false)"
        " WHERE current_setting('lock_timeout') = '0'"
    )
    connection.commit()


def _wait_longer(_dialect: Any, _record: Any, _where: Any, options: dict[str, Any]) -> None:
    # SQLite lets in whoever asks at the right moment, not who has waited longest: with eight
    # writers one may wait for seconds.
    options["timeout"] = 60


def _set_up_sqlite(connection: Any, _record: Any) -> None:
    # Readers do not wait for a writer, and a commit is on disk even if the power goes. Another
    # program's write is waited for: a minute, or what the URL says (`?timeout=`).
    # Transactions begin where SQLAlchemy says so, not where Python's sqlite3 guesses.
    connection.isolation_level = None
    _keep_a_log(connection)
    # What is forgotten or taken back is overwritten, not only let go of.
    for pragma in ("synchronous = FULL", "foreign_keys = ON", "secure_delete = ON"):
        connection.execute(f"PRAGMA {pragma}")


def _keep_a_log(connection: Any) -> None:
    """Have writes go to a log first, waiting for others that make the same new file do so.

    For this one lock SQLite itself does not wait, whatever it was told.
    """
    for again in range(_TRIES, -1, -1):
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as problem:
            if "locked" not in str(problem) or not again:
                raise
            time.sleep(_BETWEEN)


_TRIES, _BETWEEN = 200, 0.05
"""How often and how far apart, in seconds, it is tried."""


WRITING = {"stillflow_begin": "BEGIN IMMEDIATE"}
"""Execution options of a transaction that will write: SQLite lets no other writer in between."""


def _begin_sqlite(connection: sa.Connection) -> None:
    options = connection.get_execution_options()
    connection.exec_driver_sql(str(options.get("stillflow_begin", "BEGIN")))


_REASONS = (
    ("locked", "it is in use by another program", "close that program and try again"),
    ("busy", "it is in use by another program", "close that program and try again"),
    ("lock timeout", "it is in use by another program", "close that program and try again"),
    ("readonly", "it may not be written", f"make it writable, {_ELSEWHERE}"),
    (
        "unable to open database file",
        "it cannot be opened",
        f"see that the folder is there and may be written, {_ELSEWHERE}",
    ),
    ("not a database", "it is no casebook, or is damaged", f"move it away, {_ELSEWHERE}"),
    ("nul (0x00)", "it cannot keep a zero character", "leave it out"),
    ("malformed", "it is no casebook, or is damaged", f"move it away, {_ELSEWHERE}"),
)
"""What databases say, what a person is told, and what would be right."""


def place_of(engine: sa.Engine) -> str:
    """What people know the database by: its file, or its URL without user, password, settings."""
    url = engine.url
    if engine.dialect.name == "sqlite":
        return url.database or "the database in memory"
    if not _plain(url):
        return f"{url.drivername}://..."
    port = f":{url.port}" if url.port else ""
    return f"{url.drivername}://{url.host or ''}{port}/{url.database or ''}"


def _plain(url: sa.URL) -> bool:
    """Whether no part of a password can have strayed into host or name of the database.

    An `@` or `:` in a password that is not written as %40 or %3A ends up there.
    """
    return not any(mark in f"{url.host or ''}{url.database or ''}" for mark in "@?:=")


def explained(said: str, engine: sa.Engine) -> SetupError:
    """What a database said, as an error that says what would be right."""
    place, url = place_of(engine), engine.url
    said = (said.splitlines() or [""])[0]
    for words, what, right in _REASONS:
        if words in said.lower():
            return SetupError(what, Place(place), right)
    if engine.dialect.name != "sqlite":
        # Drivers repeat what they were given.
        if not _plain(url):
            right = "in a password write @ as %40, : as %3A and / as %2F"
            return SetupError("it cannot be used", Place(place), right)
        given = [
            url.password,
            *(v if isinstance(v, str) else " ".join(v) for v in url.query.values()),
        ]
        for secret in filter(None, given):
            said = said.replace(str(secret), "***")
    return SetupError(f"it cannot be used ({said})", Place(place), f"mend that, {_ELSEWHERE}")
