"""A backup holds all of a casebook, comes back as it was, and a damaged one gives what it can."""

from __future__ import annotations

import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from stillflow.casebook.backup import backup, restore
from stillflow.casebook.sites import Sites
from stillflow.casebook.store import Casebook
from stillflow.engine.base import InputError, SetupError
from stillflow.engine.inference import Event, Site, Visit


def visit(number: int) -> Visit:
    events = tuple(Event(check="sealed-inlet", answer=float(n), note=None) for n in range(9))
    site = Site(name=f"House {number}", phone="0555")
    return Visit(id=f"visit-{number:04}", complaint="weak " * 120, site=site, events=events)


@pytest.fixture
def casebook(url: str) -> Iterator[Casebook]:
    with Casebook(url) as opened:
        for number in range(24):
            opened.put(visit(number))
        yield opened


@pytest.fixture
def target(tmp_path: Path) -> Iterator[Casebook]:
    with Casebook(f"sqlite:///{tmp_path}/target.db") as opened:
        yield opened


def test_a_backup_comes_back_whole(casebook: Casebook, target: Casebook, tmp_path: Path) -> None:
    sites = Sites(casebook)
    first, second = sites.named("House 3"), sites.named("House 17")
    sites.merge(first.id, second.id)
    path = tmp_path / "backup.db"
    assert backup(casebook, str(path)) == 24
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    casebook.add_event(casebook.get("visit-0001"), Event(note="later"))
    found = restore(str(path), target)
    assert (found.visits, found.damaged) == (24, False)
    # A merged entry's visit has its house's name.
    expected = [visit(n) for n in range(24)]
    expected[3] = expected[3].model_copy(update={"site": expected[17].site})
    assert [target.get(f"visit-{n:04}") for n in range(24)] == expected
    assert Sites(target).named("House 17").visits == 2
    assert target.trail("visit-0007") == casebook.trail("visit-0007")


def test_nothing_is_overwritten(casebook: Casebook, target: Casebook, tmp_path: Path) -> None:
    path = tmp_path / "backup.db"
    backup(casebook, str(path))
    with pytest.raises(InputError, match="such a file already"):
        backup(casebook, str(path))
    restore(str(path), target)
    with pytest.raises(InputError, match="has visits already"):
        restore(str(path), target)
    with pytest.raises(InputError, match="no such file"):
        restore(str(tmp_path / "none.db"), target)


def test_what_can_be_read_of_a_damaged_file_is_saved(
    casebook: Casebook, target: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "backup.db"
    backup(casebook, str(path))
    with sqlite3.connect(path) as raw:
        size = raw.execute("PRAGMA page_size").fetchone()[0]
        pages = raw.execute("PRAGMA page_count").fetchone()[0]
    raw.close()
    data = bytearray(path.read_bytes())
    middle = next(
        page
        for page in range(pages // 3, pages)
        if data[page * size] == 13 and b"weak weak" in data[page * size : (page + 1) * size]
    )
    data[middle * size : (middle + 1) * size] = b"\xff" * size
    path.write_bytes(data)
    found = restore(str(path), target)
    assert found.damaged
    assert 0 < found.visits < 24
    kept = target.recent(99)
    assert len(kept) == found.visits
    whole = [
        one
        for one in kept
        if one.model_copy(update={"site": Site()})
        == visit(int(one.id[-4:])).model_copy(update={"site": Site()})
    ]
    assert len(whole) >= 0.8 * len(kept)


def test_a_file_that_is_nothing_is_one_line(target: Casebook, tmp_path: Path) -> None:
    path = tmp_path / "junk.db"
    path.write_bytes(b"junk" * 5000)
    with pytest.raises(SetupError, match="nothing of it can be read"):
        restore(str(path), target)


def test_a_text_that_was_overwritten_costs_its_visit_and_no_other(
    target: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "casebook.db"
    with Casebook(f"sqlite:///{path}") as opened:
        for number in range(6):
            opened.put(visit(number))
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("UPDATE visits SET header = '{\"complaint\" xx' WHERE id = 'visit-0002'")
        raw.execute(
            "UPDATE events SET answer = '12.x' WHERE visit_id = 'visit-0004' AND number = 3"
        )
        raw.commit()
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with (
        Casebook(f"sqlite:///{path}") as hurt,
        pytest.raises(SetupError, match="restore' saves out of its file"),
    ):
        backup(hurt, str(tmp_path / "backup.db"))
    found = restore(str(path), target)
    assert (found.visits, found.damaged, found.lost) == (5, True, 2)
    assert target.get("visit-0001") == visit(1)
    assert len(target.get("visit-0004").events) == 8
