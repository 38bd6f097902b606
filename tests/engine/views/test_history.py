"""A house over the years: nothing that was read is dropped without a word."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from stillflow.engine import load_rules
from stillflow.engine.inference import Conclusion, Gauge, GoodReading, Site, Unit, Visit
from stillflow.engine.views import SpotHistory, site_history

RULES = load_rules()
RATED = Unit(rated_sealed=130, rated_airflow=114)


def year(number: int, suction: float, altitude_ft: float = 0.0, orifice: float = 0.625) -> Visit:
    at = datetime(number, 5, 4, tzinfo=UTC)
    more: dict[str, Any] = {"altitude_ft": altitude_ft, "orifice_in": orifice, "at": at}
    good = GoodReading(station="unit", state="working", suction=suction, **more)
    return Visit(
        id=str(number),
        opened=at,
        unit=RATED,
        site=Site(altitude_ft=altitude_ft),
        gauge=Gauge(orifice_in=orifice),
        conclusion=Conclusion(step="done", readings=(good,)),
    )


def spot(*visits: Visit) -> SpotHistory:
    (one,) = site_history(visits, RULES)
    return one


@pytest.mark.parametrize("given", [30, 72, 5280])
def test_an_altitude_given_for_the_first_time_is_that_of_the_visits_before(given: float) -> None:
    found = spot(year(2024, 59), year(2025, 56, given))
    assert [row.suction for row in found.rows] == [59, 56]
    before, now = found.rows
    assert before.expected == pytest.approx(now.expected)
    assert found.apart == ()


def test_an_altitude_left_out_later_is_still_that_of_the_house() -> None:
    found = spot(year(2024, 59, 5280), year(2025, 56))
    assert found.rows[0].expected == pytest.approx(found.rows[1].expected)


def test_what_is_weak_already_is_said_to_be_so_since_when() -> None:
    found = spot(*(year(2021 + n, suction) for n, suction in enumerate((77, 71, 62, 56))))
    assert "and is weak since 2023-05-04." in found.warning
    assert "will be weak" not in found.watch + found.warning
    assert (
        "and will be weak before" in spot(*(year(2022 + n, 77 - 5 * n) for n in range(3))).warning
    )


def test_what_cannot_be_compared_is_said_with_the_reason() -> None:
    found = spot(year(2023, 50, 1000), year(2024, 64, 6000, 0.5), year(2025, 56, 6000))
    assert [row.suction for row in found.rows] == [56]
    assert found.apart == (
        "2023-05-04 not comparable: 50, read at 1,000 ft, now 6,000 ft",
        "2024-05-04 not comparable: 64, read through 1/2 in, now 5/8 in",
    )
