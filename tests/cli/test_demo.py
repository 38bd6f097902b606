"""`stillflow demo` and `why`: one call from start to finish, and how it was found."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
from command import Outcome, stillflow

from stillflow.casebook.files import load_visit
from stillflow.casebook.store import Casebook
from stillflow.cli.describe import show_reading
from stillflow.cli.screen import Screen
from stillflow.engine import Session, load_rules
from stillflow.engine.dialogue import CheckStep


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[Outcome, Path]:
    folder = tmp_path_factory.mktemp("demo") / "out"
    return stillflow("demo", "--out", str(folder)), folder


def test_the_demo_goes_from_complaint_to_verified_fix(played: tuple[Outcome, Path]) -> None:
    outcome, folder = played
    assert outcome.code == 0
    order = ["An invented call", "1. ", "fix: ", "> done", "Restored", "Summary", "Measured after"]
    places = [outcome.out.index(words) for words in order]
    assert places == sorted(places)
    assert max(len(line) for line in outcome.out.splitlines()) <= 80
    assert {"visit.yaml", "summary.txt", "reasoning.svg"} <= {one.name for one in folder.iterdir()}


def test_the_reasons_for_a_step_stand_under_its_question(played: tuple[Outcome, Path]) -> None:
    one, two = (played[0].out.split(f"\n{number}. ")[1] for number in (1, 2))
    assert one.index("Safety first") < one.index("\n> ")
    assert two.index("From here about") < two.index("\n> ")
    assert "Next best" not in played[0].out
    assert "The runner-up was:" in played[0].out


def test_the_ending_is_said_once_and_stands_in_the_file(played: tuple[Outcome, Path]) -> None:
    outcome, folder = played
    assert outcome.out.count("Restored") == 1
    assert "end: Restored" in (folder / "summary.txt").read_text()


def test_the_page_goes_from_before_to_after_and_doubts_no_proved_fix(
    played: tuple[Outcome, Path],
) -> None:
    page = (played[1] / "summary.txt").read_text()
    places = ["Measured before:", "Looked at", "done:", "Measured after:"]
    assert sorted(places, key=page.index) == places
    assert "likeliest" not in page and "%" not in page


def test_why_of_a_visit_that_is_over_lists_nothing_as_likely_after_its_fix(
    played: tuple[Outcome, Path],
) -> None:
    before, after = stillflow("why", str(played[1] / "visit.yaml")).out.split("After fix 1")
    assert "then likely" in before
    assert "At the hose end" in after
    for words in ("likely", "likeliest", "What speaks on", "Ruled out"):
        assert words not in after


def test_a_reading_that_proves_a_fix_is_not_followed_by_what_else_might_be_wrong(
    played: tuple[Outcome, Path],
) -> None:
    visit = load_visit(played[1] / "visit.yaml")
    fixed = next(index for index, event in enumerate(visit.events) if event.is_fix)
    for count in (fixed, fixed + 2):
        last = [one for one in visit.events[:count] if isinstance(one.answer, float)][-1]
        session = Session(load_rules(), visit.model_copy(update={"events": visit.events[:count]}))
        shown = StringIO()
        step = CheckStep.model_construct(id=last.check, **_point(session, str(last.check)))
        show_reading(Screen(shown), session, step)
        assert ("likeliest" in shown.getvalue()) is (count == fixed)
        assert "hose end" in shown.getvalue()


def _point(session: Session, check_id: str) -> dict[str, object]:
    check = session.knowledge.checks[check_id]
    return {"station": check.station, "condition": check.condition}


def test_why_and_next_of_a_stopped_visit_list_nothing_as_likely(tmp_path: Path) -> None:
    path = tmp_path / "stopped.yaml"
    path.write_text("stillflow: 1\nevents: [{check: danger-signs, answer: burning-smell}]\n")
    for command in ("why", "next"):
        said = stillflow(command, str(path)).out
        assert "There is a burning smell." in said
        assert "likely" not in said
        assert "filter" not in said
    drawn = stillflow("why", str(path), "--chart", "-", "--format", "mermaid").out
    assert "Stop. There is a burning smell." in drawn
    assert "%" not in drawn


def test_cautions_stand_before_the_steps_of_the_fix(played: tuple[Outcome, Path]) -> None:
    text = played[0].out
    fix = text[text.index(". fix: ") :]
    assert "CAUTION" in fix
    assert fix.index("CAUTION") < fix.index("  1. ")


def test_the_visit_it_leaves_comes_to_the_same_end(played: tuple[Outcome, Path]) -> None:
    visit = load_visit(played[1] / "visit.yaml")
    step = Session(load_rules(), visit).next_step()
    assert step.step == "done"
    assert visit.conclusion is not None
    assert step.faults[0].id == visit.conclusion.fault


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    outcome = stillflow("demo", "--out", str(tmp_path / "file" / "under"))
    assert outcome.code == 2
    assert len(outcome.err.splitlines()) == 1


def test_why_tells_the_order_of_asking_the_rules_and_their_sources(
    played: tuple[Outcome, Path],
) -> None:
    outcome = stillflow("why", str(played[1] / "visit.yaml"))
    assert outcome.code == 0
    for words in ("Asked, in order:", "What speaks on", "source:", "fix:", "After fix 1"):
        assert words in outcome.out
    assert max(len(line) for line in outcome.out.splitlines()) <= 80


def test_why_takes_the_id_of_a_kept_visit(played: tuple[Outcome, Path], tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'casebook.db'}"
    visit = load_visit(played[1] / "visit.yaml")
    kept = Casebook(url).begin(visit)
    by_id = stillflow("why", kept.id[:13], "--db", url)
    by_file = stillflow("why", str(played[1] / "visit.yaml"))
    assert by_id.code == 0
    assert by_id.out == by_file.out


@pytest.mark.parametrize("ending", ["svg", "png", "dot"])
def test_why_draws_the_reasoning_path(
    played: tuple[Outcome, Path], tmp_path: Path, ending: str
) -> None:
    path = tmp_path / f"path.{ending}"
    outcome = stillflow("why", str(played[1] / "visit.yaml"), "--chart", str(path))
    assert outcome.code == 0, outcome.err
    mark = {"svg": b"<svg", "png": b"\x89PNG", "dot": b"digraph {"}[ending]
    assert mark in path.read_bytes()


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("nowhere.yaml",), "nowhere.yaml"),
        (("--chart", "x.tiff"), "tiff"),
    ],
)
def test_why_says_what_is_wrong_in_one_line(
    played: tuple[Outcome, Path], args: tuple[str, ...], words: str
) -> None:
    visit = () if args[0].endswith("yaml") else (str(played[1] / "visit.yaml"),)
    outcome = stillflow("why", *visit, *args)
    assert outcome.code == 2
    assert words in outcome.err
    assert len(outcome.err.splitlines()) == 1
