"""Visits without whose house it was."""

from __future__ import annotations

from stillflow.casebook.nameless import anonymous
from stillflow.casebook.sites import Sites
from stillflow.casebook.store import Casebook
from stillflow.engine.base import AirState, Station
from stillflow.engine.inference import Conclusion, Event, GoodReading, NamedInlet, Site, Visit

GOOD = GoodReading(
    station=Station.INLET, state=AirState.SEALED, inlet="Penhallow's hall", suction=120
)
HOUSE = Visit(
    id="one",
    complaint="Mrs Penhallow, of Quillstead, says it is weak",
    site=Site(
        name="Quillstead",
        address="3 Tarn Row",
        customer="Penhallow",
        phone="0555 019 284",
        inlet="Penhallow's hall",
        other_inlet="penhallow's  den",
        inlets=(NamedInlet(name="Quillstead's attic", branch="Penhallow wing"),),
    ),
    events=(
        Event(check="sealed-inlet", answer=90.0, inlet="Penhallow's hall"),
        Event(check="sealed-other", answer=95.0, inlet="Penhallow's den"),
        Event(check="sealed-other", answer=96.0, inlet="Grandma Penhallow's den"),
        Event(note="Penhallow pays, 0555 019 284"),
        Event(part="gasket for Penhallow"),
        Event(strikes=1, note="Penhallow's boy held the hose"),
    ),
    earlier=(GOOD,),
    conclusion=Conclusion(step="done", text="The leak at Penhallow's hall", readings=(GOOD,)),
)
SECRETS = ("penhallow", "quillstead", "tarn row", "0555", "019 284")


def test_a_name_is_taken_out_wherever_a_visit_says_it() -> None:
    bare = anonymous(HOUSE)
    text = bare.model_dump_json().lower()
    assert [one for one in SECRETS if one in text] == []
    assert [one.answer for one in bare.events] == [one.answer for one in HOUSE.events]
    assert bare.complaint == "Mrs ..., of ..., says it is weak"


def test_two_inlets_stay_two_and_one_stays_one() -> None:
    site = Site(customer="Penhallow and Oatley", inlet="Oatley room", other_inlet="Penhallow room")
    asked = ("oatley  ROOM", "Penhallow room", "hall")
    events = tuple(Event(check="sealed-other", answer=90.0, inlet=one) for one in asked)
    bare = anonymous(Visit(site=site, events=events))
    assert (bare.site.inlet, bare.site.other_inlet) == ("... room", "... room 2")
    assert [one.inlet for one in bare.events] == ["... room", "... room 2", "hall"]


def test_a_forgotten_house_keeps_its_readings_alone(url: str) -> None:
    with Casebook(url) as book:
        book.put(HOUSE)
        (line,) = Sites(book).find("quillstead")
        Sites(book).edit(line.id, {"customer": "Oatley"}, {})
        later = HOUSE.model_copy(update={"site": Site(id=line.id), "complaint": "Oatley again"})
        book.put(later.model_copy(update={"id": "two"}))
        Sites(book).forget(line.id)
        kept = [book.get(one) for one in ("one", "two")]
        known = Sites(book).known(line.id)
    text = (str(kept) + str(known)).lower()
    assert [one for one in (*SECRETS, "oatley") if one in text] == []
    for one in kept:
        assert [event.answer for event in one.events] == [event.answer for event in HOUSE.events]
    assert kept[0].events[0].inlet == kept[1].events[0].inlet
