"""A laptop's casebook and the shop's are joined: nothing is lost, nothing is there twice."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from command import stillflow

from stillflow.casebook.ids import short_id
from stillflow.casebook.sites import Sites
from stillflow.casebook.store import Casebook
from stillflow.casebook.sync import Differing, Synced, sync
from stillflow.casebook.tables import TABLES
from stillflow.engine.base import InputError, SetupError
from stillflow.engine.inference import Conclusion, Event, House, Site, Visit

NOTHING = Synced(0, 0, 0, (), ())


@pytest.fixture
def shop(url: str) -> Iterator[Casebook]:
    with Casebook(url, "Ada") as opened:
        yield opened


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Casebook]:
    with Casebook(f"sqlite:///{tmp_path}/laptop.db", "Bram") as opened:
        yield opened


def whole(book: Casebook) -> dict[str, list[Any]]:
    """All that is kept, but for when it was written last."""
    found = {}
    with book.transaction() as connection:
        for table in TABLES.sorted_tables:
            rows = [dict(row) for row in connection.execute(table.select()).mappings()]
            found[table.name] = sorted(
                repr({key: value for key, value in sorted(row.items()) if key != "changed"})
                for row in rows
            )
    return found


def answered(book: Casebook, visit: Visit, *answers: float) -> Visit:
    for one in answers:
        visit = book.add_event(visit, Event(check="sealed-inlet", answer=one))
    return visit


def alike(laptop: Casebook, shop: Casebook) -> None:
    assert whole(laptop) == whole(shop)
    before = whole(shop)
    assert sync(laptop, shop) == NOTHING
    assert whole(laptop) == whole(shop) == before


def test_each_side_gets_the_visits_of_the_other(laptop: Casebook, shop: Casebook) -> None:
    mine = answered(laptop, laptop.begin(Visit(site=Site(name="Fern", inlet="hall"))), 90, 91)
    house = House(hose_ft=30)
    theirs = answered(shop, shop.begin(Visit(site=Site(name="Heron"), house=house)), 70)
    unnamed = laptop.begin(Visit(complaint="weak"))
    found = sync(laptop, shop)
    assert (found.sent, found.fetched) == (2, 1)
    for book in (laptop, shop):
        assert book.get(mine.id) == mine
        assert book.get(theirs.id) == theirs
        assert book.get(unnamed.id) == unnamed
        known = Sites(book).known(theirs.site.id)
        assert known.house.hose_ft == 30
        assert [one.who for one in book.trail(mine.id)] == ["Bram"] * 3
    alike(laptop, shop)


def test_who_went_on_with_a_visit_has_the_later_version(laptop: Casebook, shop: Casebook) -> None:
    visit = answered(laptop, laptop.begin(Visit(site=Site(name="Fern"))), 90, 91)
    sync(laptop, shop)
    # An answer that was taken back does not come again from the other side.
    mine = answered(laptop, laptop.drop_last_event(visit), 95, 96)
    assert sync(laptop, shop).sent == 1
    assert shop.get(visit.id) == mine
    closed = mine.model_copy(update={"conclusion": Conclusion(step="done", text="Well.")})
    shop.save_header(closed, mine)
    assert sync(laptop, shop).fetched == 1
    assert laptop.get(visit.id) == closed
    alike(laptop, shop)


def test_who_wrote_an_answer_in_anothers_visit_is_known_on_both_sides(
    laptop: Casebook, shop: Casebook
) -> None:
    visit = answered(shop, shop.begin(Visit(technician="Ada")), 90)
    sync(laptop, shop)
    visit = answered(laptop, laptop.get(visit.id), 91)
    assert [one.by for one in visit.events] == [None, "Bram"]
    sync(laptop, shop)
    assert shop.get(visit.id).technicians == ("Ada", "Bram")
    alike(laptop, shop)


def test_a_note_of_one_is_put_behind_the_answers_of_the_other(
    laptop: Casebook, shop: Casebook
) -> None:
    visit = answered(laptop, laptop.begin(Visit()), 90)
    sync(laptop, shop)
    mine = answered(laptop, visit, 91)
    shop.add_event(visit, Event(part="gasket", price=4.5))
    assert sync(laptop, shop).joined == 1
    kept = laptop.get(visit.id)
    alike(laptop, shop)
    assert kept.events[:2] == mine.events
    assert kept.events[2].part == "gasket"
    # The part was the second on one side and is the third on both: the trail goes by no number.
    said = [one.what for one in shop.trail(visit.id)]
    assert [one for one in said if "gasket" in one] == ["part gasket, price 4.5"]
    shop.add_event(kept, Event(strikes=3, note="never fitted"))
    assert shop.trail(visit.id)[-1].what == "struck (never fitted): part gasket, price 4.5"
    shop.drop_last_event(shop.get(visit.id))
    assert "taken back: struck (never fitted): part gasket" in shop.trail(visit.id)[-1].what


def test_two_people_in_one_visit_keep_both_versions(laptop: Casebook, shop: Casebook) -> None:
    visit = answered(laptop, laptop.begin(Visit(site=Site(name="Fern"))), 90)
    sync(laptop, shop)
    mine, theirs = answered(laptop, visit, 91, 92), answered(shop, visit, 81)
    (parted,) = sync(laptop, shop).parted
    for book in (laptop, shop):
        assert book.get(visit.id) == theirs
        other = book.get(parted.other)
        assert other.events == mine.events
        assert "two people" in book.trail(visit.id)[-1].what
        assert "version by Bram" in book.trail(visit.id)[-1].what
        assert "version by Bram" in book.trail(parted.other)[-1].what
        assert {book.trail(one)[-1].who for one in (visit.id, parted.other)} == {"Bram"}
        assert Sites(book).find("fern")[0].visits == 2
    alike(laptop, shop)
    # Whoever still has the visit open as it was is told, and nothing is mixed up.
    with pytest.raises(InputError, match="somebody else has gone on"):
        answered(laptop, mine, 93)


def test_the_command_says_what_was_kept_twice(
    laptop: Casebook, shop: Casebook, url: str, tmp_path: Path
) -> None:
    visit = answered(laptop, laptop.begin(Visit(site=Site(name="Fern"))), 90)
    words = ("sync", "--db", f"sqlite:///{tmp_path}/laptop.db", "--to", url)
    assert stillflow(*words).out == "1 visit sent, 0 fetched.\n"
    answered(laptop, visit, 91)
    answered(shop, visit, 81)
    out = stillflow(*words).out
    said = " ".join(out.split())
    assert f"apart with visit {short_id(visit.id)} (Fern)" in said
    assert f"{short_id(visit.id)} is as in the other casebook by Ada" in said
    assert "as here by Bram. If one of them does not count: stillflow visits aside" in said
    same = stillflow("sync", "--db", url, "--to", url)
    assert (same.code, same.err.count("\n")) == (2, 1)
    assert "one and the same" in same.err


def test_what_is_known_of_a_house_comes_together(laptop: Casebook, shop: Casebook) -> None:
    visit = laptop.begin(Visit(site=Site(name="Fern", inlet="hall")))
    other = shop.begin(Visit(site=Site(name="Ferns")))
    sync(laptop, shop)
    mine, theirs = visit.site.id, other.site.id
    Sites(laptop).edit(mine, {"phone": "0555 77"}, {"rated_sealed": 130.0})
    Sites(shop).merge(theirs, mine)
    sync(laptop, shop)
    for book in (laptop, shop):
        known = Sites(book).known(theirs)
        assert (known.site.phone, known.unit.rated_sealed) == ("0555 77", 130)
        assert [one for one, _ in known.entries] == [short_id(theirs)]
    # What one takes away, or parts, the other does not bring back.
    Sites(laptop).edit(mine, {"phone": ""}, {})
    Sites(shop).part(theirs)
    sync(laptop, shop)
    for book in (laptop, shop):
        assert Sites(book).known(mine).site.phone == ""
        assert Sites(book).known(mine).entries == ()
    Sites(laptop).edit(mine, {"name": "Fern Cottage"}, {})
    Sites(shop).edit(mine, {"name": "Fern House"}, {})
    (apart,) = sync(laptop, shop).apart
    assert apart == Differing(short_id(mine), "name", "Fern House", "Fern Cottage")
    assert Sites(laptop).known(mine).site.name == "Fern House"
    alike(laptop, shop)


def test_of_two_edits_apart_the_later_holds_and_the_trail_has_both(
    laptop: Casebook, shop: Casebook, url: str, tmp_path: Path
) -> None:
    gorse = laptop.begin(Visit(site=Site(name="Gorse", phone="555-0100"))).site.id
    sync(laptop, shop)
    Sites(shop).edit(gorse, {"phone": "555-0200", "hose_ft": 35.0}, {"rated_sealed": 120.0})
    later = {"phone": "555-0999", "customer": "Mr Hale"}
    Sites(laptop).edit(gorse, later, {"rated_airflow": 110.0})
    out = stillflow("sync", "--db", f"sqlite:///{tmp_path}/laptop.db", "--to", url).out
    said = f'House {short_id(gorse)}: two people edited it apart: phone "555-0200" now "555-0999".'
    assert said in " ".join(out.split())
    for book in (laptop, shop):
        known = Sites(book).known(gorse)
        assert (known.site.phone, known.site.customer) == ("555-0999", "Mr Hale")
        assert (known.house.hose_ft, known.unit.rated_sealed) == (35, 120)
        assert known.unit.rated_airflow == 110
        assert [line.name for line in Sites(book).find("mr hale")] == ["Gorse"]
        assert "two people edited it apart" in book.trail(gorse)[-1].what
    alike(laptop, shop)


def test_what_one_side_alone_has_edited_is_not_taken_back_by_the_other(
    laptop: Casebook, shop: Casebook
) -> None:
    visit = laptop.begin(Visit(site=Site(name="Gorse", phone="555-0100")))
    sync(laptop, shop)
    # Once as it is typed within a visit, once as it is taken away.
    retold = visit.site.model_copy(update={"phone": "555-0999"})
    laptop.save_header(visit.model_copy(update={"site": retold}), visit)
    Sites(shop).edit(visit.site.id, {"name": ""}, {})
    assert sync(laptop, shop).apart == ()
    for book in (laptop, shop):
        site = Sites(book).known(visit.site.id).site
        assert (site.name, site.phone) == ("", "555-0999")
    alike(laptop, shop)


def test_what_one_side_has_taken_off_a_house_the_other_does_not_bring_back(
    laptop: Casebook, shop: Casebook
) -> None:
    visit = shop.begin(Visit(site=Site(name="Fern", inlet="hall", other_inlet="attic")))
    mine = visit.site.id
    Sites(shop).edit(mine, {}, {"rated_sealed": 140.0}, date(2026, 3, 2))
    sync(laptop, shop)
    assert len(Sites(laptop).known(mine).units) == 1
    Sites(laptop).edit(mine, {}, {}, unnamed=["attic"])
    Sites(laptop).unreplace(mine, date(2026, 3, 2))
    sync(laptop, shop)
    for book in (laptop, shop):
        known = Sites(book).known(mine)
        assert [one.name for one in known.site.inlets] == ["hall"]
        assert known.units == ()
    alike(laptop, shop)


def test_whom_one_side_has_forgotten_the_other_forgets(
    laptop: Casebook, shop: Casebook, url: str, tmp_path: Path
) -> None:
    site = Site(name="Fern", customer="Ada Penhallow")
    visit = laptop.begin(Visit(site=site, complaint="Penhallow says it is weak"))
    sync(laptop, shop)
    Sites(laptop).forget(visit.site.id)
    out = stillflow("sync", "--db", f"sqlite:///{tmp_path}/laptop.db", "--to", url).out
    assert "1 house forgotten, as on the other side." in out
    for book in (laptop, shop):
        assert "Penhallow" not in repr(whole(book))
    alike(laptop, shop)


@pytest.mark.parametrize("broken", ["insert", "_commit"])
def test_a_sync_that_breaks_off_leaves_nothing_half(
    laptop: Casebook, shop: Casebook, monkeypatch: pytest.MonkeyPatch, broken: str
) -> None:
    for number in range(3):
        answered(laptop, laptop.begin(Visit(site=Site(name=f"Fern {number}"))), 90, 91)
        answered(shop, shop.begin(Visit(site=Site(name=f"Heron {number}"))), 70)
    visit = answered(laptop, laptop.begin(Visit()), 1)
    sync(laptop, shop)
    answered(laptop, visit, 2)
    answered(shop, visit, 3)
    for book in (laptop, shop):
        answered(book, book.begin(Visit()), 4)
    before = whole(laptop), whole(shop)
    from stillflow.casebook import sync as module

    with monkeypatch.context() as patched:
        if broken == "insert":
            written = []
            real = module.insert

            def breaks(connection: Any, one: Visit, site_id: str | None) -> None:
                written.append(one.id)
                if len(written) == 4:
                    raise SetupError("the line is gone", right="try again")
                real(connection, one, site_id)

            patched.setattr(module, "insert", breaks)
        else:
            # The other casebook has it all, and this one breaks off as it would commit.
            def lost(_: Any) -> None:
                raise SetupError("the line is gone", right="try again")

            patched.setattr(laptop._engine.dialect, "do_commit", lost)
        with pytest.raises(SetupError, match="the line is gone"):
            sync(laptop, shop)
    assert whole(laptop) == before[0]
    if broken == "insert":
        assert whole(shop) == before[1]
    sync(laptop, shop)
    assert len(shop.recent(99)) == len(laptop.recent(99)) == 10
    alike(laptop, shop)
