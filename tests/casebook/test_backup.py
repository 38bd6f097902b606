"""A backup holds all of a casebook, comes back as it was, and a damaged one gives what it can."""

from __future__ import annotations

import re
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
import sqlalchemy as sa
from command import stillflow

from stillflow.casebook.backup import backup, restore
from stillflow.casebook.ids import short_id
from stillflow.casebook.leaves import Leaves
from stillflow.casebook.sites import Sites
from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import events, photos, sites, trail
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
    houses = Sites(casebook)
    first, second = houses.named("House 3"), houses.named("House 17")
    houses.merge(first.id, second.id)
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
    assert (found.visits, 0 < len(found.bare) < 5) == (24, True)
    kept = target.recent(99)
    assert len(kept) == found.visits
    whole = [
        one
        for one in kept
        if one.model_copy(update={"site": Site()})
        == visit(int(one.id[-4:])).model_copy(update={"site": Site()})
    ]
    assert len(whole) == 24 - len(found.bare)


def test_pages_give_the_rows_that_sqlite_gives(casebook: Casebook, tmp_path: Path) -> None:
    with casebook.transaction(write=True) as connection:
        row = {"id": "one", "visit_id": "visit-0003", "at": datetime.now(UTC), "who": "Ada"}
        connection.execute(photos.insert().values(**row, jpeg=bytes(range(256)) * 100))
    path = tmp_path / "backup.db"
    backup(casebook, str(path))
    pages, counts = Leaves(path.read_bytes()), {}
    with closing(sqlite3.connect(path)) as raw:
        asked = "SELECT type, name, rootpage, sql FROM sqlite_master"
        for kind, name, root, sql in raw.execute(asked).fetchall():
            if kind == "table" and "WITHOUT ROWID" not in sql:
                rows = raw.execute(f'SELECT rowid, * FROM "{name}"').fetchall()
                found = pages.table(root)
                counts[name] = len(rows)
                if name != "casebook":
                    assert found.rows == {row[0]: row[1:] for row in rows}
                assert not found.hurt
            if name == "ix_trail_about":
                rows = raw.execute("SELECT rowid, about, id FROM trail").fetchall()
                assert pages.index(root).rows == {row[0]: row[1:] for row in rows}
    assert counts["visits"] == 24
    assert counts["events"] == 24 * 9
    assert counts["photos"] == 1


def test_whichever_page_is_damaged_all_others_are_saved_and_what_is_lost_is_said(
    casebook: Casebook, tmp_path: Path
) -> None:
    path, hurt = tmp_path / "backup.db", tmp_path / "hurt.db"
    backup(casebook, str(path))
    whole, size = path.read_bytes(), 4096
    kinds = set()
    for page in range(len(whole) // size):
        if page % 3 and whole[page * size] in (0, 10):
            # Of leaves of indexes, and of pages that others run over into, some do.
            continue
        kinds.add(whole[page * size])
        hurt.write_bytes(whole[: page * size] + b"\xa5" * size + whole[(page + 1) * size :])
        with Casebook("sqlite://") as target:
            found = restore(str(hurt), target)
            kept = target.recent(99)
            trails = {one.id: len(target.trail(one.id)) for one in kept}
            with target.transaction() as connection:
                lines = connection.scalar(sa.select(sa.func.count()).select_from(trail))
                answers = connection.scalar(sa.select(sa.func.count()).select_from(events))
        lost = found.lost.get
        assert found.visits == len(kept) == 24 - (lost("visits", 0) or 0)
        assert {short_id(one.id) for one in kept if not one.complaint} == set(found.bare)
        assert lines == 24 - (lost("trail", 0) or 0)
        assert answers == 9 * 24 - (lost("events", 0) or 0)
        assert {one for one, count in trails.items() if not count} <= set(found.trail_gone)
        # A page holds a hundred answers at most here.
        assert found.visits + lines + answers >= 24 + 24 + 9 * 24 - 100
    # Leaves and nodes of tables and indexes, and pages that a row runs over into.
    assert kinds >= {5, 10, 13}


@pytest.mark.parametrize("left", [0.5, 0.75, 0.95])
def test_a_file_that_was_cut_short_gives_what_is_left(
    target: Casebook, tmp_path: Path, left: float
) -> None:
    path = tmp_path / "casebook.db"
    with Casebook(f"sqlite:///{path}") as opened:
        for number in range(60):
            opened.put(visit(number))
    whole = path.read_bytes()
    cut = whole[: int(left * len(whole))]
    path.write_bytes(cut)
    found = restore(str(path), target)
    kept = [one for one in target.recent(99) if one.complaint]
    assert len(kept) == cut.count(visit(0).complaint.encode())
    for one in kept:
        assert one.complaint == visit(0).complaint
        assert set(one.events) <= set(visit(0).events)
    assert found.lost


def test_a_trail_that_is_lost_in_part_is_said_and_the_rest_is_saved(
    target: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "casebook.db"
    with Casebook(f"sqlite:///{path}") as opened:
        long, short = (opened.begin(Visit(site=Site(name=name))) for name in ("Fern", "Heron"))
        for number in range(200):
            long = opened.add_event(long, Event(note=f"{number} {'weak ' * 20}"))
    whole, size = path.read_bytes(), 4096
    with closing(sqlite3.connect(path)) as raw:
        root = raw.execute("SELECT rootpage FROM sqlite_master WHERE name = 'trail'").fetchone()[0]
    leaf = next(
        page
        for page in range(len(whole) // size)
        if whole[page * size] == 13 and b"note 100" in whole[page * size : (page + 1) * size]
    )
    for page in (root - 1, leaf):
        # Nothing leads to the leaves any more, and one of them is gone.
        whole = whole[: page * size] + b"\xa5" * size + whole[(page + 1) * size :]
    path.write_bytes(whole)
    out = stillflow("casebook", "restore", str(path), "--db", f"sqlite:///{tmp_path}/target.db").out
    kept = len(target.trail(long.id))
    assert 100 < kept < 201
    assert f"{201 - kept} trail lines could not be read" in out
    assert f"Who wrote what when is in part gone of: {short_id(long.id)}." in out
    assert target.trail(short.id)[0].what == "begun"


def test_what_stands_in_the_log_beside_a_casebook_is_restored(
    target: Casebook, tmp_path: Path
) -> None:
    path, copied = tmp_path / "casebook.db", tmp_path / "copied.db"
    with Casebook(f"sqlite:///{path}") as opened:
        opened.put(visit(1))
        for end in ("", "-wal"):
            Path(f"{copied}{end}").write_bytes(Path(f"{path}{end}").read_bytes())
    assert restore(str(copied), target).visits == 1


def test_a_file_that_is_nothing_is_one_line(target: Casebook, tmp_path: Path) -> None:
    path = tmp_path / "junk.db"
    path.write_bytes(b"junk" * 5000)
    with pytest.raises(SetupError, match=re.escape(f"{path}: nothing of it can be read")):
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
    assert (found.visits, found.lost, found.bare) == (6, {"events": 1}, ("visit-0002",))
    assert target.get("visit-0001") == visit(1)
    assert len(target.get("visit-0004").events) == 8
    assert target.get("visit-0002").events == visit(2).events


def test_a_file_that_is_no_casebook_is_refused(tmp_path: Path) -> None:
    empty, other = tmp_path / "empty.db", tmp_path / "other.db"
    empty.touch()
    with closing(sqlite3.connect(other)) as raw:
        raw.execute("CREATE TABLE songs (name TEXT)")
    for path in (empty, other):
        to = f"sqlite:///{tmp_path}/target.db"
        outcome = stillflow("casebook", "restore", str(path), "--db", to)
        assert outcome.code == 2
        assert "this is no casebook" in outcome.err
        assert "restored" not in outcome.out


def test_a_script_is_told_by_the_exit_code_that_a_backup_was_damaged(
    casebook: Casebook, tmp_path: Path
) -> None:
    path, cut = tmp_path / "backup.db", tmp_path / "cut.db"
    backup(casebook, str(path))
    data = path.read_bytes()
    codes = []
    for share in (0.02, 0.36, 0.8):
        cut.write_bytes(data[: int(share * len(data))])
        to = f"sqlite:///{tmp_path}/{share}.db"
        outcome = stillflow("casebook", "restore", str(cut), "--db", to)
        codes.append(outcome.code)
        assert "damaged" in outcome.out or "nothing of it can be read" in outcome.err
    assert codes == [2, 1, 1]  # of the first nothing can be read at all
    assert stillflow("casebook", "restore", str(path), "--db", f"{to}.whole").code == 0


def test_a_casebook_of_which_houses_alone_were_saved_is_not_restored_into(
    casebook: Casebook, target: Casebook, tmp_path: Path
) -> None:
    path = tmp_path / "backup.db"
    backup(casebook, str(path))
    with target.transaction(write=True) as connection:
        row = {"id": "a-house", "short": "a-house", "house_id": "a-house"}
        connection.execute(sites.insert().values(**row))
    with pytest.raises(InputError, match="has houses already"):
        restore(str(path), target)
