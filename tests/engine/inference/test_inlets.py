"""Which inlet an answer is about: names, and the stations they stand for."""

from __future__ import annotations

import pytest
from small_rules import small

from stillflow.engine.base import InputError, Station
from stillflow.engine.inference.inlets import Further, Inlets, key_of
from stillflow.engine.inference.recording import checked_event
from stillflow.engine.inference.visit import Event, Site
from stillflow.engine.ruleset import load_rules

SHIPPED = load_rules()


@pytest.mark.parametrize(
    "written", ["back bedroom", "Back Bedroom", " BACKBEDROOM ", "back  bedroom"]
)
def test_names_are_the_same_whatever_their_capitals_and_spaces(written: str) -> None:
    inlets = Inlets(Site(inlets=("back bedroom",)))
    assert key_of(written) == key_of("back bedroom")
    assert inlets.known_as(written) == "back bedroom"
    assert inlets.known_as("front bedroom") == "front bedroom"


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("kitchn", "kitchen"),
        ("Kithcen", "kitchen"),
        ("guest rom", "Guest room"),
        ("kitchen", ""),
        ("guestroom", ""),
        ("study", ""),
        ("bed 2", ""),
        ("hell", "hall"),
        ("den", ""),
        ("", ""),
    ],
)
def test_a_name_that_is_nearly_a_known_one_is_told_apart_from_a_new_one(
    typed: str, meant: str
) -> None:
    names = ("kitchen", "Guest room", "bed 1", "hall", "dan")
    assert Inlets(Site(inlets=names)).near(typed) == meant


def test_the_first_other_inlet_is_the_station_and_any_further_one_its_own() -> None:
    inlets = Inlets(Site(inlet="hall"))
    other = SHIPPED.checks["sealed-other"]
    assert inlets.at(Station.OTHER, None) is Station.OTHER
    inlets.learn("landing", other)
    assert inlets.at(Station.OTHER, "Landing") is Station.OTHER
    assert inlets.at(Station.OTHER, None) is Station.OTHER
    inlets.learn("study", other)
    assert inlets.at(Station.OTHER, "study") == Further(2, "study", "study")
    assert inlets.names == ("hall", "landing", "study")


def test_a_listed_inlet_is_known_and_takes_no_station_by_it() -> None:
    inlets = Inlets(Site(inlet="hall", inlets=("Hall", {"name": "study", "branch": "up"})))
    assert (inlets.names, inlets.here, inlets.other) == (("Hall", "study"), "Hall", "")


@pytest.mark.parametrize(
    ("check", "name", "what", "right"),
    [
        ("sealed-unit", "hall", "the unit has no name", "leave the name out"),
        ("sealed-other", "HALL", "is the one the complaint is about", "station 'inlet'"),
        ("sealed-inlet", "study", "about the hall inlet, not the study", "station 'other'"),
        ("working-hose", "study", "about the hall inlet, not the study", "station 'other'"),
    ],
)
def test_a_name_that_a_check_cannot_be_about_is_told(
    check: str, name: str, what: str, right: str
) -> None:
    event = Event(check=check, answer=90.0, inlet=name)
    with pytest.raises(InputError) as told:
        checked_event(SHIPPED, event, "events.2", Inlets(Site(inlet="hall")))
    assert what in told.value.what
    assert told.value.place.key == "events.2.inlet"
    assert right in told.value.right


def test_an_empty_name_is_no_name() -> None:
    event = Event(check="hiss", answer="quiet", inlet="  ")
    assert checked_event(small(), event).inlet is None


def test_inlets_beside_the_complaints_are_numbered_as_they_came_to_be_read() -> None:
    inlets = Inlets(Site(inlet="hall"))
    other = SHIPPED.checks["sealed-other"]
    for name in ("landing", "study", "attic"):
        inlets.learn(name, other)
    numbers = {name: inlets.number_of(name) for name in ("hall", "landing", "study", "attic", "")}
    assert numbers == {"hall": None, "landing": 1, "study": 2, "attic": 3, "": None}
    assert [inlets.numbered(number) for number in (1, 2, 3, 4)] == ["landing", "study", "attic", ""]
    # Learnt again, none gets another number.
    inlets.learn("Study", other)
    assert inlets.number_of("study") == 2


def test_a_place_is_called_by_its_name_where_it_has_one() -> None:
    inlets = Inlets(Site(inlet="hall"))
    words = {at: inlets.words(at) for at in (Station.UNIT, Station.INLET, Station.OTHER)}
    assert words == {
        Station.UNIT: "the unit",
        Station.INLET: "the hall inlet",
        Station.OTHER: "another inlet",
    }
    assert inlets.words(Further(2, "study", "study")) == "the study inlet"
    assert inlets.words(Further(2, "side inlet", "x")) == "the side inlet"
