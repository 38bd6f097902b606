"""How long a shop waits with many visits on record: find, history, lists, sheet, and learning.

Run: python tests/benchmarks/bench_store.py [--visits 200000] [--db URL]

Four visits to a house, seven answers each. Cold is a process of its own, from its start to its end,
of a program that is compiled as every installation is; warm is the same again in one process, as a
server has it. Besides the time on the clock, the time of the processor is given, for machines that
others use too (a server's own is not in it). The casebook is a SQLite file, or the empty one that
is named.
"""

from __future__ import annotations

import argparse
import compileall
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import sqlalchemy as sa
from command import stillflow

import stillflow as stillflow_package
from stillflow.casebook.ids import short_id, uuid7
from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import (
    event_row,
    events,
    folded,
    header_row,
    inlets,
    people,
    sites,
    trail,
    units,
    visits,
)
from stillflow.engine import load_rules
from stillflow.engine.inference import Conclusion, Event, GoodReading, Site, Unit, Visit

STREETS = ("Larkham", "Quill", "Mossby", "Tarn", "Ember", "Sorrel", "Wharf", "Linnet")
NAMES = ("Penhallow", "Oatley", "Tolley", "Brask", "Quennell", "Varley", "Ister", "Holm")
YEARLY = 4
MADE = 5000
_AT_ONCE = 2000
FIRST = datetime(2022, 1, 3, tzinfo=UTC)


def fill(book: Casebook, count: int) -> None:
    """Write so many visits: some thousands made here, the rest their copies to other houses."""
    made = min(count, MADE)
    _make(book, made)
    for number in range(1, count // made):
        with book.transaction(write=True) as connection:
            for table in (sites, people, inlets, units, visits, events, trail):
                first = getattr(table.c, next(iter(table.primary_key)).name)
                given = [_copied(column, number) for column in table.c]
                # The ids of copies have a letter in them that those made here never have.
                asked = sa.select(*given).where(sa.func.substr(first, 33, 1) != "g")
                connection.execute(table.insert().from_select(list(table.c), asked))
    with book.transaction(write=True) as connection:
        connection.execute(sa.text("ANALYZE"))


def _copied(column: sa.Column[Any], number: int) -> sa.ColumnElement[Any]:
    if column.name in ("id", "site_id", "visit_id", "house_id", "about"):
        return sa.func.substr(column, 1, 32) + f"g{number:03x}"
    if column.name == "short":
        return sa.func.substr(column, 3, 4) + f"{number:02x}"
    if column.name in ("customer", "phone", "folded"):
        return column + f"{number:02x}"
    return column


def _make(book: Casebook, count: int) -> None:
    luck = random.Random(1)
    faults = list(load_rules().faults)
    begun = int(FIRST.timestamp() * 1000)
    for at in range(0, count, _AT_ONCE):
        rows: dict[sa.Table, list[dict[str, Any]]] = {
            table: [] for table in (sites, people, inlets, units, visits, events, trail)
        }
        for number in range(at, min(at + _AT_ONCE, count), YEARLY):
            house = str(uuid7(begun + number, 1, luck.getrandbits(62)))
            street = f"{number % 397} {luck.choice(STREETS)} Row"
            words = (street, street, f"{luck.choice(NAMES)} {number}", f"0555 {number:06}")
            named = dict(zip(("name", "address", "customer", "phone"), words, strict=True))
            rows[sites].append({"id": house, "short": short_id(house), "house_id": house})
            rows[people].append({"site_id": house, **named, "folded": folded(words)})
            rows[inlets].append({"site_id": house, "name": "hall", "branch": ""})
            unit = {"rated_sealed": 130.0, "rated_airflow": 114.0}
            rows[units].append({"site_id": house, "fitted": "", "described": unit, "made": 2015})
            for year in range(YEARLY):
                _visit(rows, house, unit, FIRST + timedelta(days=365 * year, minutes=number), luck)
                rows[visits][-1]["fault"] = luck.choice(faults)
        with book.transaction(write=True) as connection:
            for table, some in rows.items():
                connection.execute(table.insert(), some)


def _visit(
    rows: dict[sa.Table, list[dict[str, Any]]],
    house: str,
    unit: dict[str, float],
    opened: datetime,
    luck: random.Random,
) -> None:
    visit_id = str(uuid7(int(opened.timestamp() * 1000), 2, luck.getrandbits(62)))
    sealed = round(128 - luck.random() * 6, 1)
    readings = tuple(
        GoodReading(station="inlet", state=state, inlet="hall", suction=value, at=opened)
        for state, value in (("sealed", sealed), ("working", round(0.6 * sealed, 1)))
    )
    visit = Visit(
        id=visit_id,
        opened=opened,
        technician=luck.choice(NAMES),
        site=Site(id=house, inlet="hall"),
        unit=Unit(**unit),
        conclusion=Conclusion(step="done", fault="hose-holed", text="Well.", readings=readings),
        events=(
            Event(check="sealed-inlet", answer=101.0, at=opened),
            Event(check="working-inlet", answer=44.0, at=opened),
            Event(check="slider-look", answer=luck.choice(("open", "closed")), at=opened),
            Event(fix="hose-holed", done=True, at=opened),
            Event(check="sealed-inlet", answer=sealed, at=opened),
            Event(check="working-inlet", answer=round(0.6 * sealed, 1), at=opened),
            Event(check="works-now", answer="as-it-should", at=opened),
        ),
    )
    row = {"id": visit_id, "short": short_id(visit_id), "site_id": house, **header_row(visit)}
    rows[visits].append(row)
    for number, event in enumerate(visit.events, 1):
        rows[events].append({"visit_id": visit_id, "number": number, **event_row(event)})
    for number, what in enumerate(("begun", "1: check sealed-inlet", "closed: done")):
        line = str(uuid7(int(opened.timestamp() * 1000), 3 + number, luck.getrandbits(62)))
        row = {"id": line, "at": opened, "who": visit.technician, "about": visit_id, "what": what}
        rows[trail].append(row)


def asked(book: Casebook) -> dict[str, tuple[str, ...]]:
    """What a shop asks every day, of a house and a visit in the middle."""
    with book.transaction() as connection:
        middle = (
            sa.select(visits.c.id, visits.c.short, visits.c.site_id).order_by(visits.c.id).limit(1)
        )
        total = connection.scalar(sa.select(sa.func.count()).select_from(visits)) or 0
        row = connection.execute(middle.offset(total // 2)).one()
        person = connection.execute(sa.select(people).where(people.c.site_id == row.site_id)).one()
    return {
        "sites find, by customer": ("sites", "find", person.customer),
        "sites find, by phone": ("sites", "find", person.phone[-8:]),
        "sites find, a street of many": ("sites", "find", "larkham"),
        "sites list": ("sites", "list"),
        "sites history": ("sites", "history", row.site_id),
        "visits list": ("visits", "list"),
        "visits list, of a fault": ("visits", "list", "--fault", "hose-holed"),
        "visits list, of a house": ("visits", "list", "--site", row.site_id),
        "visits list, of a technician and days": (
            *("visits", "list", "--technician", "Holm"),
            *("--since", "2023-03-01", "--until", "2023-03-09"),
        ),
        "visits list --open": ("visits", "list", "--open"),
        "visits show": ("visits", "show", row.short),
        "sheet": ("sheet", row.short),
        "casebook learn (10 s)": ("casebook", "learn"),
    }


@contextmanager
def watch(whose: int, into: list[float]) -> Iterator[None]:
    """Seconds on the clock and of the processor."""
    before = resource.getrusage(whose)
    began = time.perf_counter()
    yield
    after = resource.getrusage(whose)
    into.append(time.perf_counter() - began)
    into.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--visits", type=int, default=200_000)
    parser.add_argument("--db", help="an empty casebook, or one that this has filled before")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        url = given.db or f"sqlite:///{folder}/casebook.db"
        os.environ["STILLFLOW_DB"] = url
        with Casebook(url) as book:
            if not book.recent(1):
                took: list[float] = []
                with watch(resource.RUSAGE_SELF, took):
                    fill(book, given.visits)
                print(f"{given.visits:,} visits written in {took[0]:.0f} s", flush=True)
            questions = asked(book)
        for place in stillflow_package.__path__:
            compileall.compile_dir(place, quiet=1)
        print(f"{'seconds (of the processor)':<40}{'cold':>16}{'warm':>16}")
        for name, words in questions.items():
            cold: list[float] = []
            with watch(resource.RUSAGE_CHILDREN, cold):
                line = [sys.executable, "-c", "from stillflow.cli.main import main; main()", *words]
                done = subprocess.run(line, capture_output=True, text=True)
            assert done.returncode == 0, done.stderr
            stillflow(*words)
            tries: list[list[float]] = []
            for _ in range(3):
                warm: list[float] = []
                with watch(resource.RUSAGE_SELF, warm):
                    assert stillflow(*words).code == 0
                tries.append(warm)
            best = min(tries)
            print(
                f"{name:<40}{cold[0]:>8.2f} ({cold[1]:.2f}){best[0]:>9.3f} ({best[1]:.3f})",
                flush=True,
            )


if __name__ == "__main__":
    main()
