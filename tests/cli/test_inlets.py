"""At the prompt: which inlet is meant is asked where only the person can say, and once."""

from __future__ import annotations

import pytest

from stillflow.cli.describe import show_check, show_share
from stillflow.cli.prompt import Typed, ask_inlet, reading_said, understand
from stillflow.cli.screen import Screen
from stillflow.engine import Session, Site, Visit, load_rules
from stillflow.engine.base import InputError
from stillflow.engine.dialogue.present import Presenter
from stillflow.engine.dialogue.steps import CheckStep

KNOWLEDGE = load_rules()


def step(check_id: str) -> CheckStep:
    session = Session(KNOWLEDGE, Visit(site=Site(inlet="hall")))
    shown = Presenter(KNOWLEDGE, session.baseline, session.progress, ())
    check = shown.check(KNOWLEDGE.checks[check_id], ()).check
    assert check is not None
    return check


def test_of_a_reading_left_out_no_number_is_told_though_one_was_read_elsewhere(
    capsys: pytest.CaptureFixture[str],
) -> None:
    session = Session(KNOWLEDGE, Visit(site=Site(inlet="hall", inlets=("hall", "bath", "study"))))
    check = KNOWLEDGE.checks["sealed-other"]
    session.record(check.id, 129.0, inlet="study")
    assert show_share(Screen(), session, check)
    capsys.readouterr()
    session.record(check.id, "skipped", inlet="bath")
    assert not show_share(Screen(), session, check)
    assert capsys.readouterr().out == ""


def test_a_reading_may_be_given_with_its_inlet() -> None:
    assert understand("92 at Landing", step("sealed-other")) == Typed(answer="92", inlet="Landing")
    assert understand("92 inH2O", step("sealed-other")) == Typed(answer="92 inH2O")


def test_an_answer_may_be_given_with_its_inlet() -> None:
    listen = step("inlets-listen")
    assert understand("3 at landing", listen) == Typed(answer="another", inlet="landing")
    assert understand("another", listen) == Typed(answer="another")


def test_a_question_at_a_named_inlet_says_its_name() -> None:
    assert step("sealed-inlet").ask == "What does the gauge read at the hall inlet, sealed?"
    other = step("sealed-other")
    assert other.ask == "What does the gauge read at an inlet on another branch, sealed?"
    assert other.asks_inlet


@pytest.mark.parametrize(
    ("line", "name"), [("landing", "landing"), ("2", "den"), ("", None), ("3", "3")]
)
def test_a_known_inlet_can_be_picked_and_a_new_one_named(
    monkeypatch: pytest.MonkeyPatch, line: str, name: str | None
) -> None:
    asked: list[str] = []

    def answered(question: str) -> str:
        asked.append(question)
        return line

    monkeypatch.setattr("stillflow.cli.prompt.ask", answered)
    assert ask_inlet(("study", "den")) == name
    assert "1 study" in asked[0]


@pytest.mark.parametrize(
    ("line", "check", "answer", "inlet"),
    [
        ("sealed 92 at study", "sealed-other", "92", "study"),
        ("Working 17 kPa at back  bedroom", "working-other", "17 kPa", "back  bedroom"),
        ("sealed 104 at HALL", "sealed-inlet", "104", "HALL"),
        ("sealed 130 at the hose end", "sealed-hose", "130", None),
        ("sealed 130 at hose end", "sealed-hose", "130", None),
        ("working 60 at the utility inlet", "working-utility", "60", None),
        ("working 60 at unit", "working-unit", "60", None),
        ("sealed 60 at the inlet", "sealed-inlet", "60", None),
    ],
)
def test_a_reading_at_any_place_is_taken_at_any_prompt(
    line: str, check: str, answer: str, inlet: str | None
) -> None:
    session = Session(KNOWLEDGE, Visit(site=Site(inlet="hall")))
    event = reading_said(session, line, None)
    assert event is not None
    assert (event.check, event.answer, event.inlet) == (check, answer, inlet)
    assert reading_said(session, "sealed 92", None) is None
    assert reading_said(session, "3 at landing", None) is None


def test_the_inlets_to_begin_with_are_shown_with_the_question(
    capsys: pytest.CaptureFixture[str],
) -> None:
    site = Site(inlet="hall", inlets=("hall", "landing", "study"))
    show_check(Screen(), Session(KNOWLEDGE, Visit(site=site)).step_for("inlets-listen"), 1)
    assert "Begin with landing, then study." in capsys.readouterr().out
    assert not step("inlets-listen").inlets


def test_a_place_along_the_way_is_not_taken_for_the_name_of_an_inlet() -> None:
    asked = step("sealed-inlet")
    assert understand("92 at the inlet", asked) == Typed(answer="92")
    with pytest.raises(InputError, match="sealed 92 at the hose end, if it was read there"):
        understand("92 at hose end", asked)
