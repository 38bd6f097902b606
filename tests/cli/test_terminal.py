"""`stillflow` at a terminal of 80 by 24: pages, and what is typed while they are turned."""

from __future__ import annotations

from pathlib import Path

from terminal import at_terminal

from stillflow.casebook.store import Casebook
from stillflow.engine import Visit
from stillflow.engine.inference.visit import Unit

RATED = Visit(described=True, unit=Unit(rated_sealed=130, rated_airflow=114, filter="bag"))


def begun(folder: Path, complaint: str = "") -> str:
    url = f"sqlite:///{folder / 'casebook.db'}"
    Casebook(url).begin(RATED.model_copy(update={"complaint": complaint}))
    return url


def answers(url: str) -> list[object]:
    return [event.answer for event in Casebook(url).recent(1)[0].events]


def test_an_answer_typed_while_a_page_waits_is_taken_by_the_question_below(tmp_path: Path) -> None:
    url = begun(tmp_path)
    screens = at_terminal("visit", "--db", url, "--resume", typed=["1"], rows=14)
    assert "more: Enter" in screens[0]
    assert answers(url) == ["none"]


def test_lines_pasted_at_once_answer_one_question_after_the_other(tmp_path: Path) -> None:
    url = begun(tmp_path)
    at_terminal("visit", "--db", url, "--resume", typed=["1\nskip\ncan't tell"])
    assert answers(url) == ["none", "skipped", "can't tell"]


def test_the_first_question_fits_the_screen_below_what_the_complaint_says(tmp_path: Path) -> None:
    url = begun(tmp_path, complaint="never pulls as strong as my sister's, weak everywhere")
    [first, *_] = at_terminal("visit", "--db", url, "--resume", typed=["stop"])
    seen = first[first.index("Taken from") :]
    assert "more: Enter" not in first
    assert "not so" in seen and "everywhere" in seen
    assert len(seen.splitlines()) <= 24
