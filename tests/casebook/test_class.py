"""The class that is shown: its marks can be read, and the page beside them is what they print."""

from __future__ import annotations

import re

from command import stillflow
from readme import ROOT

from stillflow.casebook.marks import EXAM, EXAM_LEVELS, exam_seed, read_marks

FOLDER = ROOT / "casebook" / "class"
SHOWN = re.compile(r"`stillflow drill (marks [^`]*)`\n\n```text\n(.*?)```", re.DOTALL)


def test_three_trainees_have_sat_all_houses_of_the_exam() -> None:
    marks = read_marks(FOLDER / "marks.jsonl")
    assert len({one.trainee for one in marks}) == 3
    assert len(marks) == 3 * EXAM
    for one in marks:
        assert one.number is not None
        assert one.seed == exam_seed(1, one.number)
        assert one.level == EXAM_LEVELS[one.number - 1]
    for number in range(1, EXAM + 1):
        # The same house for all of them.
        assert len({(one.house, one.planner) for one in marks if one.number == number}) == 1


def test_the_page_shows_what_the_commands_print() -> None:
    shown = SHOWN.findall((FOLDER / "README.md").read_text(encoding="utf-8"))
    assert len(shown) == 4
    for command, text in shown:
        words = re.findall(r'"[^"]*"|\S+', command)
        args = [word.strip('"') for word in words]
        outcome = stillflow("drill", "--marks", str(FOLDER / "marks.jsonl"), *args)
        assert outcome.out.strip() == text.strip()
