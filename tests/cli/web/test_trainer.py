"""Drills, marks of a class and charts to take along, in a browser."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from command import stillflow
from phone import Phone, desk

from stillflow.casebook.marks import read_marks
from stillflow.cli.web import training
from stillflow.cli.web.app import application
from stillflow.cli.web.carrying import Packer
from stillflow.cli.web.training import charted

SCRIPT = "<script>alert(1)</script>"


class Here(Packer):
    """Works out in this process what else is worked out beside."""

    def __init__(self, knowledge: Any) -> None:
        super().__init__()
        self.knowledge = knowledge

    def run(self, what: Any, *args: Any, soon: bool = False) -> Any:
        return what(self.knowledge, *args)


def trainee(folder: Path) -> tuple[Phone, Path]:
    one, file = desk(folder), folder / "marks.jsonl"
    return Phone(application(one, packer=Here(one.knowledge), marks=file)), file


def carried(page: str) -> dict[str, str]:
    form = page[page.rindex("<form") :]
    found = re.findall(r'type="hidden" name="([^"]*)" value="([^"]*)"', form)
    return {name: unescape(value) for name, value in found if name != "token"}


def act(one: Phone, name: str, **more: str) -> None:
    one.send("/drill", **carried(one.page), act=name, **more)
    if "What do you guard against first?" in one.page and "minded" not in more:
        form = one.page.partition("What do you guard against first?")[0]
        one.send("/drill", **carried(form), act=name, **more)


def begin(one: Phone, **more: str) -> None:
    one.open("/drill")
    one.send("/drill", **{"trainee": "Ann Alder", "level": "1", "seed": "7", **more})


def test_a_drill_is_played_marked_once_and_as_on_the_command_line(tmp_path: Path) -> None:
    one, file = trainee(tmp_path)
    begin(one)
    assert one.status == 200
    assert "Find" in one.words
    acts = ("danger-signs", "sealed-inlet", "hint", "working-inlet")
    for name in acts:
        act(one, name)
    assert carried(one.page)["acts"].split()[0] == "danger-signs"
    assert "inH2O" in one.words
    last = carried(one.page)
    act(one, "leave")
    assert "What it comes to" in one.words
    # A page that is sent twice is one drill.
    one.send("/drill", **last, act="leave")
    (mark,) = read_marks(file)
    assert mark.trainee == "Ann Alder"
    assert mark.hints == 1
    typed = "\n".join(("danger-signs", "sealed-inlet", "", "hint", "working-inlet", "", "leave"))
    other = tmp_path / "typed.jsonl"
    args = ("--seed", "7", "--trainee", "Ann Alder", "--marks", str(other))
    out = stillflow("drill", *args, typed=f"{typed}\n").out
    (same,) = read_marks(other)
    assert same.model_copy(update={"at": mark.at}) == mark
    said = " ".join(out.split()).partition("The planner's way:")[2].partition("This house again")[0]
    assert said.strip()[:200] in one.words


def test_what_is_dangerous_is_asked_before_it_is_done_and_walking_past_costs(
    tmp_path: Path,
) -> None:
    one, _ = trainee(tmp_path)
    begin(one)
    act(one, "danger-signs")
    one.send("/drill", **carried(one.page), act="sealed-unit")
    assert "What do you guard against first?" in one.words
    assert carried(one.page)["acts"] == "danger-signs"
    form = carried(one.page.partition("Something else")[0].rpartition("<form")[0])
    one.send("/drill", **form, act="sealed-unit")
    assert "WALKED PAST" in one.words
    assert carried(one.page)["acts"] == "danger-signs sealed-unit+"


def test_an_exam_goes_on_where_it_was_left(tmp_path: Path) -> None:
    one, file = trainee(tmp_path)
    begin(one, exam="3")
    assert "seed 3001" in one.words
    act(one, "leave")
    begin(one, exam="3")
    assert "seed 3002" in one.words
    assert [mark.number for mark in read_marks(file)] == [1]
    one.open("/marks")
    assert "Exam 3" in one.words
    assert "Ann Alder" in one.words
    one.open("/marks?trainee=Ann%20Alder")
    assert "exam 3, house 1" in one.words or "set 3, 1" in one.words


def test_a_name_that_is_a_script_stays_a_name(tmp_path: Path) -> None:
    one, file = trainee(tmp_path)
    begin(one, trainee=SCRIPT)
    assert SCRIPT not in one.page
    act(one, "leave")
    assert [mark.trainee for mark in read_marks(file)] == [SCRIPT]
    for path in ("/marks", f"/marks?trainee={SCRIPT}", f"/marks?trainee={SCRIPT}2"):
        one.open(path)
        assert one.status == 200
        assert SCRIPT not in one.page
    begin(one, seed=SCRIPT, level=SCRIPT, exam=SCRIPT, acts=SCRIPT)
    assert one.status == 422
    assert SCRIPT not in one.page


def test_marks_of_a_class_are_what_the_command_line_shows(tmp_path: Path) -> None:
    file = Path("casebook/class/marks.jsonl").resolve()
    one = Phone(application(desk(tmp_path), marks=file))
    one.open("/marks")
    assert one.status == 200
    exam = next(mark.exam for mark in read_marks(file) if mark.exam)
    out = stillflow("drill", "--marks", str(file), "marks", "--set", str(exam)).out
    words = [word for word in out.split() if word.strip("-")]
    assert " ".join(words) in one.words
    assert "<svg" in one.page


@pytest.mark.parametrize(
    "form",
    [
        {"level": "9"},
        {"seed": "seven"},
        {"seed": "9" * 30},
        {"exam": "x"},
        {"trainee": " "},
        {"trainee": "A" * 90},
        {"acts": "no-such-check"},
        {"acts": "leave leave"},
        {"acts": "danger-signs " * 300},
        {"act": "fix.no-such-fault"},
    ],
)
def test_a_drill_that_cannot_be_is_one_line(tmp_path: Path, form: dict[str, str]) -> None:
    one, file = trainee(tmp_path)
    begin(one, **form)
    assert one.status == 422
    assert 'role="alert"' in one.page
    assert not file.exists()


def test_a_chart_is_the_one_that_the_command_line_draws(tmp_path: Path) -> None:
    one, _ = trainee(tmp_path)
    one.open("/charts")
    form = {"chart": "pareto", "complaint": "weak-everywhere", "paper": "svg", "blank": ""}
    one.send("/charts", **form)
    assert one.headers["content-type"] == "image/svg+xml"
    assert "attachment" in one.headers["content-disposition"]
    out = tmp_path / "pareto.svg"
    stillflow("chart", "pareto", "--complaint", "weak-everywhere", "--out", str(out))
    assert one.page == out.read_text("utf-8")
    one.open("/charts")
    for wrong in ({"chart": "../etc"}, {"paper": "a9"}, {"complaint": "--out"}, {"blank": "all"}):
        one.send("/charts", **{**form, **wrong})
        assert one.status == 422


def test_drawings_of_a_visit_are_kept_as_pictures(tmp_path: Path) -> None:
    one, _ = trainee(tmp_path)
    one.begin(rated_sealed="130", rated_airflow="114")
    visit = one.visit
    one.answer("none")
    while one.about[1] != "working-inlet":
        one.answer("can't tell")
    one.answer("60")
    one.open(f"/visit/{visit}/where")
    for name in re.findall(rf'href="/visit/{visit}/chart/(\w+)"', one.page):
        answer = one.client.get(f"/visit/{visit}/chart/{name}")
        assert answer.content.startswith(b"\x89PNG"), name
    one.open(f"/visit/{visit}/chart/passwd")
    assert one.status == 404


def test_what_is_worked_out_beside_comes_back_and_what_is_wrong_is_told() -> None:
    packer = Packer()
    args = ("chart", "pareto", "--out")
    data, wrong = packer.run(charted, (), args, "svg", soon=True)
    assert data.startswith(b"<?xml")
    assert not wrong
    data, wrong = packer.run(charted, (), ("chart", "stations", "VISIT", "--out"), "png", "what?")
    assert not data
    assert "\n" not in wrong
    packer.close()


def test_paper_is_offered_only_where_it_can_be_had(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = Phone(application(desk(tmp_path)))
    assert "Pages of A4 (PDF)" in one.open("/charts")
    monkeypatch.setattr(training, "find_spec", lambda name: None)
    assert "(PDF)" not in one.open("/charts")
    assert "One large picture (PNG)" in one.page
