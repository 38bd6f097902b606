"""Worked cases are read with located errors and played answer by answer."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_rules import SMALL, small

from stillflow.casebook.cases import (
    MOST_STEPS,
    Case,
    PlayedCase,
    load_cases,
    play,
    read_case,
    worked_out,
)
from stillflow.engine.base.errors import InputError

# A hose that takes long to clear, so that nobody tries that first without a look.
RULES = small(SMALL.replace("minutes: 5, steps: [Push", "minutes: 90, steps: [Push"))

TORN = """
title: The seal of the bin is torn
teaches: A leak takes sealed and working suction alike.
kind: plain
visit:
  site: {name: 14 Heron Court}
house:
  air_path:
    fan: {sealed_inh2o: 120, airflow_cfm: 121}
  faults: {seal-torn: 0.7}
finds:
  sealed-inlet: 68
  working-hose: 34
  hiss: hissing
  seal-look: torn
  works-now: weak-still
after:
  sealed-inlet: 120
  working-hose: 60
  hiss: quiet
  seal-look: whole
  works-now: restored
expect:
  fixes: [seal-torn]
  ends: done
"""


def case(*changes: tuple[str, str]) -> Case:
    text = TORN
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return read_case(text, "torn.yaml")


def answers(played: PlayedCase) -> list[tuple[str, object]]:
    return [
        (turn.step.check.id if turn.step.check else turn.step.fix.fault, turn.answer)
        for turn in played.turns
        if turn.step.check or turn.step.fix
    ]


def test_a_case_is_named_after_its_file() -> None:
    assert case().name == "torn"


def test_a_case_plays_to_its_end() -> None:
    played = play(case(), RULES)
    assert played.problems == ()
    assert played.fixes == ("seal-torn",)
    assert played.ends == "done"
    assert played.checks == len(played.turns) - 1
    assert played.visit.conclusion is not None
    assert played.visit.conclusion.fault == "seal-torn"
    assert len(played.visit.events) == len(played.turns)


def test_what_a_case_finds_is_answered_before_the_fix_and_the_rest_after() -> None:
    told = answers(play(case(), RULES))
    fix = told.index(("seal-torn", True))
    found = {"sealed-inlet": 68, "working-hose": 34, "hiss": "hissing", "seal-look": "torn"}
    assert told[:fix]
    assert set(told[:fix]) <= {*found.items(), ("working-inlet", "can't do here")}
    changed = {"sealed-inlet": 120, "working-hose": 60, "hiss": "quiet", "works-now": "restored"}
    assert ("works-now", "restored") in told[fix + 1 :]
    assert set(told[fix + 1 :]) <= set(changed.items())


def test_what_a_case_is_silent_about_is_as_usual_and_readings_are_not_possible() -> None:
    silent = case(
        ("  sealed-inlet: 68\n", ""), ("  hiss: hissing\n", ""), ("  seal-look: torn\n", "")
    )
    told = answers(play(silent, RULES))
    usual = {"hiss": "quiet", "seal-look": "whole", "sealed-inlet": "can't do here"}
    first = {name: answer for name, answer in reversed(told) if name in usual}
    assert first
    assert first.items() <= usual.items()


def test_a_fix_that_is_not_due_changes_nothing_in_the_house() -> None:
    # Every sign points at the hose, but the truth is said to be the seal.
    wrong = case(
        ("sealed-inlet: 68", "sealed-inlet: 120"),
        ("hiss: hissing", "hiss: quiet"),
        ("working-hose: 34", "working-hose: 20"),
        ("seal-look: torn", "seal-look: whole"),
    )
    played = play(wrong, RULES)
    told = answers(played)
    assert played.fixes[0] == "hose-clogged"
    after_it = told[told.index(("hose-clogged", True)) + 1 :]
    assert ("working-hose", 20.0) in after_it
    assert any(problem.startswith("fixes hose-clogged") for problem in played.problems)


def test_answers_in_turn_come_one_after_the_other() -> None:
    slip = case(("  sealed-inlet: 68\n", "  sealed-inlet: [30, 68]\n  working-inlet: 58\n"))
    # Both are read before the seal is changed.
    after = "after: Sealed is back.\n"
    text = SMALL.replace(after, f"{after}    confirm_first: [sealed-inlet, working-inlet]\n")
    assert text != SMALL
    told = answers(play(slip, small(text)))
    sealed = [answer for name, answer in told if name == "sealed-inlet"]
    # 30 sealed below 58 working cannot be, so it is asked again.
    assert sealed == [30.0, 68.0, 120.0]


def test_a_fix_of_somebody_elses_is_handed_over() -> None:
    worn = case(
        ("seal-torn: 0.7", "motor-worn: 0.8"),
        ("hiss: hissing", "hiss: quiet"),
        ("seal-look: torn", "seal-look: whole"),
        ("[seal-torn]", "[motor-worn]"),
        ("ends: done", "ends: refer"),
    )
    played = play(worn, RULES)
    assert played.problems == ()
    assert answers(played)[-1] == ("motor-worn", False)


def test_what_differs_is_said_in_sentences() -> None:
    ending = "ends: stop\n  enough_checks: 1"
    other = case(("[seal-torn]", "[hose-clogged]"), ("ends: done", ending))
    played = play(other, RULES)
    assert any("not 'stop'" in problem or "no end" in problem for problem in played.problems)
    assert any(
        problem.startswith("fixes seal-torn")
        and problem.endswith("a good technician fixes hose-clogged")
        for problem in played.problems
    )
    assert played.remarks == (f"asks {played.checks} checks where 1 are enough",)
    assert len(played.turns) <= MOST_STEPS


def test_the_readings_of_a_house_can_be_worked_out() -> None:
    leaking, sound = (worked_out(case(), RULES, fixed) for fixed in (0, 1))
    assert leaking.keys() == {"sealed-inlet", "working-inlet", "working-hose"}
    # By the F558 fan line alone: 120 (1 - Q/121) against 0.60 A sqrt(2 dp / rho) of a 0.7 in hole.
    assert sound["sealed-inlet"] == pytest.approx(120)
    assert leaking["sealed-inlet"] == pytest.approx(68, abs=2)
    assert leaking["working-hose"] < sound["working-hose"]
    with pytest.raises(InputError, match="does not say what its house is"):
        bare = TORN[: TORN.index("house:")] + TORN[TORN.index("finds:") :]
        worked_out(read_case(bare, "torn.yaml"), RULES, 0)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("title:", "tittle:", "torn.yaml:2, tittle: 'tittle' is not a known key; did you mean"),
        ("kind: plain", "kind: plane", "torn.yaml:4, kind: 'plane' cannot stand here; did you"),
        (
            "visit:\n",
            "visit:\n  events: [{check: hiss, answer: quiet}]\n",
            "torn.yaml:2: the visit of a case has no events and no conclusion; drop them",
        ),
        (
            "after:\n  sealed-inlet: 120",
            "after:\n  - hiss: quiet\n  - sealed-inlet: 120",
            "torn.yaml",
        ),
        ("ends: done", "ends: well", "torn.yaml:25, expect.ends: 'well' cannot stand here"),
        ("faults: {seal", "fault: {seal", "torn.yaml:10, house.fault: 'fault' is not a known key"),
        ("airflow_cfm: 121", "airflow_cfm: -4", "torn.yaml:9, house.air_path.fan.airflow_cfm"),
    ],
)
def test_a_bad_case_is_refused_with_its_place(old: str, new: str, message: str) -> None:
    assert old in TORN
    with pytest.raises(InputError) as caught:
        read_case(TORN.replace(old, new, 1), "torn.yaml")
    assert str(caught.value).startswith(message)
    assert len(str(caught.value).splitlines()) == 1


def test_more_stages_than_fixes_are_refused() -> None:
    two = TORN.replace("after:\n", "after:\n  - {hiss: quiet}\n  - {").replace(
        "  sealed-inlet: 120\n  working-hose: 60\n  hiss: quiet\n  seal-look: whole\n"
        "  works-now: restored\n",
        "sealed-inlet: 120}\n",
    )
    with pytest.raises(InputError, match="'after' says more than there are fixes"):
        read_case(two, "torn.yaml")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("seal-look: torn", "seal-lok: torn", "torn.yaml:15, finds.seal-lok: there is no check "),
        (
            "seal-look: torn",
            "seal-look: ripped",
            "torn.yaml:15, finds.seal-look: 'ripped' is not an answer to 'seal-look'; one of: ",
        ),
        ("sealed-inlet: 68", "sealed-inlet: -9", "torn.yaml:12, finds.sealed-inlet: -9 inH2O"),
        (
            "sealed-inlet: 68",
            "sealed-inlet: [30, 54 cfm]",
            "torn.yaml:12, finds.sealed-inlet: 'cfm' is not a unit of this kind; write 90",
        ),
        ("works-now: restored", "works-now: yes", "torn.yaml:22, after.works-now: 'yes' is not an"),
        (
            "fixes: [seal-torn]",
            "fixes: [seal-worn]",
            "torn.yaml:24, expect.fixes 1: there is no fault 'seal-worn'; did you mean",
        ),
        (
            "{seal-torn: 0.7}",
            "{seal-worn: 0.7}",
            "torn.yaml:10, house.faults.seal-worn: there is no fault 'seal-worn'; did you mean",
        ),
    ],
)
def test_what_the_rules_do_not_have_is_refused_with_its_place(
    old: str, new: str, message: str
) -> None:
    with pytest.raises(InputError) as caught:
        play(case((old, new)), RULES)
    assert str(caught.value).startswith(message)


def test_cases_are_read_from_a_folder_in_order(tmp_path: Path) -> None:
    for name in ("b", "a"):
        (tmp_path / f"{name}.yaml").write_text(TORN)
    (tmp_path / "notes.txt").write_text("not a case")
    assert [one.name for one in load_cases(tmp_path)] == ["a", "b"]
    with pytest.raises(InputError, match="there is no such folder of cases"):
        load_cases(tmp_path / "none")
    (tmp_path / "c.yaml").write_text("")
    with pytest.raises(InputError, match=r"c\.yaml: the file is empty; write 'key: value' lines"):
        load_cases(tmp_path)
