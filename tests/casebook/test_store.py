"""The casebook keeps every visit whole, each answer at once, and says plainly what is wrong."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from sqlalchemy.dialects import postgresql
from sqlalchemy.schema import CreateTable

from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import TABLES, VERSION, whole_visits
from stillflow.engine.base.errors import InputError, SetupError, StillflowError
from stillflow.engine.inference.visit import Conclusion, Event, Site, Visit

FIRST = "01957000-0000-7000-8000-000000000001"
SECOND = "01957000-0000-7000-8000-000000000002"
OTHER = "01957111-0000-7000-8000-000000000003"


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path}/casebook.db"


@pytest.fixture
def casebook(url: str) -> Iterator[Casebook]:
    with Casebook(url) as opened:
        yield opened


@settings(deadline=None, max_examples=60)
@given(st.from_type(Visit))
@example(Visit(id=FIRST, events=(Event(check="sealed-inlet", answer=2.9375881654036018e-300),)))
def test_a_visit_survives_being_kept(visit: Visit) -> None:
    with Casebook("sqlite://") as in_memory:
        in_memory.put(visit)
        assert in_memory.get(visit.id) == visit


@settings(deadline=None, max_examples=20)
@given(events=st.lists(st.from_type(Event), max_size=5), dropped=st.integers(0, 5))
def test_events_come_back_in_order_and_the_last_can_be_taken_back(
    events: list[Event], dropped: int
) -> None:
    with Casebook("sqlite://") as in_memory:
        begun = in_memory.begin(Visit())
        for event in events:
            in_memory.add_event(begun.id, event)
        assert list(in_memory.get(begun.id).events) == events
        for _ in range(dropped):
            assert in_memory.drop_last_event(begun.id) == (events.pop() if events else None)
        assert list(in_memory.get(begun.id).events) == events


def test_a_new_visit_gets_an_id_and_a_time(casebook: Casebook, visit: Visit) -> None:
    before = datetime.now(UTC)
    begun = casebook.begin(visit)
    assert begun.opened is not None
    assert before <= begun.opened <= datetime.now(UTC)
    assert begun == visit.model_copy(update={"id": begun.id, "opened": begun.opened})
    assert casebook.get(begun.id) == begun
    assert casebook.begin(visit).id > begun.id


def test_a_conclusion_closes_a_visit_and_a_further_event_opens_it(casebook: Casebook) -> None:
    begun = casebook.begin(Visit())
    done = begun.model_copy(update={"conclusion": Conclusion(step="done", fault="hose-holed")})
    casebook.save_header(done)
    assert casebook.open_visits() == []
    assert casebook.get(begun.id) == done
    casebook.add_event(begun.id, Event(check="works-now", answer="still-weak"))
    assert [one.id for one in casebook.open_visits()] == [begun.id]
    assert casebook.get(begun.id).conclusion is None
    casebook.save_header(done)
    casebook.drop_last_event(begun.id)
    assert casebook.open_visits() == [begun]


def test_the_header_is_saved_without_touching_events(casebook: Casebook, visit: Visit) -> None:
    begun = casebook.begin(visit)
    named = begun.model_copy(update={"site": Site(name="3 Lark Rise", altitude_ft=5280.0)})
    casebook.save_header(named.model_copy(update={"events": ()}))
    assert casebook.get(begun.id) == named


def test_visits_are_listed_the_last_changed_first(casebook: Casebook) -> None:
    ids = [casebook.begin(Visit()).id for _ in range(3)]
    casebook.add_event(ids[0], Event(check="where-weak", answer="everywhere"))
    assert [one.id for one in casebook.recent(2)] == [ids[0], ids[2]]
    assert [one.id for one in casebook.open_visits()] == [ids[0], ids[2], ids[1]]
    assert casebook.recent(0) == []


def test_a_visit_is_found_by_the_beginning_of_its_id(casebook: Casebook) -> None:
    for visit_id, site in [(FIRST, "Heron Court"), (SECOND, ""), (OTHER, "")]:
        casebook.put(Visit(id=visit_id, site=Site(name=site)))
    assert casebook.find("019571").id == OTHER
    assert casebook.find(FIRST).id == FIRST
    with pytest.raises(InputError) as caught:
        casebook.find("01957000")
    assert str(caught.value) == (
        "2 visits have an id that begins with '01957000'; "
        f"give more of it: {FIRST} (Heron Court), {SECOND}"
    )
    for nothing in ("0196", "%", "_1957111", FIRST + "0"):
        with pytest.raises(InputError, match="there is no visit"):
            casebook.find(nothing)


def test_an_exact_id_wins_over_a_longer_one(casebook: Casebook) -> None:
    casebook.put(Visit(id="call-1"))
    casebook.put(Visit(id="call-12"))
    assert casebook.find("call-1").id == "call-1"
    with pytest.raises(InputError):
        casebook.find("CALL-12")


def test_taking_in_the_same_visit_twice_changes_nothing(casebook: Casebook, visit: Visit) -> None:
    kept = casebook.put(visit)
    assert kept.id
    casebook.put(kept)
    assert casebook.recent(9) == [kept]


def test_a_different_visit_with_the_same_id_needs_leave(casebook: Casebook, visit: Visit) -> None:
    kept = casebook.put(visit)
    other = kept.model_copy(update={"events": kept.events[:1]})
    with pytest.raises(InputError, match="the casebook has a different visit"):
        casebook.put(other)
    assert casebook.get(kept.id) == kept
    casebook.put(other, replace=True)
    assert casebook.get(kept.id) == other


def test_times_come_back_in_utc_and_naive_ones_are_refused(casebook: Casebook) -> None:
    begun = casebook.begin(Visit())
    east = datetime.fromisoformat("2025-03-04T09:30:00+02:00")
    casebook.add_event(begun.id, Event(check="a", answer=1.0, at=east))
    (event,) = casebook.get(begun.id).events
    assert event.at == east
    assert event.at is not None
    assert event.at.utcoffset() == timedelta(0)
    with pytest.raises(InputError, match="has no time zone; write it in UTC"):
        casebook.add_event(begun.id, Event(check="b", at=datetime(2025, 3, 4)))
    assert len(casebook.get(begun.id).events) == 1


def test_a_visit_nobody_knows_is_refused_everywhere(casebook: Casebook) -> None:
    for attempt in (
        lambda: casebook.get("x"),
        lambda: casebook.add_event("x", Event(check="a")),
        lambda: casebook.drop_last_event("x"),
        lambda: casebook.save_header(Visit(id="x")),
    ):
        with pytest.raises(InputError, match="there is no visit 'x' in the casebook"):
            attempt()
    assert casebook.recent(9) == []


ANSWERING = """
import sys
from stillflow.casebook.store import Casebook
from stillflow.engine.inference.visit import Event, Visit
casebook = Casebook(sys.argv[1])
begun = casebook.begin(Visit())
print(begun.id, flush=True)
for number in range(1_000_000):
    casebook.add_event(begun.id, Event(check="sealed-inlet", answer=float(number)))
    print(number, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
def test_killing_the_process_loses_no_answer(url: str) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", ANSWERING, url], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        visit_id = process.stdout.readline().strip()
        last = [process.stdout.readline() for _ in range(7)][-1]
        process.send_signal(signal.SIGKILL)
        answered = [int(last), *(int(line) for line in process.stdout if line.endswith("\n"))]
    with Casebook(url) as casebook:
        kept = [event.answer for event in casebook.get(visit_id).events]
    # The answer that was being written when the process died may be there or not.
    assert kept[: answered[-1] + 1] == [float(number) for number in range(answered[-1] + 1)]
    assert len(kept) <= answered[-1] + 2


def test_two_programs_may_write_to_one_visit(url: str, casebook: Casebook) -> None:
    begun = casebook.begin(Visit())
    with Casebook(url) as second:
        for number in range(5):
            for writer in (casebook, second):
                writer.add_event(begun.id, Event(check="a", answer=float(number)))
    assert len(casebook.get(begun.id).events) == 10


OPENING = """
import sys
from stillflow.casebook.store import Casebook
from stillflow.engine.inference.visit import Visit
sys.stdin.readline()
Casebook(sys.argv[1]).begin(Visit())
"""


def test_several_programs_may_make_the_casebook_at_once(url: str) -> None:
    programs = [
        subprocess.Popen(
            [sys.executable, "-c", OPENING, url],
            stdin=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(4)
    ]
    for program in programs:
        assert program.stdin is not None
        program.stdin.write("go\n")
        program.stdin.flush()
    assert [program.communicate(timeout=60)[1] for program in programs] == [""] * 4
    with Casebook(url) as casebook:
        assert len(casebook.recent(9)) == 4


def failing(url: str | None, kind: type[StillflowError]) -> str:
    with pytest.raises(kind) as caught, Casebook(url) as casebook:
        casebook.begin(Visit())
    assert len(str(caught.value).splitlines()) == 1
    assert caught.value.right
    return str(caught.value)


def test_without_a_url_the_casebook_is_in_the_users_data_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("platformdirs.user_data_dir", lambda *_, **__: str(tmp_path / "a" / "b"))
    with Casebook() as casebook:
        casebook.begin(Visit())
    assert (tmp_path / "a" / "b" / "casebook.db").is_file()


def test_a_folder_that_cannot_be_written_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "taken").write_text("")
    monkeypatch.setattr("platformdirs.user_data_dir", lambda *_, **__: str(tmp_path / "taken/here"))
    said = failing(None, SetupError)
    assert said.startswith(f"{tmp_path}/taken/here: this folder for visits cannot be made (")
    assert said.endswith("make it writable, or name another place with --db or STILLFLOW_DB")


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("visits.db", "'visits.db' is not a database URL; for a file write sqlite:///visits.db"),
        ("", "'' is not a database URL; write sqlite:///visits.db, or postgresql://"),
        ("papyrus://x/y", "'papyrus://x/y' is not a database URL; write sqlite:///"),
    ],
)
def test_what_is_no_url_is_refused(url: str, said: str) -> None:
    assert failing(url, InputError).startswith(said)


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    said = failing(f"sqlite:///{tmp_path}/none/casebook.db", SetupError)
    assert said.startswith(f"{tmp_path}/none/casebook.db: it cannot be opened; see that the folder")


def test_a_damaged_file_is_named(tmp_path: Path) -> None:
    (tmp_path / "junk.db").write_bytes(b"junk" * 1000)
    said = failing(f"sqlite:///{tmp_path}/junk.db", SetupError)
    assert said.startswith(f"{tmp_path}/junk.db: it is no casebook, or is damaged; move it away")


def test_a_damaged_visit_is_reported(tmp_path: Path, url: str, casebook: Casebook) -> None:
    begun = casebook.begin(Visit())
    for header in ("'{'", "'{\"sight\": 1}'", "'7'"):
        with sqlite3.connect(tmp_path / "casebook.db") as raw:
            raw.execute(f"UPDATE visits SET header = {header}")
        with pytest.raises(SetupError, match="a visit in it cannot be read"):
            casebook.get(begun.id)


def test_a_locked_casebook_is_waited_for_and_then_named(tmp_path: Path, url: str) -> None:
    Casebook(url).close()
    with sqlite3.connect(tmp_path / "casebook.db", isolation_level=None) as raw:
        raw.execute("BEGIN IMMEDIATE")
        said = failing(f"{url}?timeout=0.1", SetupError)
        raw.execute("ROLLBACK")
    raw.close()
    assert said == (
        f"{tmp_path}/casebook.db: it is in use by another program; close that program and try again"
    )


def test_a_casebook_of_a_newer_stillflow_is_left_alone(tmp_path: Path, url: str) -> None:
    Casebook(url).close()
    with sqlite3.connect(tmp_path / "casebook.db") as raw:
        raw.execute("UPDATE casebook SET version = ?", (VERSION + 1,))
    raw.close()
    said = failing(url, SetupError)
    assert f"newer stillflow (its version is {VERSION + 1}, ours {VERSION}); update" in said


def test_a_casebook_with_readings_as_numbers_is_still_read(tmp_path: Path, url: str) -> None:
    readings = [Event(check="sealed-inlet", answer=130.0), Event(check="hose-look", answer="sound")]
    with Casebook(url) as casebook:
        casebook.put(Visit(id=FIRST))
        with sqlite3.connect(tmp_path / "casebook.db") as raw:
            made = raw.execute("SELECT sql FROM sqlite_master WHERE name = 'events'").fetchone()[0]
            raw.execute("DROP TABLE events")
            raw.execute(made.replace("answer TEXT", "answer JSON"))
        raw.close()
        for event in readings:
            casebook.add_event(FIRST, event)
        assert list(casebook.get(FIRST).events) == readings


def test_the_tables_can_be_made_in_postgresql() -> None:
    # No server here: what can be held to is that SQLAlchemy can say all of it in that language.
    for table in TABLES.sorted_tables:
        said = str(CreateTable(table, if_not_exists=True).compile(dialect=postgresql.dialect()))
        assert said.strip().startswith(f"CREATE TABLE IF NOT EXISTS {table.name}")
    assert "TIMESTAMP WITH TIME ZONE" in said
    assert "LEFT OUTER JOIN" in str(whole_visits().compile(dialect=postgresql.dialect()))


def test_nothing_but_the_store_imports_the_database_library() -> None:
    code = (
        "import sys, stillflow.casebook.files, stillflow.casebook.ids; "
        "print('sqlalchemy' in sys.modules, 'platformdirs' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]
