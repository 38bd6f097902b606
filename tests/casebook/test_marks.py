"""Marks of drills: kept line by line, read back as they were, and a damaged line is named."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from drill_houses import RULES, choice, house_with

from stillflow.casebook.marks import (
    EXAM,
    EXAM_LEVELS,
    DrillMark,
    add_mark,
    exam_seed,
    mark_of,
    read_marks,
)
from stillflow.engine.base import InputError, SetupError
from stillflow.engine.drill import Drill, review


@pytest.fixture
def mark() -> DrillMark:
    drill = Drill(RULES, house_with(RULES, "seal-torn").fresh())
    drill.do(choice(drill, "danger"))
    drill.do(choice(drill, "seal-look"), [])
    drill.do(choice(drill, "fix seal-torn"))
    drill.leave()
    return mark_of(review(drill), "Ann Example", exam=2, number=3)


def test_a_mark_says_what_the_drill_was(mark: DrillMark) -> None:
    assert (mark.trainee, mark.exam, mark.number) == ("Ann Example", 2, 3)
    assert mark.faults == ("seal-torn",)
    assert mark.ending == "mended"
    assert mark.walked_past == 1
    assert mark.steps == 3
    assert mark.at <= datetime.now(UTC)


def test_marks_come_back_as_they_were_kept_in_order(tmp_path: Path, mark: DrillMark) -> None:
    path = tmp_path / "deep" / "marks.jsonl"
    assert read_marks(path) == []
    other = mark.model_copy(update={"trainee": 'Bo "Ü" Example', "mark": 7})
    add_mark(path, mark)
    add_mark(path, other)
    assert read_marks(path) == [mark, other]
    assert len(path.read_text(encoding="utf-8").splitlines()) == 2


@pytest.mark.parametrize("line", ["{", '{"trainee": "x"}', "[]", '{"mark": 101}', "null"])
def test_a_damaged_line_is_named_with_its_number(
    tmp_path: Path, mark: DrillMark, line: str
) -> None:
    path = tmp_path / "marks.jsonl"
    add_mark(path, mark)
    with path.open("a", encoding="utf-8") as stream:
        stream.write(f"\n{line}\n")
    with pytest.raises(InputError, match=r"marks\.jsonl:3.*is not a mark"):
        read_marks(path)


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path, mark: DrillMark) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(SetupError, match="cannot be kept"):
        add_mark(tmp_path / "file" / "marks.jsonl", mark)


def test_the_houses_of_exams_are_all_different() -> None:
    assert len(EXAM_LEVELS) == EXAM
    seeds = [exam_seed(exam, number) for exam in range(1, 20) for number in range(1, EXAM + 1)]
    assert len(set(seeds)) == len(seeds)
