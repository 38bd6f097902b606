"""`rules add` asks for an entry, refuses what cannot stand, and writes it with comments kept."""

from __future__ import annotations

from pathlib import Path

import pytest
from command import stillflow

from stillflow.engine.ruleset.loading import load_folders, shipped_folder

ANSWERS = (
    "12\nslider-wanders\n"  # an id cannot begin with a digit
    "{fact: answer.slider-look, is: open}\n"
    "[{for: relief-slider-open, strength: sure}]\n"  # no such strength
    "[{for: relief-slider-open, strength: strong}]\n"
    "It slid open while I watched.\n"
    "our-word\n"  # no such source
    "common-practice\n"
)
BEFORE = "# What we know better.\nrules: []  # none yet\n"


def test_a_rule_is_asked_for_checked_shown_and_written(tmp_path: Path) -> None:
    file = tmp_path / "shop" / "own.yaml"
    file.parent.mkdir()
    file.write_text(BEFORE)
    outcome = stillflow("rules", "add", "rule", "--to", str(file), typed=f"{ANSWERS}y\n")
    assert outcome.code == 0, outcome.err
    said = " ".join(outcome.out.split())
    assert "12 does not fit; begin with a small letter" in said
    assert "'sure' cannot stand here; known: " in said
    assert "there is no source 'our-word'" in said
    assert "because: It slid open while I watched." in said
    text = file.read_text()
    assert text.startswith("# What we know better.\n")
    assert [path.name for path in file.parent.iterdir()] == ["own.yaml"]
    now = load_folders([shipped_folder(), file.parent])
    assert now.rules["slider-wanders"].because == "It slid open while I watched."


@pytest.mark.parametrize("typed", [f"{ANSWERS}n\n", ANSWERS[:40]], ids=["no", "cut off"])
def test_where_it_is_not_wanted_or_broken_off_the_file_stays(tmp_path: Path, typed: str) -> None:
    file = tmp_path / "shop" / "own.yaml"
    file.parent.mkdir()
    file.write_text(BEFORE)
    stillflow("rules", "add", "rule", "--to", str(file), typed=typed)
    assert file.read_text() == BEFORE
    assert [path.name for path in file.parent.iterdir()] == ["own.yaml"]


def test_one_can_go_back_and_see_how_shipped_entries_put_it(tmp_path: Path) -> None:
    file = tmp_path / "new" / "own.yaml"
    typed = (
        "back\n"  # there is nothing before the first question
        "wrong-name\nA large unit\nback\nback\nbig-unit\n?\nA large unit in good order\n"
        "110\n70\n\nback\n0.3\n\n\ny\n"
    )
    outcome = stillflow("rules", "add", "class", "--to", str(file), typed=typed)
    assert outcome.code == 0, outcome.err
    assert "this is the first question" in outcome.out
    classes = load_folders([shipped_folder(), file.parent]).classes
    shown = outcome.out.partition("shipped: ")[2].partition("\n")[0].split("; or ")
    assert set(shown) <= {one.title for one in classes.values()}
    assert len(shown) >= 2
    assert "wrong-name" not in classes
    made = classes["big-unit"]
    assert (made.title, made.tolerance) == ("A large unit in good order", 0.3)


def test_a_class_goes_into_a_file_that_is_not_there_yet(tmp_path: Path) -> None:
    file = tmp_path / "new" / "own.yaml"
    typed = "big-unit\nA large unit in good order\n25 kPa\n110\n70\n\n\n\ny\n"
    outcome = stillflow("rules", "add", "class", "--to", str(file), typed=typed)
    assert outcome.code == 0, outcome.err
    assert "write the number alone, in inH2O: 100" in outcome.out
    assert load_folders([shipped_folder(), file.parent]).classes["big-unit"].sealed == 110


def test_what_cannot_be_loaded_is_not_written(tmp_path: Path) -> None:
    file = tmp_path / "shop" / "own.yaml"
    typed = ANSWERS.replace("answer.slider-look", "answer.slider-lok") + "y\n"
    outcome = stillflow("rules", "add", "rule", "--to", str(file), typed=typed)
    assert outcome.code == 2
    assert "did you mean 'answer.slider-look'?" in outcome.err
    assert not file.exists()


@pytest.mark.parametrize("there", [True, False], ids=["empty", "not there yet"])
def test_a_folder_named_with_rules_may_be_begun_with_the_entry(tmp_path: Path, there: bool) -> None:
    folder = tmp_path / "shop"
    if there:
        folder.mkdir()
    typed = "big-unit\nA large unit in good order\n110\n70\n\n\n\ny\n"
    outcome = stillflow("rules", "add", "class", "--rules", str(folder), typed=typed)
    assert outcome.code == 0, outcome.err
    assert load_folders([shipped_folder(), folder]).classes["big-unit"].sealed == 110
    # A folder below it that is not there is still told.
    away = str(tmp_path / "away")
    outcome = stillflow("rules", "add", "class", "--rules", away, "--rules", str(folder), typed="")
    assert outcome.code == 2
    assert "no such folder of rules" in outcome.err
