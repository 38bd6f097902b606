"""What a shop asks every day is answered through an index, with as many visits as there may be."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa
from databases import fresh_database, sqlite_only

from stillflow.casebook.listing import Wanted, lines_statement
from stillflow.casebook.sites import Sites, latest_statement, with_pieces
from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import events, people, sites, trail, visits, whole_visits
from stillflow.engine.inference import Event, Site, Visit

pytestmark = sqlite_only

DAY = datetime(2026, 1, 5, tzinfo=UTC)


@pytest.fixture(scope="module")
def casebook(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Casebook]:
    """Houses enough for an index to be worth while, which no test adds to or takes from."""
    folder = tmp_path_factory.mktemp("houses")
    with fresh_database(folder) as url, Casebook(url) as opened:
        for number in range(40):
            opened.put(
                Visit(
                    id=f"visit-{number}",
                    opened=DAY,
                    site=Site(name=f"House {number % 9}"),
                    events=(Event(note="seen"),),
                )
            )
        for number in range(300):
            site = Site(
                name=f"{number} Heron Court", customer="O'Day 100%", phone=f"0555 {number:04}"
            )
            opened.put(Visit(id=f"more-{number}", opened=DAY, site=site))
        with opened.transaction(write=True) as connection:
            connection.execute(sa.text("ANALYZE"))
        yield opened


def plan(casebook: Casebook, statement: sa.Select[tuple[object, ...]]) -> list[str]:
    with casebook.transaction() as connection:
        text = statement.compile(connection, compile_kwargs={"literal_binds": True})
        rows = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {text}").all()
    return [row[-1] for row in rows]


ASKED = {
    "a visit by its id": whole_visits().where(visits.c.id == "visit-3"),
    "a visit by its short id": sa.select(visits.c.id).where(visits.c.short == "abcdef"),
    "visits to a house": whole_visits().where(visits.c.site_id.in_(["a", "b"])),
    "the last event": sa.select(events).where(events.c.visit_id == "visit-3"),
    "who wrote what": sa.select(trail).where(trail.c.about == "visit-3").order_by(trail.c.id),
    "a house's entries": sa.select(sites.c.id).where(sites.c.house_id == "a"),
    "the latest": lines_statement(Wanted(), 20),
    "open ones": lines_statement(Wanted(status="open"), 20),
    "of a house": lines_statement(Wanted(entries=["a"]), 20),
    "of a technician": lines_statement(Wanted(technician="Ada"), 20),
    "of a fault": lines_statement(Wanted(fault="hose-holed"), 20),
    "the houses visited last": latest_statement(20),
    "the houses with some pieces of a word": with_pieces([3, 4]),
    "of some days": lines_statement(Wanted(since=DAY, until=DAY), 20),
}


WORDS = (
    "house",
    "ouse 3",
    "HOUSE 3",
    "3",
    "ho",
    "0555 123",
    "5501",
    "heron court",
    "eron",
    "%",
    "'",
)


@pytest.mark.parametrize("words", WORDS)
def test_houses_are_found_without_reading_all_names(casebook: Casebook, words: str) -> None:
    said: list[tuple[str, tuple[object, ...]]] = []

    def hear(_c: object, _k: object, text: str, values: tuple[object, ...], *_: object) -> None:
        said.append((text, values))

    with casebook.transaction() as connection:
        engine = connection.engine
    sa.event.listen(engine, "before_cursor_execute", hear)
    found = {one.words for one in Sites(casebook).find(words, 1000)}
    sa.event.remove(engine, "before_cursor_execute", hear)
    with casebook.transaction() as connection:
        for text, values in [one for one in said if "SELECT" in one[0]]:
            rows = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {text}", values).all()
            scans = [row[-1] for row in rows if row[-1].startswith("SCAN ")]
            if "WHERE entry.house_id IN" in text and "0 = 1" in text:
                continue  # nobody is found by it, and nothing is read
            assert [one for one in scans if one.split()[1] in ("people", "pieces", "sites")] == []
        everyone = connection.execute(sa.select(people)).all()
    parts = words.casefold().split()
    short = all(len(part) < 3 for part in parts)
    digits = words.replace(" ", "")
    expected = {
        row.name
        for row in everyone
        if all(
            any(one.startswith(part) for one in row.folded.split()) if short else part in row.folded
            for part in parts
        )
        or (digits.isdigit() and len(digits) >= 4 and digits in row.folded)
    }
    assert {one.split(",")[0] for one in found} == expected


@pytest.mark.parametrize("asked", list(ASKED))
def test_no_table_is_read_from_end_to_end(casebook: Casebook, asked: str) -> None:
    steps = plan(casebook, ASKED[asked])
    scans = [step for step in steps if step.startswith("SCAN") and "USING" not in step]
    # What was cut to a list's length already is no table.
    scans = [step for step in scans if not step.startswith("SCAN anon_")]
    assert scans == []
    sorts = [step for step in steps if "TEMP B-TREE FOR ORDER BY" in step]
    # A house has few visits; the lists of all must come sorted out of the index.
    assert not sorts or asked in ("visits to a house", "a visit by its id", "of a technician")


def test_a_technicians_own_visits_come_sorted_and_only_those_he_joined_are_sorted(
    casebook: Casebook,
) -> None:
    steps = plan(casebook, ASKED["of a technician"])
    (own,) = (n for n, one in enumerate(steps) if "INDEX ix_visits_technician" in one)
    (joined,) = (n for n, one in enumerate(steps) if "COVERING INDEX ix_events_by" in one)
    sorts = [n for n, one in enumerate(steps) if "TEMP B-TREE FOR ORDER BY" in one]
    # The first is of those he joined, the last of the few that are left.
    assert own < joined < sorts[0]
    assert len(sorts) == 2


def test_the_houses_visited_last_come_first_however_they_are_looked_up(url: str) -> None:
    with Casebook(url) as casebook:
        for number in range(9):
            house, opened = Site(name=f"House {number}"), DAY + timedelta(days=number * 4 % 9)
            casebook.put(Visit(id=f"late-{number}", opened=opened, site=house))
        every = [one.name for one in Sites(casebook).find("", 99)]
        assert len(every) == 9
        assert [one.name for one in Sites(casebook).find("", 4)] == every[:4]
        assert [one.name for one in Sites(casebook).find("house", 4)] == every[:4]
