"""What an earlier stillflow kept is read as it was, and older and newer ones stay apart."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from stillflow.casebook.files import load_visit
from stillflow.casebook.listing import Wanted, listed
from stillflow.casebook.phones import Phones
from stillflow.casebook.photos import Photos
from stillflow.casebook.sites import Sites
from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import PEOPLE, TABLES, people, visits
from stillflow.engine.inference import Event, Visit

DATA = Path(__file__).parent / "data"
"""`casebook-0.1.0.db` was written by stillflow 0.1.0, the visits beside it too, as its files."""


@pytest.fixture
def old(tmp_path: Path) -> Iterator[Casebook]:
    shutil.copy(DATA / "casebook-0.1.0.db", tmp_path / "casebook.db")
    with Casebook(f"sqlite:///{tmp_path}/casebook.db") as opened:
        yield opened


def written() -> list[Visit]:
    return [load_visit(path) for path in sorted(DATA.glob("visit-0.1.0-*.yaml"))]


def test_every_visit_of_the_first_version_is_as_it_was(old: Casebook) -> None:
    before = written()
    assert len(before) == 3
    assert [old.get(visit.id) for visit in before] == before
    assert {one.id for one in old.open_visits()} == {before[1].id, before[2].id}


def test_an_old_visit_is_gone_on_with(old: Casebook) -> None:
    known = old.get(written()[1].id)
    event = Event(check="sealed-other", answer=61.5, inlet="landing")
    kept = old.add_event(known, event)
    assert old.get(kept.id).events[-1] == event


def test_visits_of_one_house_come_to_one_site(old: Casebook) -> None:
    (line,) = Sites(old).find("heron penhallow")
    first, second, _ = written()
    assert (line.visits, line.last) == (2, second.opened)
    known = Sites(old).known(line.id, second.opened)
    assert [one.name for one in known.site.inlets] == ["hall", "landing"]
    assert (known.house.tubing_ft, known.house.hose_ft) == (60, 30)
    assert known.site.altitude_ft == 1200
    assert known.unit.rated_sealed == 130
    assert known.unit.age_years == pytest.approx(10, abs=0.1)
    assert [one.id for one in Sites(old).visits(line.id)] == [first.id, second.id]


def test_names_stand_in_one_table_only(old: Casebook, tmp_path: Path) -> None:
    with old.transaction() as connection:
        assert connection.scalar(sa.select(people.c.customer)) == "Ada Penhallow"
        headers = list(connection.scalars(sa.select(visits.c.header)))
    assert not any(set(PEOPLE) & set(header["site"]) for header in headers)
    old.close()
    raw = sqlite3.connect(tmp_path / "casebook.db")
    rest = [
        str(raw.execute(f'SELECT * FROM "{name}"').fetchall())
        for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        if name != "people"
    ]
    raw.close()
    assert not any("Penhallow" in one or "Heron" in one for one in rest)


def test_migrated_and_new_casebooks_have_the_tables_of_the_code(
    old: Casebook, tmp_path: Path
) -> None:
    with Casebook(f"sqlite:///{tmp_path}/new.db") as new:
        for casebook in (old, new):
            with casebook.transaction() as connection:
                context = MigrationContext.configure(connection, opts={"compare_type": True})
                apart = [
                    one
                    for one in compare_metadata(context, TABLES)
                    if "alembic_version" not in str(one)
                ]
                assert apart == []


def test_the_first_version_leaves_a_migrated_casebook_alone(old: Casebook, tmp_path: Path) -> None:
    # It looks at this number, and refuses a higher one than 1.
    old.close()
    raw = sqlite3.connect(tmp_path / "casebook.db")
    assert raw.execute("SELECT version FROM casebook").fetchall() == [(6,)]
    raw.close()


def test_a_migration_that_breaks_off_leaves_the_old_casebook(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "casebook.db"
    shutil.copy(DATA / "casebook-0.1.0.db", path)
    from stillflow.casebook import migrations

    def breaks(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(migrations.casebook, "insert", breaks)
        with pytest.raises(KeyboardInterrupt):
            Casebook(f"sqlite:///{path}")
    raw = sqlite3.connect(path)
    names = {name for (name,) in raw.execute("SELECT name FROM sqlite_master")}
    assert "sites" not in names
    assert raw.execute("SELECT count(*) FROM visits WHERE site LIKE '14%'").fetchone() == (2,)
    raw.close()
    with Casebook(f"sqlite:///{path}") as casebook:
        assert len(casebook.recent(9)) == 3


def test_phones_and_photos_that_made_themselves_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "casebook.db"
    with Casebook(f"sqlite:///{path}") as casebook:
        token = Phones(casebook).pair("Ada")
    raw = sqlite3.connect(path)
    # As before there were migrations for them: a table of phones, none of photos, an older number.
    raw.executescript(
        'DROP INDEX ix_events_by; ALTER TABLE events DROP COLUMN "by"; '
        "DROP TABLE photos; UPDATE casebook SET version = 3; "
        "UPDATE alembic_version SET version_num = 'v3'"
    )
    raw.close()
    with Casebook(f"sqlite:///{path}") as casebook:
        assert Phones(casebook).who(token) == "Ada"
        assert Photos(casebook).listed("any") == []
        with casebook.transaction() as connection:
            context = MigrationContext.configure(connection, opts={"compare_type": True})
            changes = compare_metadata(context, TABLES)
        assert not [one for one in changes if "alembic_version" not in str(one)]


def test_the_trail_tells_who_wrote_the_answers_of_before(tmp_path: Path) -> None:
    path = tmp_path / "casebook.db"
    with Casebook(f"sqlite:///{path}", "Ada") as ada:
        bram, nobody = ada.written_by("Bram"), ada.written_by("")
        visit = ada.add_event(
            ada.begin(Visit(technician="Ada")), Event(check="sealed-inlet", answer=90)
        )
        visit = bram.add_event(visit, Event(check="working-inlet", answer=49))
        # What Bram took down and Ada put right is hers.
        visit = ada.add_event(bram.drop_last_event(visit), Event(check="working-inlet", answer=50))
        visit = bram.add_event(visit, Event(note="3: fix it"))
        visit = bram.add_event(visit, Event(fix="hose-holed", done=True))
        visit = nobody.add_event(visit, Event(check="works-now", answer="as-it-should"))
        alone = ada.begin(Visit(technician="Ada"))
    assert [one.by for one in visit.events] == [None, None, None, "Bram", None]
    raw = sqlite3.connect(path)
    raw.executescript(
        'DROP INDEX ix_events_by; ALTER TABLE events DROP COLUMN "by"; '
        "UPDATE casebook SET version = 5; UPDATE alembic_version SET version_num = 'v5'"
    )
    # The lines of the trail as they were written then, with the event's number.
    was = (
        "begun",
        "1: check sealed-inlet, answer 90.0",
        "2: check working-inlet, answer 49.0",
        "taken back: 2: check working-inlet, answer 49.0",
        "2: check working-inlet, answer 50.0",
        "3: note 3: fix it",
        "4: fix hose-holed, done True",
        "5: check works-now, answer as-it-should",
    )
    mine = "SELECT id FROM trail WHERE about = ? ORDER BY id"
    lines = [line for (line,) in raw.execute(mine, [visit.id])]
    for line, what in zip(lines, was, strict=True):
        raw.execute("UPDATE trail SET what = ? WHERE id = ?", [what, line])
    raw.commit()
    raw.close()
    with Casebook(f"sqlite:///{path}") as casebook:
        assert casebook.get(visit.id) == visit
        assert [one.id for one in listed(casebook, Wanted(technician="Bram"), 9)] == [visit.id]
        everyone = {one.id for one in listed(casebook, Wanted(technician="Ada"), 9)}
        assert everyone == {visit.id, alone.id}
