"""What is at hand at any prompt of a visit: danger, where, notes, a second look at an ending."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
from command import Outcome, stillflow

from stillflow.casebook.store import Casebook
from stillflow.cli.asides import note_said, show_why
from stillflow.cli.describe import show_check, show_how
from stillflow.cli.screen import Screen
from stillflow.engine import Session, load_rules
from stillflow.engine.base import InputError, Station
from stillflow.engine.dialogue import reminder_words
from stillflow.engine.inference.visit import Unit, Visit
from stillflow.engine.ruleset import Check


class Terminal(StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


RATED = Visit(described=True, unit=Unit(rated_sealed=130, rated_airflow=114, filter="bag"))


def url(folder: Path) -> str:
    return f"sqlite:///{folder / 'casebook.db'}"


def resumed(folder: Path, *lines: str, which: str = "latest") -> Outcome:
    typed = "".join(f"{line}\n" for line in lines)
    return stillflow("visit", "--db", url(folder), "--resume", which, typed=typed)


def begun(folder: Path, *answers: tuple[str, float | str], visit: Visit = RATED) -> Session:
    session = Session(load_rules(), visit)
    for check, answer in answers:
        session.record(check, answer)
    Casebook(url(folder)).begin(session.visit.model_copy(update={"conclusion": None}))
    return session


def kept(folder: Path) -> Visit:
    return Casebook(url(folder)).recent(1)[0]


def test_why_gives_its_reason_once(capsys: pytest.CaptureFixture[str]) -> None:
    session = Session(load_rules(), RATED)
    step = session.next_step()
    show_why(Screen(), session, step)
    assert " ".join(capsys.readouterr().out.split()).count(step.why_now) == 1


def test_how_to_names_the_inlet_that_is_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    step = Session(load_rules(), RATED).next_step().check
    assert step is not None
    for asks in (False, True):
        named = {"station": Station.OTHER, "inlet": "kitchen", "asks_inlet": asks}
        show_how(Screen(), step.model_copy(update=named))
        assert ("Choose the kitchen inlet;" in capsys.readouterr().out) is not asks


def test_a_danger_that_comes_up_at_any_prompt_stops_the_visit(tmp_path: Path) -> None:
    begun(tmp_path, ("danger-signs", "none"))
    said = resumed(tmp_path, "danger", "3", "yes").out
    assert "STOP HERE" in said
    assert [event.answer for event in kept(tmp_path).events] == ["none", "smoke"]
    assert kept(tmp_path).conclusion is not None


def test_a_danger_is_acknowledged_with_its_rule_and_numbered_steps(tmp_path: Path) -> None:
    begun(tmp_path, ("danger-signs", "none"))
    said = " ".join(resumed(tmp_path, "danger", "3").out.split())
    order = [
        "Taken: Smoke.",
        "STOP HERE",
        "Smoke is a fire until",
        "1. Do not open",
        "2. Call: The",
    ]
    found = [said.find(words) for words in (*order, "Look once more")]
    assert -1 not in found and found == sorted(found)


def test_a_stop_is_final_only_after_a_second_look(tmp_path: Path) -> None:
    begun(tmp_path, ("danger-signs", "none"))
    interrupted = resumed(tmp_path, "danger", "3").out
    assert "Is it so?" in interrupted
    assert kept(tmp_path).conclusion is None
    resumed(tmp_path, "no", "1")
    assert kept(tmp_path).conclusion is None
    assert [event.answer for event in kept(tmp_path).events] == ["none", "smoke", "none"]


def test_a_danger_taken_from_the_complaint_by_mistake_can_be_taken_back(tmp_path: Path) -> None:
    begun(tmp_path, visit=RATED.model_copy(update={"complaint": "There is a burning smell."}))
    said = resumed(tmp_path, "no").out
    assert "STOP HERE" in said
    assert kept(tmp_path).not_taken == ("danger-signs",)
    assert kept(tmp_path).conclusion is None


def test_a_visit_that_ended_is_opened_again_with_everything_kept(tmp_path: Path) -> None:
    session = begun(tmp_path, ("danger-signs", "none"), ("danger-signs", "smoke"))
    casebook = Casebook(url(tmp_path))
    known = casebook.recent(1)[0]
    ended = known.model_copy(update={"conclusion": session.visit.conclusion})
    casebook.save_header(ended, known)
    assert casebook.open_visits() == []
    said = resumed(tmp_path, "note called the fire service", "no", "1", which=kept(tmp_path).id).out
    assert "STOP HERE" in said
    visit = casebook.open_visits()[0]
    assert [event.answer or event.note for event in visit.events] == [
        "none",
        "smoke",
        "called the fire service",
        "none",
    ]


def test_a_call_that_was_done_is_opened_again_when_it_did_not_last(tmp_path: Path) -> None:
    session = Session(load_rules(), RATED)
    session.record("danger-signs", "none")
    session.record("working-hose", 30.0)
    session.record_fix("hose-clogged")
    session.record("working-hose", 70.0)
    while (step := session.next_step()).check is not None:
        good = [one.id for one in session.knowledge.checks[step.check.id].answers if one.good]
        session.record(step.check.id, good[0] if good else 70.0)
    assert step.step == "done"
    Casebook(url(tmp_path)).begin(session.visit)
    again = resumed(tmp_path, "weak", "2", which=kept(tmp_path).id).out
    assert "This visit has ended" in again
    assert len(kept(tmp_path).events) == len(session.events) + 1
    left = resumed(tmp_path, "", which=kept(tmp_path).id)
    assert left.code == 0


def test_where_we_are_is_told_at_any_prompt_and_records_nothing(tmp_path: Path) -> None:
    begun(tmp_path, ("danger-signs", "none"), ("sealed-inlet", 80.0))
    said = resumed(tmp_path, "where").out
    assert "Where we are" in said
    assert "sealed at the inlet" in said
    assert len(kept(tmp_path).events) == 2


def test_notes_parts_prices_and_photos_are_kept_with_the_visit(tmp_path: Path) -> None:
    begun(tmp_path, ("danger-signs", "none"))
    lines = ("note key under the mat", "part 2 x gasket at 12.50", "photo hall.jpg", "notes")
    said = resumed(tmp_path, *lines, "price").out
    assert "part: 2 x gasket at 12.50" in said
    assert "there is nothing to price" in said
    events = kept(tmp_path).events[1:]
    assert [event.note for event in events] == ["key under the mat", None, "photo: hall.jpg"]
    assert (events[1].part, events[1].count, events[1].price) == ("gasket", 2.0, 12.5)


def test_a_note_may_have_a_colon() -> None:
    for line in ("note: key under the mat", "note key under the mat", "Note:key under the mat"):
        said = note_said(line, None)
        assert said is not None
        assert said.note == "key under the mat"
    part = note_said("part: 2 x gasket at 12.50", None)
    assert part is not None
    assert (part.part, part.count, part.price) == ("gasket", 2.0, 12.5)


def test_what_is_no_note_is_left_alone() -> None:
    assert note_said("noted", None) is None
    assert note_said("parts are dear", None) is None
    assert note_said("note-worthy", None) is None
    with pytest.raises(InputError):
        note_said("note", None)


def test_readings_that_contradict_are_explained_and_the_right_one_can_be_kept(
    tmp_path: Path,
) -> None:
    begun(tmp_path, ("danger-signs", "none"), ("working-inlet", 45.0), ("sealed-inlet", 40.0))
    said = " ".join(resumed(tmp_path, "same").out.split())
    assert "sealed 40 is below working 45, which cannot be" in said
    assert "stands, so" in said
    assert kept(tmp_path).events[-1].answer in (40.0, 45.0)


def test_a_caution_shown_before_in_this_visit_becomes_one_line(tmp_path: Path) -> None:
    begun(tmp_path, ("danger-signs", "none"))
    said = resumed(tmp_path, "danger", "1", "danger", "1").out
    assert said.count("CAUTION Water in or near the unit and electricity do not mix") == 1
    assert "CAUTION As before: Do not touch the unit or its plug on a wet floor." in said


def test_why_begins_with_its_answer(tmp_path: Path) -> None:
    begun(tmp_path, ("danger-signs", "none"))
    said = resumed(tmp_path, "why").out
    after = said.split("Why this now:")[1].strip().splitlines()
    assert not after[0].startswith(("-", " "))
    assert "min" in " ".join(after[:2])


@pytest.mark.parametrize("check", load_rules().checks.values(), ids=lambda one: one.id)
def test_every_check_whose_dangers_were_shown_before_fits_one_screen(
    check: Check, capsys: pytest.CaptureFixture[str]
) -> None:
    session = Session(load_rules(), RATED)
    step = session.step_for(check.id)
    known = reminder_words(session.knowledge, step.cautions)
    show_check(Screen(), step.model_copy(update={"cautions": ()}), 99, known)
    lines = capsys.readouterr().out.splitlines()
    # Below come the plan and the verdict (two lines each), the question, the words, the prompt.
    assert len(lines) + 7 <= 24
    assert max(map(len, lines)) <= 80


def test_what_is_too_long_for_a_terminal_comes_by_pages(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    pages: list[str] = []

    def turned(_prompt: str) -> str:
        pages.append(capsys.readouterr().out)
        return ""

    monkeypatch.setattr("builtins.input", turned)
    monkeypatch.setattr("stillflow.cli.lines._stream", Terminal)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("LINES", "24")
    screen = Screen()
    screen._console._force_terminal = True
    with screen.sheet():
        screen.items(str(number) for number in range(60))
    pages.append(capsys.readouterr().out)
    assert len(pages) == 3
    assert all(len(page.splitlines()) <= 22 for page in pages)
    assert [line.split()[-1] for line in "".join(pages).splitlines()] == list(map(str, range(60)))


def test_why_a_danger_is_looked_at_once_more_speaks_of_no_fault(tmp_path: Path) -> None:
    begun(tmp_path, ("danger-signs", "smoke"))
    said = resumed(tmp_path, "no", "why", "3", "yes").out
    again = said.split("once more")[2]
    assert "the visit ends here" in again
    assert "Why this now:" not in again and "now likely" not in again


@pytest.mark.parametrize("line", ["part 1.2.3 x gasket at 5", "price call 99999999999"])
def test_a_count_or_price_that_cannot_be_is_one_line(line: str) -> None:
    with pytest.raises(InputError, match=r"is no count|cannot be"):
        note_said(line, None)
