"""Processes that write into one casebook at once, and what came of it. On Linux, since they fork.

An answer counts as acknowledged once the casebook's write has returned.
"""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from stillflow.casebook.store import Casebook, Overtaken
from stillflow.engine.base import StillflowError
from stillflow.engine.inference import Conclusion, Event, Site, Visit

PROCESSES = 8


def write(url: str, visit_id: str, label: str, until: float, told: Callable[[str], None]) -> None:
    """Write notes with a number of their own until it is time; say what came of each."""
    with Casebook(url, label) as book:
        kept = book.get(visit_id)
        number = 0
        while time.time() < until:
            try:
                if len(kept.events) >= MOST:
                    kept = book.begin(Visit())
                    told(f"visit {kept.id}")
                kept = book.add_event(kept, Event(note=f"{label} {number}"))
                told(f"kept {label} {number}")
                number += 1
            except Overtaken:
                told("overtaken")
                kept = book.get(kept.id)
            except StillflowError as problem:
                told(f"error {' '.join(str(problem).split())[:200]}")


TRIES = 200

MOST = 450
"""Of the 500 events that a visit may have; then another one is begun."""


def forked(work: Callable[[Callable[[str], None]], None]) -> tuple[int, int]:
    """Do work in a process of its own; gives its id and where what it tells can be read."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        try:
            work(lambda line: void(os.write(writer, f"{line}\n".encode())))
        finally:
            os._exit(0)
    os.close(writer)
    return child, reader


def void(_: int) -> None:
    """Nothing comes of it."""


def heard(reader: int) -> list[str]:
    with os.fdopen(reader, "rb") as stream:
        return [line.decode()[:-1] for line in stream if line.endswith(b"\n")]


def checked(url: str, begun: list[str], lines: list[str]) -> tuple[int, int]:
    """How many acknowledged answers are lost, and how many stand twice."""
    with Casebook(url) as book:
        notes = Counter(e.note for one in {*begun} for e in book.get(one).events)
    acknowledged = {line[5:] for line in lines if line.startswith("kept ")}
    doubled = sum(count > 1 for count in notes.values())
    return len(acknowledged - set(notes)), doubled


@dataclass
class Written:
    """What came of it: answers acknowledged, lost, there twice; overtakings told; errors told."""

    kept: int
    lost: int
    doubled: int
    overtaken: int = 0
    errors: tuple[str, ...] = ()

    @property
    def well(self) -> bool:
        return self.kept > 0 and not (self.lost or self.doubled or self.errors)


def at_once(url: str, seconds: float, one: bool, processes: int = PROCESSES) -> Written:
    """Processes that write for some seconds, all in one visit or each in its own."""
    with Casebook(url) as book:
        ids = [book.begin(Visit()).id for _ in range(1 if one else processes)]
    until = time.time() + seconds
    children = [
        forked(lambda told, n=n: write(url, ids[0 if one else n], f"{one} {n}", until, told))
        for n in range(processes)
    ]
    lines: list[list[str]] = [[] for _ in children]
    # All pipes are read while the others write: a full one would hold its writer up.
    readers = [
        threading.Thread(target=lambda n=n, r=r: lines[n].extend(heard(r)))
        for n, (_, r) in enumerate(children)
    ]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join()
    for child, _ in children:
        os.waitpid(child, 0)
    every = [line for some in lines for line in some]
    begun = [*ids, *(line[6:] for line in every if line.startswith("visit "))]
    return Written(
        sum(line.startswith("kept") for line in every),
        *checked(url, begun, every),
        every.count("overtaken"),
        tuple(line for line in every if line.startswith("error")),
    )


def killed(url: str, count: int, longest: float = 0.15) -> Written:
    """Processes that write in visits of their own, each killed at a moment drawn."""
    luck = random.Random(1)
    found = Written(0, 0, 0)
    with Casebook(url) as book:
        ids = [book.begin(Visit()).id for _ in range(count)]
    for number, visit_id in enumerate(ids):
        until, label = time.time() + 30, f"killed {number}"
        child, reader = forked(lambda told, v=visit_id, n=label, u=until: write(url, v, n, u, told))
        time.sleep(luck.uniform(0.0, longest))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        lines = heard(reader)
        begun = [visit_id, *(line[6:] for line in lines if line.startswith("visit "))]
        lost, doubled = checked(url, begun, lines)
        found.lost, found.doubled = found.lost + lost, found.doubled + doubled
        found.kept += sum(line.startswith("kept") for line in lines)
    return found


def _said(update: dict[str, Any], book: Casebook, kept: Visit) -> Visit:
    return book.save_header(kept.model_copy(update=update), kept)


def _read(number: int, book: Casebook, kept: Visit) -> Visit:
    return book.add_event(kept, Event(check="sealed-inlet", answer=100.0 + number))


def _struck(book: Casebook, kept: Visit) -> Visit:
    return book.add_event(kept, Event(strikes=1, note="misread"))


SCRIPT: tuple[Callable[[Casebook, Visit], Visit], ...] = (
    lambda book, _: book.begin(Visit(site=Site(name="Fern Cottage"))),
    partial(_said, {"complaint": "weak everywhere"}),
    partial(_read, 1),
    partial(_read, 2),
    lambda book, kept: book.drop_last_event(kept),
    partial(_read, 3),
    _struck,
    partial(_said, {"conclusion": Conclusion(step="done", text="Well.")}),
    lambda book, kept: book.reopen(kept),
    partial(_read, 4),
)
"""A visit from its beginning to its end and on, each a write that is acknowledged."""

HOW = ("lock held", "lock held too long", "connection ended", "disk full")
STATEMENTS = 4
"""A connection is ended at each of so many statements of a write, and as it is committed."""


@dataclass
class Broken(Written):
    """The same of faults; how many times one was met."""

    faults: int = 0


def broken(url: str, how: str, small: Path | None = None) -> Broken:
    """Scripted visits, each with one fault at one write; what was refused is done again.

    Args:
        url: a casebook that is there.
        how: one of `HOW`.
        small: a folder on the file system that the casebook is on, to be filled up.
    """
    found = Broken(0, 0, 0)
    moments = range(1, STATEMENTS + 2) if how == "connection ended" else (1,)
    for write in range(len(SCRIPT)):
        for moment in moments:
            _play(url, how, small, (write, moment), found)
    return found


def _play(url: str, how: str, small: Path | None, at: tuple[int, int], found: Broken) -> None:
    kept = Visit()
    with _opened(_impatient(url) if how == "lock held too long" else url) as book:
        for number, step in enumerate(SCRIPT):
            fault = _Fault(url, how, small, book, at[1]) if number == at[0] else None
            # A server whose disk was full may have to come back.
            for _ in range(TRIES):
                try:
                    kept = step(book, kept)
                    break
                except Overtaken:
                    # The write was done, only its word did not come.
                    kept = book.get(kept.id)
                    break
                except StillflowError as problem:
                    found.overtaken += 1
                    last = str(problem)
                    if fault is not None:
                        fault.gone()
                    time.sleep(0.1)
            else:
                found.errors = (*found.errors, f"{how} at {at}, write {number}: {last[:200]}")
                return
            found.kept += 1
            if fault is not None:
                found.faults += fault.met
                fault.gone()
                found.lost += not _has(url, kept)
    found.lost += not _has(url, kept)


def _opened(url: str) -> Casebook:
    """The casebook, of a server that may still have to come back."""
    for _ in range(TRIES):
        with suppress(StillflowError):
            return Casebook(url)
        time.sleep(0.1)
    return Casebook(url)


def _has(url: str, kept: Visit) -> bool:
    """Whether the casebook, opened anew, has a visit as it was acknowledged."""
    for _ in range(TRIES):
        with suppress(StillflowError), Casebook(url) as again:
            now = again.get(kept.id)
            return (now.events, now.complaint, now.conclusion) == (
                kept.events,
                kept.complaint,
                kept.conclusion,
            )
        time.sleep(0.1)
    return False


def _impatient(url: str) -> str:
    if url.startswith("sqlite"):
        return f"{url}?timeout=0.1"
    known = sa.make_url(url)
    options = f"{known.query.get('options', '')} -clock_timeout=100".strip()
    return known.update_query_dict({"options": options}).render_as_string(hide_password=False)


class _Fault:
    """One fault at the write that comes next."""

    def __init__(self, url: str, how: str, small: Path | None, book: Casebook, moment: int) -> None:
        self.met = 0
        self._url, self._moment, self._statements = url, moment, 0
        self._holder: Any = None
        self._small: Path | None = None
        if how == "connection ended":
            sa.event.listen(book._engine, "before_cursor_execute", self._statement)
            sa.event.listen(book._engine, "commit", self._commit)
        elif how == "disk full":
            assert small is not None
            self._small = small / "filling"
            with suppress(OSError), self._small.open("wb", buffering=0) as stream:
                size = 1 << 20
                while size:
                    try:
                        stream.write(bytes(size))
                    except OSError:
                        size //= 2
            self._use_up_the_log()
            self.met = 1
        else:
            self._hold()
            self.met = 1
            if how == "lock held":
                threading.Timer(0.4, self.gone).start()

    def gone(self) -> None:
        """Nothing is wrong any more."""
        holder, self._holder = self._holder, None
        if holder is not None:
            holder.close()
        if self._small is not None:
            self._small.unlink(missing_ok=True)

    def _use_up_the_log(self) -> None:
        """A server writes on in the file of its log that it has; have it need another."""
        if self._url.startswith("sqlite"):
            return
        for _ in range(4):
            with suppress(sa.exc.SQLAlchemyError), self._aside() as connection:
                connection.execute(sa.text("SELECT pg_switch_wal()"))
                connection.execute(sa.text("SELECT txid_current()"))

    def _aside(self) -> sa.Connection:
        pool = {"poolclass": sa.NullPool, "isolation_level": "AUTOCOMMIT"}
        return sa.create_engine(self._url, **pool).connect()

    def _hold(self) -> None:
        if self._url.startswith("sqlite"):
            place = sa.make_url(self._url).database or ""
            self._holder = sqlite3.connect(place, check_same_thread=False)
            self._holder.execute("BEGIN IMMEDIATE")
            return
        self._holder = sa.create_engine(self._url, poolclass=sa.NullPool).connect()
        self._holder.execute(sa.text("LOCK TABLE visits, events, trail, sites, people"))

    def _statement(self, connection: sa.Connection, *_: Any) -> None:
        self._statements += 1
        if self._statements == self._moment and not self.met:
            self._end(connection)

    def _commit(self, connection: sa.Connection) -> None:
        if self._moment > STATEMENTS and not self.met:
            self._end(connection)

    def _end(self, connection: sa.Connection) -> None:
        self.met = 1
        raw: Any = connection.connection.driver_connection
        if self._url.startswith("sqlite"):
            raw.close()
            return
        with self._aside() as killer:
            killer.execute(sa.text(f"SELECT pg_terminate_backend({raw.info.backend_pid})"))
