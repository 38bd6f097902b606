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
    assert "'12' cannot be an id; begin with a small letter" in said
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


CHOICE = (
    "our-look\nchoice\nIs the hose whole\nIs the hose whole?\nHold it to the light.\n"
    "Bend it, slowly, all along.\n\n2\n0.05\n"
)
ENDS = "common-practice\ny\n"
FAULT = "our-fault\nThe handle leaks.\nhose\nleak\nrare\n"


@pytest.mark.parametrize(
    ("kind", "typed", "refused"),
    [
        ("rule", "our-rule\n{fact: answer.slider-lok, is: open}\n"
         "fact: answer.slider-look, is: open\n[{for: hose-holed, strength: strong}]\nI saw.\n",
         "did you mean 'answer.slider-look'?"),
        ("rule", "our-rule\nfact: answer.hose-look, is: holed\nfact: answer.hose-look, is: hole\n"
         "[{for: hose-hold, strength: strong}]\n[{for: hose-holed, strength: strong}]\nI saw.\n",
         "did you mean 'hole'?"),
        ("class", "our-unit\nA unit of ours\n120\n130\n70\n0.1\n\n", "130 is not below sealed 120"),
        ("check", f"{CHOICE}[{{id: whole, label: Whole, usual: 0.95}}, "
         "{id: holed, label: Holed, usual: 0.32}]\n"
         "[{id: whole, label: Whole, usual: 0.95}, {id: holed, label: Holed, usual: 0.05}]\n",
         "add up to 1.27"),
        ("check", "our-look\nreading\nSealed suction there\nHold it on.\n\n2\ninlett\ninlet\n"
         "sealed\n", "did you mean 'inlet'?"),
        ("fault", f"{FAULT}hole\nkind: hole, at: hose, diameter_in: [0.2, 0.6]\nIt hisses.\n5\n"
         "Unplug the hose, then fit a new handle.\nTape holds a day.\n\nIt pulls again.\n",
         "type such as: kind: hole"),
    ],
)  # fmt: skip
def test_what_cannot_stand_is_refused_where_it_is_typed(
    tmp_path: Path, kind: str, typed: str, refused: str
) -> None:
    file = tmp_path / "shop" / "own.yaml"
    outcome = stillflow("rules", "add", kind, "--to", str(file), typed=f"{typed}{ENDS}")
    assert outcome.code == 0, outcome.out + outcome.err
    assert refused in " ".join(outcome.out.split())
    assert "indented below" not in outcome.out
    now = load_folders([shipped_folder(), file.parent])
    if kind == "check" and "choice" in typed:
        assert now.checks["our-look"].ask == "Is the hose whole?"
        assert now.checks["our-look"].how[1] == "Bend it, slowly, all along."
    if kind == "fault":
        assert now.faults["our-fault"].fix.steps == (
            "Unplug the hose, then fit a new handle.", "Tape holds a day.",
        )  # fmt: skip


ODD = (
    "[my head]", "{a: b}", "[[[[", "{a: [", '"', "'it", '"a\\q"', "12", "0.5", "1e999", ".nan",
    "-.inf", "9" * 5000, "2020-01-01", "12:30:00", "true", "~", "&a [*a]", "*a", "!!python/none x",
    "? b", "a: b: c", "- x", "# none", "%", "@", "`", "|", ">", "x" * 20_000, "[" * 3000, "a\x07b",
    "\x00", "\x1b[2J", "\u2028", "\u201cq\u201d", "kind: hole", "kind: hole, at: [x]", "\U0001f600",
    "{fact: {a: 1}, is: 2}", "[{for: [1, {a: b}], strength: strong}]", "{all: [{}, 3]}",
    "[{id: [a], label: {b: 1}, usual: x}]", "{? [a]: b}", "{[a, b]: c}", "0x1F", "1_000", "=",
)  # fmt: skip


GOOD = {
    "fault": f"{FAULT}kind: hole, at: hose, diameter_in: [0.2, 0.6]\nIt hisses.\n5\nTape it.\n\n"
    "It pulls again.\ncommon-practice\n",
    "check": f"{CHOICE}[{{id: whole, label: W, usual: 0.95}}, {{id: bad, label: B, usual: 0.05}}]\n"
    "common-practice\n",
    "rule": "our-rule\nfact: answer.slider-look, is: open\n[{for: hose-holed, strength: strong}]\n"
    "I saw it.\ncommon-practice\n",
    "class": "our-unit\nA unit of ours\n120\n70\n0.1\n1\ncommon-practice\n",
}


def typed_in(folder: Path, kind: str, lines: list[str]) -> None:
    file = folder / "own.yaml"
    outcome = stillflow("rules", "add", kind, "--to", str(file), typed="\n".join(lines))
    assert outcome.code in (0, 2, 130), outcome.err
    assert "Traceback" not in outcome.err
    if file.exists():
        load_folders([shipped_folder(), folder])
        assert [one.name for one in folder.iterdir()] == ["own.yaml"]


@pytest.mark.parametrize("kind", list(GOOD))
def test_a_list_or_braces_at_any_prompt_are_no_traceback(tmp_path: Path, kind: str) -> None:
    lines = [line for good in GOOD[kind].splitlines() for line in ("[my head]", "{a: b}", good)]
    typed_in(tmp_path / "shop", kind, [*lines, ""])


@pytest.mark.slow
@pytest.mark.parametrize("kind", list(GOOD))
def test_no_answer_at_any_prompt_ends_in_a_traceback_or_half_a_file(
    tmp_path: Path, kind: str
) -> None:
    answers = GOOD[kind].splitlines()
    for at in range(len(answers)):
        # What is taken leads on to the next prompt, where the rest is typed; the end of typing
        # then breaks it off, so nothing is written.
        typed_in(tmp_path / f"{kind}{at}", kind, [*answers[:at], *ODD, "", *ODD, ""])


def test_what_was_typed_is_shown_where_it_is_broken_off(tmp_path: Path) -> None:
    file = tmp_path / "new" / "own.yaml"
    typed = "our-unit\nA unit of ours\n\n120\n"
    outcome = stillflow("rules", "add", "class", "--to", str(file), typed=typed)
    assert outcome.code != 0
    assert "this is needed" in outcome.out
    assert "Nothing was written." in outcome.err
    assert "classes:\n  - id: our-unit\n    title: A unit of ours\n    sealed: 120\n" in outcome.err
    assert not file.exists()


def test_a_question_mark_lists_kinds_of_effect_and_every_id(tmp_path: Path) -> None:
    file = str(tmp_path / "new" / "own.yaml")
    said = stillflow("rules", "add", "fault", "--to", file, typed=f"{FAULT}?\n").out
    assert "air gets in as through a hole of" in said
    assert "kind: motor-dead" in said
    said = stillflow("rules", "add", "rule", "--to", file, typed="our-rule\n?\n").out
    assert "answer.hose-look: sound, hole" in " ".join(said.split())
    assert "'stillflow rules list checks'" in said


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
