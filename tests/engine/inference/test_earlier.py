"""What earlier visits left behind: which of it holds today, and how it is said."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from small_rules import small

from stillflow.engine.base import Station
from stillflow.engine.inference.earlier import (
    ago,
    comparable,
    earlier_words,
    inches,
    unlike,
    unused_words,
)
from stillflow.engine.inference.visit import Gauge, GoodReading, Site, Visit

NOON = datetime(2026, 6, 15, 12, tzinfo=UTC)


def read(station: str = "unit", state: str = "sealed", suction: float = 120, **more: Any):
    return GoodReading(station=station, state=state, suction=suction, **more)


def visit(*earlier: GoodReading, **more: Any) -> Visit:
    return Visit(earlier=earlier, **more)


def test_a_pair_is_put_together_from_its_two_readings() -> None:
    found = comparable(visit(read(suction=120), read(state="working", suction=70)))
    assert set(found.pairs) == {Station.UNIT}
    pair = found.pairs[Station.UNIT]
    assert (pair.sealed, pair.working) == (120, 70)
    assert found.further == {}


# Suction goes as density to the 2/3; the gauge tells 2 % apart, which 800 ft make at 3,000 ft and
# 850 ft do not: (P(3800) / P(3000)) ** (2 / 3) = 0.9804 (US Standard Atmosphere 1976).
@pytest.mark.parametrize(
    ("feet", "holds"), [(3000, True), (3800, True), (3850, False), (2150, False), (0, True)]
)
def test_a_reading_holds_only_in_air_as_thin(feet: float, holds: bool) -> None:
    found = visit(read(altitude_ft=feet), site=Site(altitude_ft=3000))
    assert bool(comparable(found).pairs) is holds
    assert bool(unused_words(found)) is not holds


def test_an_altitude_that_was_never_given_is_not_another_one() -> None:
    assert comparable(visit(read(), site=Site(altitude_ft=5280))).pairs
    assert comparable(visit(read(altitude_ft=5280))).pairs


def test_what_is_not_comparable_is_named_with_the_reason() -> None:
    thin, wide = read(altitude_ft=1000), read(state="working", suction=60, orifice_in=0.75)
    site = Site(altitude_ft=6000)
    assert unused_words(visit(thin, wide, read("inlet"), site=site)) == (
        "Not judged by earlier readings that are not comparable (120 sealed: read at 1,000 ft, now "
        "6,000 ft; 60 working: read through 3/4 in, now 5/8 in)."
    )
    assert unused_words(visit(read("inlet"), site=site)) == ""


@pytest.mark.parametrize(
    ("state", "orifice", "holds"),
    [
        ("sealed", 0.75, True),
        ("working", 0.625, True),
        ("working", 0.6255, True),
        ("working", 0.628, False),
        ("working", 0.75, False),
    ],
)
def test_only_a_working_reading_asks_for_the_same_orifice(
    state: str, orifice: float, holds: bool
) -> None:
    one = read(state=state, orifice_in=orifice)
    assert (not unlike(one, 0.0, 0.625)) is holds
    assert bool(comparable(visit(one, gauge=Gauge(orifice_in=0.625))).pairs) is holds


@pytest.mark.parametrize(
    ("station", "inlet", "place"),
    [
        ("unit", "", Station.UNIT),
        ("utility", "", Station.UTILITY),
        ("inlet", "Hall", Station.INLET),
        # Where it was read is what counts, not which of the stations that was then.
        ("other", "hall", Station.INLET),
        ("inlet", "landing", Station.OTHER),
        ("other", "landing", Station.OTHER),
        ("hose", "hall", Station.HOSE),
        ("hose", "landing", None),
        ("other", "Back Study", "backstudy"),
        ("inlet", "", None),
        ("other", "", None),
    ],
)
def test_a_reading_stands_for_the_same_inlet_by_name(
    station: str, inlet: str, place: Station | str | None
) -> None:
    site = Site(inlet="hall", other_inlet="landing")
    found = comparable(visit(read(station, inlet=inlet), site=site))
    assert [*found.pairs, *found.further] == ([] if place is None else [place])


def test_in_a_house_whose_inlets_have_no_names_a_station_is_its_own_inlet() -> None:
    found = comparable(visit(read("inlet", suction=100), read("other", suction=90), read("hose")))
    assert {at: pair.sealed for at, pair in found.pairs.items()} == {
        Station.INLET: 100,
        Station.OTHER: 90,
        Station.HOSE: 120,
    }


def test_another_gauge_stands_for_less_the_worst_of_them_and_the_newest_day_counts() -> None:
    later = NOON + timedelta(days=30)
    mine = read(gauge="blue", tolerance=0.05, at=NOON)
    others = [
        read("inlet", gauge="red", tolerance=0.03, at=later),
        read("hose", gauge="old", tolerance=0.01),
    ]
    assert comparable(visit(mine, gauge=Gauge(name="blue"))).gauge == 0.0
    found = comparable(visit(mine, *others, gauge=Gauge(name="blue")))
    assert (found.gauge, found.at) == (0.03, later)
    # One that does not hold here says nothing of gauge and day either.
    thin = mine.model_copy(update={"altitude_ft": 1000.0})
    away = comparable(visit(thin, gauge=Gauge(name="blue"), site=Site(altitude_ft=5000)))
    assert (away.pairs, away.gauge, away.at) == ({}, 0.0, None)


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (0, "Today"),
        (1, "1 day ago"),
        (59, "59 days ago"),
        (60, "2 months ago"),
        (365, "12 months ago"),
        (1065, "35 months ago"),
        (1096, "3 years ago"),
        (1460, "4 years ago"),
        (1430, "3 years ago"),
    ],
)
def test_how_long_ago_is_said_as_people_do(days: int, words: str) -> None:
    assert ago(NOON - timedelta(days=days), NOON) == words


def test_it_is_days_by_the_calendar_not_by_the_hour() -> None:
    assert ago(NOON.replace(hour=23), NOON.replace(day=16, hour=1)) == "1 day ago"


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.625, "5/8 in"),
        (0.5, "1/2 in"),
        (1.25, "1 1/4 in"),
        (2.0, "2 in"),
        (0.6, "0.6 in"),
        (0.6256, "5/8 in"),
        (0.6275, "0.6275 in"),
        (1 / 32, "0.03125 in"),
    ],
)
def test_a_diameter_is_said_as_it_is_stamped(value: float, words: str) -> None:
    assert inches(value) == words


def test_each_earlier_visit_is_a_sentence_the_newest_first() -> None:
    before = NOON - timedelta(days=400)
    found = earlier_words(
        visit(
            read(at=before),
            read(state="working", suction=71.4, at=NOON, after="seal-torn"),
            read(suction=118.6, at=NOON, after="seal-torn"),
            read("hose", inlet="hall", at=NOON, after="seal-torn"),
            read("other", "working", 60, inlet="study", orifice_in=0.5, at=NOON, after="seal-torn"),
            read("inlet", suction=99, after="no-longer-known"),
        ),
        small().faults,
        NOON,
    )
    assert found == (
        'Today (2026-06-15), after "Torn seal" was put right: 120 sealed at the hose end on the'
        " hall inlet; 60 working at the study inlet, 1/2 in; 119 sealed, 71 working at the unit,"
        " 5/8 in.",
        "13 months ago (2025-05-11): 120 sealed at the unit.",
        "Some time ago: 99 sealed at the inlet.",
    )
