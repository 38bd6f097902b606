"""`stillflow casebook replay`: cases, kept visits and generated ones through the rules again."""

from __future__ import annotations

import json
import shutil
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from command import stillflow

from stillflow.casebook.store import Casebook
from stillflow.engine.inference.visit import Event, Unit, Visit

CASE = "bin-crooked-after-emptying"
SHOP = """rules:
  - id: no-more-bins
    when: {fact: answer.bin-seat-look, is: crooked}
    then: [{stop: No more bins., call: The shop, do_not: Do not open it.}]
    because: The shop has had enough of bins.
    source: common-practice
"""


@pytest.fixture
def cases(tmp_path: Path) -> Path:
    """A folder with one of the shipped cases, since playing them all takes a minute."""
    folder = tmp_path / "cases"
    folder.mkdir()
    worked = resources.files("stillflow.casebook").joinpath("worked", f"{CASE}.yaml")
    shutil.copy(str(worked), folder)
    return folder


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "shop.yaml").write_text(SHOP, encoding="utf-8")
    return folder


@pytest.fixture
def kept(tmp_path: Path) -> str:
    """A database with a visit that ended in a fix, and one that has only begun."""
    url = f"sqlite:///{tmp_path / 'visits.db'}"
    answers = [("bin-seat-look", "crooked"), ("sealed-unit", 89.0), ("sealed-inlet", 89.0)]
    checks = [Event(check=check, answer=answer) for check, answer in answers]
    events = (*checks, Event(fix="bin-not-seated", done=True))
    unit = Unit(rated_sealed=125, rated_airflow=112)
    with Casebook(url) as casebook:
        casebook.put(Visit(id="closed", unit=unit, events=events))
        casebook.put(Visit(id="begun", unit=unit, events=events[:1]))
    return url


def replayed(*args: str, code: int = 0) -> dict[str, Any]:
    outcome = stillflow("casebook", "replay", *args, "--json")
    assert (outcome.code, outcome.err) == (code, "")
    shown: dict[str, Any] = json.loads(outcome.out)
    return shown


def test_cases_and_kept_visits_are_run_and_counted(cases: Path, kept: str) -> None:
    outcome = stillflow("casebook", "replay", "--cases", str(cases), "--db", kept)
    assert (outcome.code, outcome.err) == (0, "")
    lines = outcome.out.splitlines()
    heads = {" ".join(one.split()) for one in lines}
    assert heads > {"Worked cases 1 of 1 as expected", "Kept visits 1 of 1 as they ended"}
    assert "1 more has nothing to compare with." in outcome.out
    assert "Generated" not in outcome.out
    assert max(map(len, lines)) <= 80


def test_a_shops_rules_are_held_against_the_shipped_ones(
    cases: Path, kept: str, shop: Path
) -> None:
    args = ("--cases", str(cases), "--db", kept, "--rules", str(shop))
    shown = replayed(*args, code=1)
    [case] = shown["cases"]
    assert (case["name"], case["agrees"]) == (CASE, False)
    assert case["by_shipped_rules"] == "bin-not-seated"
    closed = next(one for one in shown["visits"] if one["name"] == "closed")
    assert (closed["expected"], closed["by_shipped_rules"]) == ("bin-not-seated", "bin-not-seated")
    assert (closed["reached"], closed["agrees"]) == ("stop", False)
    assert shown["rules"] != shown["shipped_rules"]
    outcome = stillflow("casebook", "replay", *args)
    assert outcome.code == 1
    said = " ".join(outcome.out.split())
    assert "closed: comes to stop, not bin-not-seated" in said
    assert "by the shipped rules it comes to bin-not-seated" in said


def test_generated_visits_show_what_a_rule_changes(cases: Path, kept: str, shop: Path) -> None:
    args = ("--cases", str(cases), "--db", kept, "--generated", "60")
    alone = replayed(*args)["generated"]
    assert (alone["visits"], alone["agreeing"], alone["rules"]) == (60, 60, [])
    assert alone["live"] == alone["live_agreeing"] > 0
    changed = replayed(*args, "--rules", str(shop), code=1)["generated"]
    [rule] = changed["rules"]
    assert rule["rule_id"] == "no-more-bins"
    assert 0 < rule["gained"] == changed["other_rules"] == 60 - changed["agreeing"]
    assert replayed(*args)["generated"] == alone


def test_generated_visits_are_told_in_words(cases: Path, kept: str, shop: Path) -> None:
    outcome = stillflow(
        "casebook", "replay", "--cases", str(cases), "--db", kept, "--generated", "60",
        "--rules", str(shop),
    )  # fmt: skip
    said = " ".join(outcome.out.split())
    assert "of 60 agree" in said
    assert "no-more-bins +" in said
    assert "drawn from the shipped rules" in said
    assert max(map(len, outcome.out.splitlines())) <= 80


def test_a_folder_of_cases_that_is_not_there_is_one_line(kept: str, tmp_path: Path) -> None:
    outcome = stillflow("casebook", "replay", "--db", kept, "--cases", str(tmp_path / "none"))
    assert outcome.code == 2
    assert outcome.err.startswith("stillflow: ")
    assert "there is no such folder of cases" in outcome.err
    assert outcome.err.count("\n") == 1


def test_no_visits_at_all_are_refused(kept: str) -> None:
    outcome = stillflow("casebook", "replay", "--db", kept, "--generated", "0")
    assert outcome.code == 2
    assert "--generated" in outcome.err


def listed(*args: str) -> dict[str, dict[str, Any]]:
    outcome = stillflow("casebook", "list", *args, "--json")
    assert outcome.code == 0, outcome.err
    return {row["name"]: row for row in json.loads(outcome.out)["cases"]}


def test_cases_are_found_by_what_they_teach_by_fault_and_by_difficulty() -> None:
    everything = listed()
    assert {row["difficulty"] for row in everything.values()} == {"easy", "middling", "hard"}
    clogs = listed("--fault", "hose-clogged")
    assert clogs.keys() == {
        name for name, row in everything.items() if "hose-clogged" in row["faults"]
    }
    taught = listed("fluff", "cooling")
    assert "fluff-on-the-cooling-slots" in taught
    assert len(taught) < len(listed("fluff")) < len(everything)
    easy = listed("--difficulty", "easy")
    assert easy
    assert all(row["difficulty"] == "easy" for row in easy.values())
    order = [row["difficulty"] for row in listed("--by", "difficulty").values()]
    assert order == sorted(order, key=["easy", "middling", "hard"].index)


def test_what_misleads_or_hides_two_faults_is_hard() -> None:
    rows = listed()
    assert rows["clogged-hose"]["difficulty"] == "easy"
    for row in rows.values():
        misleads = row["kind"] == "misleading" or len(row["faults"]) > 1
        assert (row["difficulty"] == "hard") is misleads


def test_a_case_is_shown_with_its_lesson_and_its_fault_in_words() -> None:
    outcome = stillflow("casebook", "show", "clogged-hose")
    assert outcome.code == 0
    for part in ("easy", "teaches:", "130 inH2O sealed", "Something is stuck in the hose"):
        assert part in outcome.out


def test_a_case_that_is_not_there_is_one_line_with_the_nearest() -> None:
    for args in (("show", "cloged-hose"), ("list", "--fault", "hose-cloged")):
        outcome = stillflow("casebook", *args)
        assert (outcome.code, outcome.out) == (2, "")
        assert "did you mean 'clogged-hose'" in outcome.err or "'hose-clogged'" in outcome.err
        assert outcome.err.count("\n") == 1


def test_a_quiz_asks_first_and_tells_after(tmp_path: Path) -> None:
    outcome = stillflow("casebook", "quiz", "burning-smell", typed="\n\n")
    assert outcome.code == 0
    asked, told = outcome.out.index("What would you do next"), outcome.out.index("Safety first")
    assert asked < told
    assert "to learn:" in outcome.out
    left = stillflow("casebook", "quiz", "burning-smell", typed="stop\n")
    assert "Safety first" not in left.out
    # The name of a case tells what is wrong with it.
    assert "burning-smell" not in left.out
    assert "burning-smell" in outcome.out
    path = tmp_path / "quiz.svg"
    printed = stillflow("casebook", "quiz", "burning-smell", "--out", str(path))
    assert printed.code == 0
    pages = sorted(tmp_path.glob("quiz-*.svg"))
    assert not any("urning smell<" in page.read_text(encoding="utf-8") for page in pages[:-1])
    texts = [page.read_text(encoding="utf-8") for page in pages]
    assert ["Safety first" in text for text in texts] == [False, True]
    assert stillflow("casebook", "quiz", "burnin-smell").err.count("\n") == 1
