"""`stillflow casebook stats`: what closed, verified visits add up to, as a person asks for it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command import stillflow

from stillflow.casebook.store import Casebook
from stillflow.engine import load_rules
from stillflow.engine.inference.visit import Conclusion, Event, GoodReading, Visit
from stillflow.engine.ruleset import shipped_folder

GOOD = GoodReading.model_validate({"station": "inlet", "state": "sealed", "suction": 120})


@pytest.fixture
def db(tmp_path: Path) -> str:
    """A casebook with two verified visits that came to the same, by two people."""
    url = f"sqlite:///{tmp_path / 'visits.db'}"
    conclusion = Conclusion(step="done", fault="bin-not-seated", readings=(GOOD,))
    events = (
        Event(check="bin-seat-look", answer="crooked"),
        Event(fix="bin-not-seated", done=True),
    )
    with Casebook(url) as casebook:
        for who in ("Ada", "Ben"):
            casebook.put(Visit(technician=who, events=events, conclusion=conclusion))
    return url


def test_an_empty_casebook_says_what_would_count(tmp_path: Path) -> None:
    Casebook(f"sqlite:///{tmp_path / 'none.db'}").close()
    outcome = stillflow("casebook", "stats", "--db", f"sqlite:///{tmp_path / 'none.db'}")
    assert outcome.code == 0
    assert "None yet: a visit counts once its fix is proved by readings." in outcome.out


def test_statistics_are_of_all_or_of_one_technician(db: str) -> None:
    shown = stillflow("casebook", "stats", "--db", db)
    assert "2 visits" in shown.out
    assert "First fix right in 2 of 2" in shown.out
    assert "bin-seat-look" in shown.out
    ada = json.loads(
        stillflow("casebook", "stats", "--technician", "Ada", "--db", db, "--json").out
    )
    assert (ada["visits"], ada["faults"][0]["fault"]) == (1, "bin-not-seated")


def test_what_was_learnt_is_written_as_rules_to_lay_over(db: str, tmp_path: Path) -> None:
    folder = tmp_path / "learnt"
    shown = stillflow("casebook", "learn", "--counts-as", "10", "--to", str(folder), "--db", db)
    assert (shown.code, shown.err) == (0, "")
    assert "bin-not-seated" in shown.out
    assert f"rules compare --with {folder}" in shown.out
    now, shipped = load_rules([folder]), load_rules()
    assert now.faults["bin-not-seated"].weight > shipped.faults["bin-not-seated"].weight
    card = stillflow("rules", "show", "bin-not-seated", "--rules", str(folder))
    assert "to 1 beside an occasional one" in card.out


def test_what_was_learnt_never_goes_into_the_shipped_rules(db: str) -> None:
    refused = stillflow("casebook", "learn", "--to", str(shipped_folder()), "--db", db)
    assert refused.code == 2
    assert "the shipped rules are not written to" in refused.err


def test_how_telling_an_answer_was_is_learnt_too_and_shown_on_the_rules_card(
    tmp_path: Path,
) -> None:
    url = f"sqlite:///{tmp_path / 'visits.db'}"
    ended = Conclusion(step="done", fault="relief-slider-open", readings=(GOOD,))
    with Casebook(url) as casebook:
        for _ in range(12):
            looked = Event(check="slider-look", answer="closed")
            casebook.put(
                Visit(events=(looked, Event(fix=ended.fault, done=True)), conclusion=ended)
            )
    folder = tmp_path / "learnt"
    shown = stillflow("casebook", "learn", "--counts-as", "20", "--to", str(folder), "--db", url)
    assert (shown.code, shown.err) == (0, "")
    assert "slider-look: closed" in shown.out
    row = next(
        one
        for one in json.loads(
            stillflow("casebook", "learn", "--counts-as", "20", "--db", url, "--json").out
        )["answers"]
        if one["rule"] == "slider-look-closed"
    )
    assert row["answered"] == 12
    item = load_rules([folder]).rules["slider-look-closed"].then[0]
    assert item.times == pytest.approx(row["times"], abs=0.01)  # type: ignore[union-attr]
    card = stillflow("rules", "show", "slider-look-closed", "--rules", str(folder))
    assert f"(x {row['times']:.1f}" in card.out
    checked = stillflow("rules", "check", "--rules", str(folder))
    assert checked.code in (0, 1)
    assert "learnt.yaml" in checked.out
