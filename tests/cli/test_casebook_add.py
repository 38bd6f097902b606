"""`stillflow casebook add`: a closed visit becomes a worked case that names nobody."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from command import stillflow

from stillflow.casebook.cases import load_cases
from stillflow.casebook.store import Casebook
from stillflow.engine.base import AirState, Station
from stillflow.engine.inference import (
    Conclusion,
    Event,
    Gauge,
    GoodReading,
    Site,
    Unit,
    Visit,
)

SENTENCES = ("--title", "The hall does not pull at all", "--teaches", "Look at the hose at first.")
SECRETS = (
    "Penhallow",
    "Ada",
    "Heron",
    "0555",
    "Bram",
    "2025-03-04",
    "2024-02",
    "No 4711",
    "gasket",
)


@pytest.fixture
def url(tmp_path: Path) -> str:
    where = f"sqlite:///{tmp_path}/casebook.db"
    visit = Visit(
        id="0195-heron",
        opened=datetime(2025, 3, 4, tzinfo=UTC),
        technician="Bram",
        complaint="Mrs Penhallow says the hall is weak",
        site=Site(
            name="14 Heron Court",
            address="14 Heron Court",
            customer="Ada Penhallow",
            phone="0555 010",
            inlet="hall",
            altitude_ft=1200,
        ),
        unit=Unit(rated_sealed=130, rated_airflow=114, filter="bag"),
        gauge=Gauge(name="No 4711"),
        earlier=(
            GoodReading(
                station=Station.UNIT,
                state=AirState.SEALED,
                suction=128,
                gauge="No 4711",
                at=datetime(2024, 2, 1, tzinfo=UTC),
            ),
        ),
        events=(
            Event(check="working-inlet", answer=21.0),
            Event(check="working-inlet", answer=22.0),
            Event(check="sealed-inlet", answer=90.0),
            Event(strikes=3, note="Penhallow had opened the landing"),
            Event(check="sealed-inlet", answer=128.0),
            Event(fix="bag-full", done=False, found=False),
            Event(part="gasket for Penhallow"),
            Event(fix="hose-clogged", done=True, inlet="hall"),
            Event(check="working-inlet", answer=70.0),
            Event(check="works-now", answer="as-it-should"),
        ),
        conclusion=Conclusion(step="done", fault="hose-clogged", text="Well."),
    )
    with Casebook(where) as casebook:
        casebook.put(visit)
        casebook.put(visit.model_copy(update={"id": "open-one", "conclusion": None}))
    return where


def test_what_was_found_is_a_case_and_names_are_shown_and_taken_out(
    url: str, tmp_path: Path
) -> None:
    folder = tmp_path / "ours"
    words = ("casebook", "add", "0195-heron", "--db", url, "--to", str(folder), *SENTENCES)
    # Nothing is written before it was shown and agreed to.
    refused = stillflow(*words, typed="n\n")
    assert "customer: Ada Penhallow" in refused.out
    assert '"Mrs ... says the hall is weak"' in " ".join(refused.out.split())
    assert refused.code == 130
    assert not folder.exists()
    outcome = stillflow(*words, "--yes")
    assert outcome.code == 0, outcome.err
    (path,) = folder.iterdir()
    assert path.name == "the-hall-does-not-pull-at-all.yaml"
    text = path.read_text(encoding="utf-8")
    assert not [one for one in SECRETS if one in text]
    (case,) = load_cases(folder)
    assert case.answers(0) == {"working-inlet": (21.0, 22.0), "sealed-inlet": (128.0,)}
    assert case.answers(1)["working-inlet"] == (70.0,)
    assert (case.expect.fixes, case.expect.ends) == (("hose-clogged",), "done")
    assert case.expect.inlets == ("hall",)
    assert case.kind == "plain"
    assert (case.visit.site.altitude_ft, case.visit.unit.rated_sealed) == (1200, 130)
    again = stillflow(*words, "--yes")
    assert (again.code, again.err.count("\n")) == (2, 1)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("open-one", *SENTENCES), "still open"),
        (("0195-heron", "--title", "Short", "--teaches", "Look at the hose at first."), "title"),
        (("0195-heron", "--kind", "odd", *SENTENCES), "odd"),
    ],
)
def test_what_makes_no_case_is_told_in_a_line(
    url: str, tmp_path: Path, words: tuple[str, ...], says: str
) -> None:
    folder = tmp_path / "ours"
    outcome = stillflow("casebook", "add", "--db", url, "--to", str(folder), "--yes", *words)
    assert (outcome.code, outcome.err.count("\n")) == (2, 1)
    assert says in outcome.err
    assert not folder.exists()
