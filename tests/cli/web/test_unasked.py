"""What nobody asked for, said on the phone by the words of the prompt."""

from __future__ import annotations

from pathlib import Path

from phone import Phone, desk

from stillflow.cli.web.app import application
from stillflow.cli.web.desk import Desk


def begun(folder: Path) -> tuple[Desk, Phone, str]:
    at = desk(folder)
    one = Phone(application(at))
    one.begin(rated_sealed="130", rated_airflow="114", inlet="hall", inlets="hall, study")
    visit = one.visit
    one.answer("none")
    one.open(f"/visit/{visit}/more")
    return at, one, visit


def test_a_reading_at_an_inlet_of_ones_own_choice_is_kept_with_its_name(tmp_path: Path) -> None:
    at, one, visit = begun(tmp_path)
    one.send(f"/visit/{visit}/more", mark=one.mark, said="sealed", answer="92", place="study")
    assert one.status == 200
    assert 'id="question"' in one.page
    last = at.casebook.get(visit).events[-1]
    assert (last.check, last.answer, last.inlet) == ("sealed-other", 92.0, "study")
    fields = {"said": "working", "answer": "10", "unit": "kPa", "place": "the hose end"}
    one.send(f"/visit/{visit}/more", mark=one.mark, **fields)
    last = at.casebook.get(visit).events[-1]
    assert (last.check, last.inlet, round(float(last.answer or 0))) == ("working-hose", None, 40)


def test_what_was_mended_already_is_found_by_a_word_and_picked_of_several(tmp_path: Path) -> None:
    at, one, visit = begun(tmp_path)
    one.send(f"/visit/{visit}/more", mark=one.mark, said="done", fault="bag full")
    event = at.casebook.get(visit).events[-1]
    assert (event.fix, event.done) == ("bag-full", True)
    one.open(f"/visit/{visit}/more")
    one.send(f"/visit/{visit}/more", mark=one.mark, said="not there", fault="gasket")
    assert "which of them?" in one.words
    assert len(at.casebook.get(visit).events) == 2
    picked = one._found(r'<button name="fault" value="([^"]*)"')
    one.send(f"/visit/{visit}/more", mark=one.mark, said="not there", fault=picked)
    event = at.casebook.get(visit).events[-1]
    assert (event.fix, event.done, event.found) == (picked, False, False)


def test_what_says_nothing_is_told_and_keeps_nothing(tmp_path: Path) -> None:
    at, one, visit = begun(tmp_path)
    for wrong in (
        {"said": "sealed", "answer": "92"},
        {"said": "sealed", "answer": "heaps", "place": "study"},
        {"said": "done", "fault": "wibble"},
        {"said": "done"},
        {},
    ):
        one.send(f"/visit/{visit}/more", mark=one.mark, **wrong)
        assert one.status == 422
        assert 'role="alert"' in one.page
    assert len(at.casebook.get(visit).events) == 1
    one.send(f"/visit/{visit}/more", mark="0-0", said="done", fault="bag-full")
    assert one.status == 409
    assert len(at.casebook.get(visit).events) == 1


def test_a_visit_is_stopped_for_now_and_stands_open(tmp_path: Path) -> None:
    at, one, visit = begun(tmp_path)
    one.open(one._found(r'href="(/[?]left=[^"]*)"'))
    assert "Every answer is kept" in one.words
    assert f'href="/visit/{visit}"' in one.page
    assert at.casebook.get(visit).conclusion is None
    one.open("/?left=none-such")
    assert "Every answer is kept" not in one.words
