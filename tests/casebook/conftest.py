"""Visits drawn at random, with every field that a visit may have."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC
from pathlib import Path

import pytest
from databases import POSTGRES, fresh_database
from hypothesis import strategies as st

from stillflow.engine.base.scales import Station
from stillflow.engine.inference.visit import (
    Conclusion,
    Event,
    Gauge,
    House,
    Pair,
    Site,
    Unit,
    Visit,
)

LETTERS = st.characters(exclude_categories=["Cs"], exclude_characters="\0" if POSTGRES else "")
TEXT = st.text(LETTERS, max_size=30)
WORDS = st.sampled_from(
    [
        "",
        "yes",
        "no",
        "null",
        "~",
        "90",
        "1e3",
        "- a",
        "a: b",
        "#",
        "'",
        " x ",
        "a\n b\n",
        "\n",
        "a\n\n",
    ]
)
NAMES = st.one_of(WORDS, TEXT)
MOMENTS = st.none() | st.datetimes(timezones=st.just(UTC))


def numbers(low: float, high: float) -> st.SearchStrategy[float | None]:
    return st.none() | st.floats(low, high, allow_nan=False)


PAIRS = st.builds(Pair, sealed=numbers(0, 300), working=numbers(0, 300))
ANSWERS = st.one_of(
    st.none(), st.floats(allow_nan=False, allow_infinity=False), NAMES, st.just("can't tell")
)
EVENTS = st.builds(
    Event,
    check=st.none() | NAMES,
    answer=ANSWERS,
    fix=st.none() | NAMES,
    done=st.none() | st.booleans(),
    by=st.none() | NAMES,
    at=MOMENTS,
)
VISITS = st.builds(
    Visit,
    id=st.uuids().map(str),
    opened=MOMENTS,
    rules=NAMES,
    purpose=st.sampled_from(["call", "measuring"]),
    technician=NAMES,
    complaint=NAMES,
    site=st.builds(
        Site,
        name=NAMES,
        address=NAMES,
        customer=NAMES,
        altitude_ft=st.floats(-1500, 15000),
        inlet=NAMES,
        other_inlet=NAMES,
    ),
    unit=st.builds(
        Unit,
        class_=st.none() | NAMES,
        age_years=numbers(0, 100),
        rated_sealed=numbers(20, 250),
        rated_airflow=numbers(10, 500),
        motors=st.sampled_from([None, 1, 2]),
        filter=st.sampled_from([None, "bag", "cartridge", "cloth", "none"]),
    ),
    house=st.builds(
        House, tubing_ft=numbers(0, 500), hose_ft=numbers(1, 120), hose_bore_in=numbers(0.5, 4)
    ),
    gauge=st.builds(
        Gauge,
        orifice_in=st.floats(0.25, 1.5),
        zero=st.floats(-20, 20),
        tolerance=st.floats(0.001, 0.2),
    ),
    last_good=st.dictionaries(st.sampled_from(list(Station)), PAIRS, max_size=3),
    missing_tools=st.lists(NAMES, max_size=3).map(tuple),
    events=st.lists(EVENTS, max_size=6).map(tuple),
    conclusion=st.none() | st.builds(Conclusion, step=NAMES, fault=st.none() | NAMES, text=NAMES),
)


@pytest.fixture
def url(tmp_path: Path) -> Iterator[str]:
    """An empty database of the kind that is tried."""
    with fresh_database(tmp_path) as found:
        yield found


st.register_type_strategy(Visit, VISITS)
st.register_type_strategy(Event, EVENTS)


@pytest.fixture
def visit() -> Visit:
    """An invented call with readings in it."""
    return Visit.model_validate(
        {
            "technician": "Ada Penhallow",
            "complaint": "The hall does not pull as it did.",
            "site": {"name": "14 Heron Court", "inlet": "hall"},
            "unit": {"rated_sealed": 130, "rated_airflow": 114, "filter": "cartridge"},
            "events": [
                {"check": "sealed-inlet", "answer": 112, "at": "2025-03-04T09:31:00Z"},
                {"check": "where-weak", "answer": "everywhere", "at": "2025-03-04T09:33:00Z"},
            ],
        }
    )
