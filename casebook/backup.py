"""A whole casebook copied: into a file as a backup, out of one again, and out of a damaged one.

A backup is a SQLite casebook of its own, whatever it was made from. It is of one moment, and other
programs may write meanwhile.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import sqlalchemy as sa

from stillflow.casebook.ids import short_id
from stillflow.casebook.leaves import Leaves, Row, Tree
from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import (
    TABLES,
    JsonAnswer,
    UtcMoment,
    casebook,
    fill_pieces,
    sites,
    visits,
)
from stillflow.engine.base import InputError, Place, SetupError

_AT_ONCE = 100
"""Rows that are carried together."""


@dataclass(frozen=True)
class Restored:
    """What came out of a backup.

    Attributes:
        visits: how many.
        damaged: the file was; then some may be missing.
        lost: by table how many rows are known to have been there and could not be read; None where
            nobody can tell.
        bare: short ids of visits of which answers alone are left.
        trail_gone, trail_part: short ids of visits and houses whose trail is lost, and of those
            that have some of it.
    """

    visits: int
    damaged: bool = False
    lost: Mapping[str, int | None] = field(default_factory=dict)
    bare: tuple[str, ...] = ()
    trail_gone: tuple[str, ...] = ()
    trail_part: tuple[str, ...] = ()


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
        InputError: no such file, it is no casebook, or there is something in this one already.
        SetupError: nothing of it can be read.
    """
    if not Path(path).is_file():
        raise InputError("there is no such file", Place(path), "check the name and the folder")
    if _count(target) or _count(target, sites):
        what = f"this casebook has {'visits' if _count(target) else 'houses'} already"
        raise InputError(what, Place(target.place), "restore into an empty one with --db")
    with TemporaryDirectory() as folder:
        # The backup itself is not touched, not even to bring its tables up to date.
        copied = Path(folder, "casebook.db")
        for end in ("", "-wal"):
            # A casebook that was not closed has its last answers in the log beside it.
            if Path(f"{path}{end}").is_file():
                Path(f"{copied}{end}").write_bytes(Path(f"{path}{end}").read_bytes())
        if _whole(copied):
            if not _ours(copied):
                right = "name a file that 'casebook backup' wrote, or that a casebook was kept in"
                raise InputError("this is no casebook", Place(path), right)
            with Casebook(f"sqlite:///{copied}") as source:
                _copy(source, target)
            return Restored(_count(target))
        saved = Path(folder, "saved.db")
        found = _salvage(copied, saved)
        if found is None:
            raise SetupError("nothing of it can be read", Place(path), "take an earlier backup")
        with Casebook(f"sqlite:///{saved}") as source:
            _copy(source, target)
        with target.transaction(write=True) as connection:
            fill_pieces(connection)
        return replace(found, visits=_count(target))


def _refuse_present(path: str) -> None:
    if Path(path).exists():
        raise InputError("there is such a file already", Place(path), "name a new one")


def _count(book: Casebook, table: sa.Table = visits) -> int:
    with book.transaction() as connection:
        return int(connection.scalar(sa.select(sa.func.count()).select_from(table)) or 0)


def _ours(path: Path) -> bool:
    """Whether a database that is whole has the table of visits, as one of any version has."""
    with closing(sqlite3.connect(path)) as raw:
        return bool(raw.execute(f'PRAGMA table_info("{visits.name}")').fetchall())


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
        bad = (raw.execute(f"SELECT 1 {bad}").fetchone() for _, bad in _unread(raw))
        return sound and not any(bad)
    return False


def _unread(raw: sqlite3.Connection) -> Iterator[tuple[str, str]]:
    """Tables, and what selects rows of them that are there and cannot be read as what they are.

    The file may be whole as a database and a text in it overwritten all the same.
    """
    for table in TABLES.sorted_tables:
        known = {row[1] for row in raw.execute(f'PRAGMA table_info("{table.name}")')}
        told = {
            one.name: "json_valid" if isinstance(one.type, (sa.JSON, JsonAnswer)) else "datetime"
            for one in table.c
            if isinstance(one.type, (sa.JSON, JsonAnswer, UtcMoment))
        }
        for column in sorted(known.intersection(told)):
            read = f'"{column}" IS NOT NULL AND NOT coalesce({told[column]}("{column}"), 0)'
            yield table.name, f'FROM "{table.name}" WHERE {read}'


@dataclass
class _Table:
    """What was read of one table of a damaged file.

    Attributes:
        sql: how it was made.
        tree: its rows.
        lost: numbers of rows that could not be read -> what indexes still say of them.
        unknown: nobody can tell how many rows it had.
    """

    sql: str
    tree: Tree
    lost: dict[int, list[Row]] = field(default_factory=dict)
    unknown: bool = False


def _salvage(damaged: Path, saved: Path) -> Restored | None:
    """Carry over all rows that can be read, and say what could not; None where there are none."""
    with closing(sqlite3.connect(damaged)) as old, suppress(sqlite3.Error):
        old.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with Casebook("sqlite://") as empty, empty.transaction() as connection:
        made = "SELECT name, sql FROM sqlite_master WHERE type = 'table'"
        today = {row[0]: row[1] for row in connection.exec_driver_sql(made)}
        # All that stands in an empty one is of which version it is.
        versions = {
            name: [tuple(row) for row in connection.exec_driver_sql(f'SELECT * FROM "{name}"')]
            for name in today
        }
    found = _tables_of(Leaves(damaged.read_bytes()), today)
    if not any(one.tree.rows for name, one in found.items() if not versions.get(name)):
        return None
    with closing(sqlite3.connect(saved)) as new:
        for name, table in found.items():
            new.execute(table.sql)
            for row in _padded(new, name, table.tree.rows) or versions.get(name, []):
                marks = ", ".join("?" * len(row))
                with suppress(sqlite3.Error):
                    new.execute(f'INSERT OR IGNORE INTO "{name}" VALUES ({marks})', row)
        lost = {name: None if one.unknown else len(one.lost) for name, one in found.items()}
        for name, bad in _unread(new):
            more, before = new.execute(f"DELETE {bad}").rowcount, lost[name]
            lost[name] = None if before is None else before + more
        bare = _restore_heads(new)
        # Of an older stillflow's, an answer whose visit is gone belongs to nobody.
        new.execute("DELETE FROM events WHERE visit_id NOT IN (SELECT id FROM visits)")
        heads = lost["visits"]
        lost["visits"] = heads and max(0, heads - len(bare))
        gone, part = _trail_lost(new, found.get("trail"))
        new.commit()
    saved.chmod(0o600)
    lost = {name: one for name, one in lost.items() if one != 0 and not versions.get(name)}
    return Restored(0, True, lost, bare, gone, part)


def _padded(new: sqlite3.Connection, name: str, rows: dict[int, Row]) -> list[Row]:
    """Rows in order, with what a column that was added later is of those from before."""
    about = new.execute(f'PRAGMA table_info("{name}")').fetchall()
    late = tuple(one[4] and one[4].strip("'") for one in about)
    return [(*rows[key], *late[len(rows[key]) :]) for key in sorted(rows)]


def _tables_of(pages: Leaves, today: dict[str, str]) -> dict[str, _Table]:
    """The tables of a file; where it does not say what it has, as they are made today."""
    schema = pages.table(1)
    listed = [row for row in schema.rows.values() if len(row) == 5]
    found, taken = {}, set(schema.pages)
    for kind, name, _, root, sql in listed:
        if kind == "table" and not name.startswith("sqlite_"):
            # What is kept by its keys alone is made anew.
            keyed = "WITHOUT ROWID" in sql
            found[name] = _Table(sql, Tree() if keyed else pages.table(root))
    for name, sql in today.items() if schema.hurt else ():
        found.setdefault(name, _Table(sql, Tree(hurt="WITHOUT ROWID" not in sql)))
    indexes: dict[str, list[Tree]] = {name: [] for name in found}
    for kind, _, of, root, sql in listed:
        if kind == "index" and of in indexes:
            tree = pages.index(root)
            taken |= tree.pages
            # One of some rows only tells nothing of the others.
            if " WHERE " not in (sql or ""):
                indexes[of].append(tree)
    for one in found.values():
        taken |= one.tree.pages
    hurt = {name: one for name, one in found.items() if one.tree.hurt}
    if hurt:
        with closing(sqlite3.connect(":memory:")) as raw:
            columns = {}
            for name, one in hurt.items():
                raw.execute(one.sql)
                columns[name] = raw.execute(f'PRAGMA table_info("{name}")').fetchall()
        for rows in pages.loose(taken):
            for name, one in hurt.items():
                if all(_fits(row, columns[name]) for row in rows.values()):
                    one.tree.rows = rows | one.tree.rows
                    break
    for name, one in hurt.items():
        for index in indexes[name]:
            for key in index.rows.keys() - one.tree.rows.keys():
                one.lost.setdefault(key, []).append(index.rows[key])
        one.unknown = not one.lost and all(index.hurt for index in indexes[name])
    return found


def _fits(row: Row, columns: list[Any]) -> bool:
    """Whether a row that nothing leads to may be one of a table."""
    return len(row) == len(columns) and all(map(_is, row, columns))


def _is(value: Any, column: Any) -> bool:
    _, _, kind, required, *_ = column
    if value is None:
        return not required
    if kind in ("DATETIME", "JSON"):
        try:
            _PARSED[kind](value)
        except (TypeError, ValueError):
            return False
        return True
    return isinstance(value, _KINDS.get(kind.partition("(")[0], str))


_PARSED: dict[str, Callable[[Any], Any]] = {"DATETIME": datetime.fromisoformat, "JSON": json.loads}
_KINDS: dict[str, Any] = {"BLOB": bytes, "FLOAT": (int, float), "INTEGER": int, "BOOLEAN": int}


def _restore_heads(new: sqlite3.Connection) -> tuple[str, ...]:
    """Let what lost the row it belongs to have one again: a house's entry, a visit's head.

    Returns:
        Short ids of the visits of which answers alone are left.
    """
    named = "SELECT site_id FROM {} UNION "
    of = "".join(map(named.format, ("people", "inlets", "units", "visits")))
    asked = f"SELECT * FROM ({of} SELECT merged_into FROM sites) WHERE site_id IS NOT NULL"
    for (site_id,) in new.execute(asked).fetchall():
        row = (site_id, short_id(site_id), site_id)
        new.execute("INSERT OR IGNORE INTO sites (id, short, house_id) VALUES (?, ?, ?)", row)
    asked = (
        "SELECT visit_id, min(at) FROM events WHERE visit_id NOT IN (SELECT id FROM visits)"
        " GROUP BY visit_id"
    )
    bare = [(one, short_id(one), begun) for one, begun in new.execute(asked).fetchall()]
    new.executemany(
        "INSERT INTO visits (id, short, opened, changed, status, technician, rules, header)"
        " VALUES (?, ?, ?, datetime('now'), 'open', '', '', '{}')",
        bare,
    )
    return tuple(sorted(short for _, short, _ in bare))


def _trail_lost(
    new: sqlite3.Connection, table: _Table | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Short ids of visits and houses whose trail is gone, and of those that have some of it."""
    if table is None or not table.tree.hurt:
        return (), ()
    # The one index of two columns begins with what a line is about.
    lost = {key[0] for keys in table.lost.values() for key in keys if len(key) == 2}
    about = lost | {one for (one,) in new.execute("SELECT id FROM visits")}
    left = {one for (one,) in new.execute("SELECT about FROM trail")}
    return _shorts(about - left), _shorts(lost & left)


def _shorts(ids: set[str]) -> tuple[str, ...]:
    return tuple(sorted(map(short_id, ids)))
