"""A whole casebook copied: into a file as a backup, out of one again, and out of a damaged one.

A backup is a SQLite casebook of its own, whatever it was made from. It is of one moment, and other
programs may write meanwhile.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import sqlalchemy as sa

from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import TABLES, JsonAnswer, casebook, fill_pieces, sites, visits
from stillflow.engine.base import InputError, Place, SetupError

_AT_ONCE = 100
"""Rows that are carried together."""


@dataclass(frozen=True)
class Restored:
    """What came out of a backup.

    Attributes:
        visits: how many.
        damaged: the file was; then some may be missing.
        lost: rows of visits and answers that are known to have been there and could not be read;
            None where nobody can tell.
    """

    visits: int
    damaged: bool = False
    lost: int | None = 0


def backup(source: Casebook, path: str) -> int:
    """Copy a casebook into a new file, for its owner only; gives how many visits it holds.

    Raises:
        InputError: there is such a file already.
        SetupError: it cannot be written.
    """
    _refuse_present(path)
    half = f"{path}.half"
    Path(half).unlink(missing_ok=True)
    with Casebook(f"sqlite:///{half}") as target:
        try:
            _copy(source, target)
        except ValueError:
            what = "something in it cannot be read; the casebook is damaged"
            right = "'casebook restore' saves out of its file all that can be read"
            raise SetupError(what, Place(source.place), right) from None
        count = _count(target)
        with target.transaction() as connection:
            connection.exec_driver_sql("SELECT 1")
    with closing(sqlite3.connect(half)) as raw:
        # One file without a journal beside it, that can be carried away.
        raw.execute("PRAGMA journal_mode = DELETE")
    Path(half).replace(path)
    return count


def restore(path: str, target: Casebook) -> Restored:
    """Copy a backup into an empty casebook; out of a damaged one, all that can be read.

    Raises:
        InputError: no such file, or the casebook has visits already.
        SetupError: nothing of it can be read.
    """
    if not Path(path).is_file():
        raise InputError("there is no such file", Place(path), "check the name and the folder")
    if _count(target):
        what = "this casebook has visits already"
        raise InputError(what, Place(target.place), "restore into an empty one with --db")
    with TemporaryDirectory() as folder:
        # The backup itself is not touched, not even to bring its tables up to date.
        copied = Path(folder, "casebook.db")
        copied.write_bytes(Path(path).read_bytes())
        copied.chmod(0o600)
        if _whole(copied):
            with Casebook(f"sqlite:///{copied}") as source:
                _copy(source, target)
            return Restored(_count(target))
        saved = Path(folder, "saved.db")
        lost = _salvage(copied, saved)
        with Casebook(f"sqlite:///{saved}") as source:
            _copy(source, target)
        with target.transaction(write=True) as connection:
            fill_pieces(connection)
        return Restored(_count(target), damaged=True, lost=lost)


def _refuse_present(path: str) -> None:
    if Path(path).exists():
        raise InputError("there is such a file already", Place(path), "name a new one")


def _count(book: Casebook) -> int:
    with book.transaction() as connection:
        return int(connection.scalar(sa.select(sa.func.count()).select_from(visits)) or 0)


def _copy(source: Casebook, target: Casebook) -> None:
    """All rows of all tables, in one transaction on either side."""
    with source.snapshot() as reading, target.transaction(write=True) as writing:
        merged = []
        for table in TABLES.sorted_tables:
            if table is casebook:
                continue
            # A server sends them as they are carried, since photos are large.
            asked = sa.select(table).execution_options(yield_per=_AT_ONCE)
            for rows in reading.execute(asked).mappings().partitions():
                values = [dict(row) for row in rows]
                if table is sites:
                    # An entry may stand before the one it was merged into.
                    merged += [one for one in values if one["merged_into"] is not None]
                    values = [{**one, "merged_into": None} for one in values]
                writing.execute(table.insert(), values)
        for one in merged:
            mine = sites.c.id == one["id"]
            writing.execute(sites.update().where(mine).values(merged_into=one["merged_into"]))


def _whole(path: Path) -> bool:
    with closing(sqlite3.connect(path)) as raw, suppress(sqlite3.Error, UnicodeDecodeError):
        sound = raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return sound and not any(raw.execute(f"SELECT 1 {bad}").fetchone() for bad in _unread(raw))
    return False


def _unread(raw: sqlite3.Connection) -> Iterator[str]:
    """What selects the rows of each table that are there and cannot be read as what they are.

    The file may be whole as a database and a text in it overwritten all the same.
    """
    for table in TABLES.sorted_tables:
        known = {row[1] for row in raw.execute(f'PRAGMA table_info("{table.name}")')}
        told = [one.name for one in table.c if isinstance(one.type, (sa.JSON, JsonAnswer))]
        for column in sorted(known.intersection(told)):
            yield f'FROM "{table.name}" WHERE "{column}" IS NOT NULL AND NOT json_valid("{column}")'


def _salvage(damaged: Path, saved: Path) -> int | None:
    """Carry over what can be read of each table from its beginning and from its end.

    Returns:
        How many rows between them could not be, where rows are numbered; else None.
    """
    lost: int | None = 0
    with closing(sqlite3.connect(damaged)) as old, closing(sqlite3.connect(saved)) as new:
        try:
            made = old.execute(
                "SELECT name, sql FROM sqlite_master WHERE type = 'table' AND sql IS NOT NULL"
            ).fetchall()
        except (sqlite3.Error, UnicodeDecodeError):
            what = "nothing of it can be read"
            raise SetupError(what, Place(str(damaged)), "take an earlier backup") from None
        for name, sql in made:
            new.execute(sql)
            first, second = (list(_readable(old, name, order)) for order in ("ASC", "DESC"))
            rows = {row[0]: row[1:] for row in (*first, *second)}
            if rows and len(first) < len(rows):
                lost = None if lost is None else lost + max(rows) - min(rows) + 1 - len(rows)
            if rows:
                marks = ", ".join("?" * len(next(iter(rows.values()))))
                text = f'INSERT OR IGNORE INTO "{name}" VALUES ({marks})'
                new.executemany(text, [rows[key] for key in sorted(rows)])
        for bad in _unread(new):
            gone = new.execute(f"DELETE {bad}").rowcount
            lost = None if lost is None else lost + gone
        # An answer whose visit is gone belongs to nobody.
        new.execute("DELETE FROM events WHERE visit_id NOT IN (SELECT id FROM visits)")
        with suppress(sqlite3.Error):
            new.execute(
                "UPDATE visits SET site_id = NULL WHERE site_id NOT IN (SELECT id FROM sites)"
            )
        new.commit()
    saved.chmod(0o600)
    return lost


def _readable(raw: sqlite3.Connection, table: str, order: str) -> Iterator[tuple[Any, ...]]:
    """Rows of a table with their number first, up to the first that cannot be read."""
    with suppress(sqlite3.Error, UnicodeDecodeError):
        yield from raw.execute(f'SELECT rowid, * FROM "{table}" ORDER BY rowid {order}')
