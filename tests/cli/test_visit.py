"""`stillflow visit`: the guided visit as an apprentice meets it, on a pipe and when killed."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from unittest import mock

import pytest
from command import Outcome, stillflow

from stillflow.casebook.ids import short_id
from stillflow.casebook.store import Casebook
from stillflow.cli.prompt import understand_fix
from stillflow.engine import Session, load_rules
from stillflow.engine.base import InputError, SetupError
from stillflow.engine.inference.visit import Event, Unit, Visit

CALL = ["Fern Cottage", "", "weak everywhere", "", ""]
UNIT = ["130", "114", "9", "bag", "", ""]
INTAKE = [*CALL, *UNIT]


def url(folder: Path) -> str:
    return f"sqlite:///{folder / 'casebook.db'}"


def visit(folder: Path, *lines: str, args: tuple[str, ...] = ()) -> Outcome:
    typed = "".join(f"{line}\n" for line in lines)
    return stillflow("visit", "--db", url(folder), *args, typed=typed)


def kept(folder: Path) -> Visit:
    return Casebook(url(folder)).open_visits()[0]


def test_every_answer_typed_is_kept_and_the_visit_can_be_resumed(tmp_path: Path) -> None:
    first = visit(tmp_path, *INTAKE, "none", "can't tell", "skip")
    assert first.code == 0
    assert "--resume" in first.out
    assert [event.answer for event in kept(tmp_path).events] == ["none", "can't tell", "skipped"]
    assert kept(tmp_path).site.name == "Fern Cottage"
    assert kept(tmp_path).unit.rated_sealed == 130
    again = visit(tmp_path, "can't do here", args=("--resume",))
    assert again.code == 0
    assert [event.answer for event in kept(tmp_path).events][-1] == "can't do here"
    assert "Name of the house" not in again.out


def test_a_fix_that_cannot_be_done_here_is_left_undone() -> None:
    for line in ("can't do here", "Can't", "skip", "no"):
        assert understand_fix(line).answer == "no"
    with pytest.raises(InputError, match="is not an answer"):
        understand_fix("can't tell")


def test_an_open_visit_is_offered_and_may_be_left_for_a_new_one(tmp_path: Path) -> None:
    visit(tmp_path, *INTAKE, "none")
    taken = visit(tmp_path, "yes", "skip")
    assert "Fern Cottage" in taken.out
    assert len(kept(tmp_path).events) == 2
    visit(tmp_path, "no", "Moss House")
    assert {one.site.name for one in Casebook(url(tmp_path)).open_visits()} == {
        "Fern Cottage",
        "Moss House",
    }


def test_back_takes_the_last_answer_off_the_record(tmp_path: Path) -> None:
    outcome = visit(tmp_path, *INTAKE, "can't tell", "back", "skip")
    assert outcome.code == 0
    assert [event.answer for event in kept(tmp_path).events] == ["skipped"]


def test_back_at_the_first_step_says_so_and_asks_on(tmp_path: Path) -> None:
    outcome = visit(tmp_path, *INTAKE, "back", "skip")
    assert "first step" in outcome.out
    assert len(kept(tmp_path).events) == 1


def test_what_was_mended_or_is_not_there_can_be_said_before_it_is_proposed(tmp_path: Path) -> None:
    lines = ["none", "done: hose", "done: wombat", "Not there: folded bag"]
    lines += ["not there: bag collapsed", "done: bag full"]
    outcome = visit(tmp_path, *INTAKE, *lines, "stop")
    assert "faults go by 'hose': " in outcome.out
    assert "no fault goes by 'wombat'" in outcome.out
    # What says a part of one is not taken for it.
    assert "'folded bag' may be: the bag is folded over its collar" in outcome.out
    assert "if so, not there: bag-collapsed" in " ".join(outcome.out.split())
    assert "Taken as mended: the bag is full, or fine dust has plugged it. Or: back" in outcome.out
    said = [(one.fix, one.done, one.found) for one in kept(tmp_path).events if one.fix]
    assert said == [("bag-collapsed", False, False), ("bag-full", True, None)]


def test_a_visit_written_up_from_paper_has_the_day_it_was_made_on(tmp_path: Path) -> None:
    lines = [*INTAKE, "none", "can't tell", "stop"]
    args = ("visit", "--db", url(tmp_path))
    outcome = stillflow(*args, "--date", "2024-03-04", typed="\n".join(lines) + "\n")
    assert outcome.code == 0, outcome.err
    made = kept(tmp_path)
    assert f"{made.opened:%Y-%m-%d}" == "2024-03-04"
    assert {f"{one.at:%Y-%m-%d}" for one in made.events} == {"2024-03-04"}
    # Who goes on with it later goes on with that day.
    went_on = visit(tmp_path, "can't tell", "stop", args=("--resume",))
    assert "written up from paper, as of 2024-03-04" in " ".join(went_on.out.split())
    assert {f"{one.at:%Y-%m-%d}" for one in kept(tmp_path).events} == {"2024-03-04"}
    for day, said in (("2999-01-01", "2999-01-01 is yet to come"), ("4.3.24", "write it as 2026")):
        refused = stillflow(*args, "--date", day, typed="")
        assert refused.code == 2
        assert said in refused.err


def test_where_the_casebook_was_deleted_a_stop_does_not_end_well(tmp_path: Path) -> None:
    live = Live(tmp_path)
    live.say(*INTAKE, "skip")
    assert live.prompt()
    for file in tmp_path.glob("casebook.db*"):
        file.unlink()
    live.type("stop")
    live.prompt()
    assert live.process.wait(timeout=20) == 1
    assert "has been deleted, so nothing of it is kept" in " ".join(live.screen.split())


def test_how_and_why_are_answered_and_record_nothing(tmp_path: Path) -> None:
    outcome = visit(tmp_path, *INTAKE, "none", "?", "why", "stop")
    assert outcome.code == 0
    assert "How to:" in outcome.out
    assert "Why this now:" in outcome.out
    assert "min to the end" in outcome.out
    assert len(kept(tmp_path).events) == 1


def test_nonsense_is_answered_with_what_would_be_right_and_asked_again(tmp_path: Path) -> None:
    outcome = visit(tmp_path, *CALL, "a lot", *UNIT, "wibble", "skip")
    assert "'a lot' is not a number" in outcome.out
    assert "wibble" in outcome.out
    assert len(kept(tmp_path).events) == 1


def answer_for(screen: str) -> str:
    """What a technician types at the last prompt, in a house whose bag is full."""
    block = screen.rsplit("-" * 80, 1)[-1]
    if "Done?" in block or "Was it done?" in block:
        return "yes"
    if "Type the reading" in block:
        fixed = "Done?" in screen
        sealed, working = (129, 75) if fixed else (129, 52)
        at_hose = "at the hose end" in block
        return str(sealed) if "sealed." in block else str(working - (14 if at_hose else 0))
    for words in (
        "None of these",
        "At every inlet",
        "It fills",
        "packed",
        "It does",
        "Yes, ",
        "Nothing of",
    ):
        found = re.search(rf"^  (\d+) [^\n]*{re.escape(words)}", block, re.MULTILINE)
        if found:
            return found[1]
    return "can't tell"


class Live:
    """A visit in a process of its own, typed to line by line."""

    def __init__(self, folder: Path, *args: str) -> None:
        environment = {**os.environ, "STILLFLOW_DB": url(folder), "NO_COLOR": "1"}
        # A shell without job control starts what it puts in the background deaf to an interrupt.
        hears = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)"
        code = f"{hears}; from stillflow.cli.main import main; main()"
        self.process = subprocess.Popen(
            [sys.executable, "-c", code, "visit", *args],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=environment,
        )
        self.screen = ""

    def prompt(self) -> bool:
        """Read up to the next prompt; False when the process has ended."""
        assert self.process.stdout is not None
        piece = b""
        while not piece.endswith(b"\n> "):
            byte = self.process.stdout.read(1)
            if not byte:
                self.screen += piece.decode()
                return False
            piece += byte
        self.screen += piece.decode()
        return True

    def type(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{line}\n".encode())
        self.process.stdin.flush()

    def say(self, *lines: str) -> None:
        """Type each line at a prompt of its own."""
        for line in lines:
            assert self.prompt()
            self.type(line)

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


@pytest.mark.parametrize("every", [4, pytest.param(1, marks=pytest.mark.slow)])
def test_killed_at_prompt_after_prompt_a_visit_still_ends_with_nothing_asked_twice(
    tmp_path: Path, every: int
) -> None:
    live = Live(tmp_path)
    live.say(*INTAKE)
    answered = 0
    whole = ""
    for _ in range(40):
        if not live.prompt():
            break
        if answered % every == 0:
            # At this prompt everything typed before is on disk; kill, resume, and go on.
            live.kill()
            assert len(kept(tmp_path).events) == answered
            whole += live.screen
            live = Live(tmp_path, "--resume")
            assert live.prompt()
        live.type(answer_for(whole + live.screen))
        answered += 1
    assert "Summary" in live.screen
    assert Casebook(url(tmp_path)).open_visits() == []
    [ended] = Casebook(url(tmp_path)).recent(1)
    assert len(ended.events) == answered
    assert ended.conclusion is not None
    asked = [(event.check, event.fix) for event in ended.events if event.answer != "skipped"]
    before = asked[: next(i for i, (_, fix) in enumerate(asked) if fix)]
    assert len(before) == len(set(before))


def test_an_interrupt_keeps_what_was_answered_and_exits_with_130(tmp_path: Path) -> None:
    live = Live(tmp_path)
    live.say(*INTAKE, "skip")
    assert live.prompt()
    live.process.send_signal(signal.SIGINT)
    assert live.process.wait(timeout=20) == 130
    assert len(kept(tmp_path).events) == 1


def test_no_line_is_wider_than_the_screen_and_no_colour_leaks_into_a_pipe(tmp_path: Path) -> None:
    outcome = visit(tmp_path, *INTAKE, "?", "why", "can't tell", "?", "why", "skip", "?", "why")
    assert max(len(line) for line in outcome.out.splitlines()) <= 80
    assert "\x1b" not in outcome.out


def test_resuming_when_nothing_is_open_is_one_line(tmp_path: Path) -> None:
    outcome = visit(tmp_path, args=("--resume",))
    assert outcome.code == 2
    assert len(outcome.err.splitlines()) == 1


@pytest.mark.parametrize("bad", ["nonsense", "sqlite:////no/such/folder/x.db"])
def test_a_store_that_cannot_be_opened_is_one_line(bad: str) -> None:
    outcome = stillflow("visit", "--db", bad)
    assert outcome.code == 2
    assert len(outcome.err.splitlines()) == 1


def test_a_fault_that_is_not_there_is_put_on_record_as_such(tmp_path: Path) -> None:
    session = Session(load_rules(), Visit(unit=Unit(filter="bag"), described=True))
    session.record("danger-signs", "none")
    session.record("bag-look", "full")
    while (step := session.next_step()).check is not None:
        session.record(step.check.id, "can't tell")
    assert step.fix is not None
    Casebook(url(tmp_path)).begin(session.visit)
    visit(tmp_path, "not there", args=("--resume",))
    event = kept(tmp_path).events[-1]
    assert (event.fix, event.done, event.found) == (step.fix.fault, False, False)


def test_the_questions_of_the_call_take_back_help_and_stop(tmp_path: Path) -> None:
    lines = ["back", "Fern", "?", "back", "Fern Cottage", "", "?", "weak", "stop"]
    outcome = visit(tmp_path, *lines)
    assert outcome.code == 0
    assert "first question" in outcome.out
    assert "As it was said" in outcome.out
    assert kept(tmp_path).site.name == "Fern Cottage"
    assert kept(tmp_path).complaint == "weak"
    assert f"--resume {short_id(kept(tmp_path).id)}" in " ".join(outcome.out.split())
    assert "Stopped." in outcome.out


def test_where_nothing_is_kept_nobody_is_told_to_go_on_later() -> None:
    outcome = stillflow("visit", "--db", "sqlite://", typed="Fern Cottage\nstop\n")
    assert "go on with" not in outcome.out
    assert "in memory" in outcome.out


def test_a_name_cannot_reach_the_terminal_as_an_escape_sequence(tmp_path: Path) -> None:
    visit(tmp_path, "Fern\x1b[2JCottage", "stop")
    outcome = visit(tmp_path, "no")
    assert "\x1b" not in outcome.out.split("Go on with it?")[0]
    assert "\\u001b[2J" in outcome.out


def test_an_answer_that_could_not_be_kept_is_not_believed(tmp_path: Path) -> None:
    with mock.patch.object(Casebook, "drop_last_event", autospec=True) as drop:
        drop.side_effect = SetupError("it is in use by another program")
        outcome = visit(tmp_path, *INTAKE, "none", "back", "back", "can't tell")
    assert "in use" in outcome.out
    assert [event.answer for event in kept(tmp_path).events] == ["none", "can't tell"]
    add = Casebook.add_event
    calls = iter([True, False])

    def failing(self: Casebook, known: Visit, event: Event) -> Visit:
        if next(calls, False):
            raise SetupError("it is in use by another program")
        return add(self, known, event)

    with mock.patch.object(Casebook, "add_event", failing):
        visit(tmp_path, "skip", "back", args=("--resume",))
    # What was never kept cannot be taken back: the last answer that is kept is what goes.
    assert [event.answer for event in kept(tmp_path).events] == ["none"]


def test_a_power_of_two_is_not_the_number_two(tmp_path: Path) -> None:
    outcome = visit(tmp_path, *INTAKE, "²", "9" * 4400, "skip")
    assert outcome.code == 0
    assert len(kept(tmp_path).events) == 1


def test_why_at_a_question_about_danger_says_which_answers_end_the_visit(tmp_path: Path) -> None:
    said = " ".join(visit(tmp_path, *INTAKE, "why", "stop").out.split())
    assert "A burning smell: the visit ends here. There is a burning smell." in said
    assert "A burning smell: then likeliest" not in said
    assert "None of these: then likeliest" in said


def test_until_a_fix_is_proved_why_calls_the_rest_what_else_there_might_be(tmp_path: Path) -> None:
    session = Session(load_rules(), Visit(unit=Unit(filter="bag"), described=True))
    session.record("danger-signs", "none")
    session.record("bag-look", "full")
    session.record_fix("bag-full")
    assert session.next_step().verifying == "bag-full"
    Casebook(url(tmp_path)).begin(session.visit)
    said = visit(tmp_path, "why", "stop", args=("--resume",)).out
    assert "if that was not all, likely" in said
    assert "now likely" not in said
    assert "then likeliest" not in said


def test_a_label_read_late_is_kept_and_believed_and_survives_resuming(tmp_path: Path) -> None:
    lines = [*CALL, *[""] * len(UNIT), "none", "the label says 125", "label says 114 cfm"]
    outcome = visit(tmp_path, *lines)
    assert "sealed 125 inH2O" in " ".join(outcome.out.split())
    assert kept(tmp_path).unit == Unit(rated_sealed=125, rated_airflow=114)
    assert [event.answer for event in kept(tmp_path).events] == ["none"]
    again = visit(tmp_path, "unit", args=("--resume",))
    assert "label: 125" in again.out


def test_a_change_that_could_not_be_kept_is_not_believed(tmp_path: Path) -> None:
    visit(tmp_path, *INTAKE, "none")
    with mock.patch.object(Casebook, "save_header", autospec=True) as save:
        save.side_effect = SetupError("it is in use by another program")
        outcome = visit(tmp_path, "label says 60", "unit", args=("--resume",))
    assert "in use" in outcome.out
    assert "label: 130" in outcome.out


def test_no_check_is_offered_that_needs_what_is_missing(tmp_path: Path) -> None:
    visit(tmp_path, *CALL[:-1], "no gauge", *UNIT, "none")
    assert "gauge" in kept(tmp_path).missing_tools
    session = Session(load_rules(), kept(tmp_path))
    while (step := session.next_step()).check is not None and session.progress.events < 40:
        assert "gauge" not in step.check.tools
        session.record(step.check.id, "can't tell")


def test_a_tool_may_turn_out_missing_at_any_prompt_and_when_resuming(tmp_path: Path) -> None:
    visit(tmp_path, *INTAKE, "none", "no gauge today")
    assert "gauge" in kept(tmp_path).missing_tools
    visit(tmp_path, args=("--resume", "--without", "tissue"))
    assert {"gauge", "tissue"} <= set(kept(tmp_path).missing_tools)
    visit(tmp_path, "have gauge", args=("--resume",))
    assert "gauge" not in kept(tmp_path).missing_tools


def test_what_the_complaint_says_is_shown_and_can_be_taken_back(tmp_path: Path) -> None:
    lines = [*CALL[:2], "weak everywhere since I emptied it", "", "", *UNIT, "none"]
    said = " ".join(visit(tmp_path, *lines).out.split())
    assert 'Taken from the complaint (if that is wrong: not so): - "since i emptied' in said
    assert '"everywhere": Where is the suction weak? At every inlet alike.' in said
    again = visit(tmp_path, "not so", args=("--resume",))
    assert kept(tmp_path).not_taken == ("what-before", "where-weak")
    assert "where is the suction weak" in " ".join(again.out.lower().split())
    assert Session(load_rules(), kept(tmp_path)).progress.heard == {}


def test_two_answers_that_are_both_true_can_be_given_at_once(tmp_path: Path) -> None:
    visit(tmp_path, *INTAKE, "2 and 3")
    assert kept_ended(tmp_path).events[-1].answer == "burning-smell + smoke"


def kept_ended(folder: Path) -> Visit:
    return Casebook(url(folder)).recent(1)[0]


def test_two_readings_with_the_gauge_in_one_place_are_asked_in_one_go(tmp_path: Path) -> None:
    sheets: list[str] = []
    # How many questions come before the first reading is the planner's affair.
    for number, before in enumerate((0, 1, 2, 3)):
        folder = tmp_path / str(number)
        folder.mkdir()
        out = visit(folder, *INTAKE, "none", *["can't tell"] * before, "121", "30").out
        sheets = re.split("-{40,}", out)
        told = [i for i, one in enumerate(sheets) if "most likely comes next." in one]
        if told and "> 121" in sheets[told[0]]:
            break
    first = told[0]
    station = re.search(r"Gauge ([^,]+), (sealed|working)", sheets[first])
    assert station is not None
    other = {"sealed": "working", "working": "sealed"}[station[2]]
    assert f"Gauge {station[1]}, {other}." in sheets[first + 1]
    # How it goes on was said with the first of them.
    assert "After that" in sheets[first]
    assert "After that" not in sheets[first + 1]


def test_a_house_nobody_knows_is_begun_aloud_and_asked_once_whose_it_is(tmp_path: Path) -> None:
    line = "Dora Finch, 7 Fern Row, Larkham, 555 0100"
    said = visit(tmp_path, "Moss House", "?", line, "stop").out
    assert "No house by that name yet: a new one is begun." in said
    assert said.count("Whose house, which street, phone?") == 2
    assert "unit customer Dora Finch; unit street 12 Quarry Lane" in " ".join(said.split())
    told = "Taken: customer Dora Finch; street 7 Fern Row, Larkham; phone 555 0100."
    assert told in " ".join(said.split())
    site = kept(tmp_path).site
    assert (site.customer, site.address, site.phone) == (
        "Dora Finch",
        "7 Fern Row, Larkham",
        "555 0100",
    )
    for words in ("finch", "fern row", "0100"):
        assert "Moss House" in stillflow("sites", "find", words, "--db", url(tmp_path)).out
    again = visit(tmp_path, "stop", args=("--new",)).out
    assert "Whose house" not in again


def test_whose_house_it_is_can_be_left_for_later_and_said_anew(tmp_path: Path) -> None:
    said = visit(tmp_path, "Moss House", "Fern Row", "back", "7 Fern Row", "back", "", "stop").out
    said = " ".join(said.split())
    assert "Taken: customer Fern Row." in said
    assert "(now: customer Fern Row)" in said
    assert "(now: street 7 Fern Row)" in said
    site = kept(tmp_path).site
    assert (site.customer, site.address, site.phone) == ("", "7 Fern Row", "")


def test_what_is_with_the_person_is_said_back(tmp_path: Path) -> None:
    said = " ".join(visit(tmp_path, *INTAKE[:4], "only gauge", "stop").out.split())
    assert "Not with you: light ball" in said
    assert "suction gauge" not in said.split("Not with you:")[1].split(".")[0]


def test_what_is_no_answer_is_refused_without_an_id(tmp_path: Path) -> None:
    said = visit(tmp_path, *INTAKE, "there is none", "stop").out
    assert "danger-signs" not in said
    assert "'there is none' is not one of the answers; type 1, 2" in said


def test_the_two_answers_named_as_an_example_can_be_given(tmp_path: Path) -> None:
    lines = [*CALL[:2], "weak", "", "", *UNIT, "none"]
    one, two = re.findall(r"or two such as (\d) and (\d)", visit(tmp_path, *lines).out)[-1]
    visit(tmp_path, f"{one} and {two}", args=("--resume",))
    assert " + " in str(kept(tmp_path).events[-1].answer)


def test_a_reading_that_goes_with_nothing_is_looked_at_again_before_it_is_recorded(
    tmp_path: Path,
) -> None:
    url = f"sqlite:///{tmp_path}/casebook.db"
    unit = "--rated-sealed 130 --rated-airflow 114 --age 6 --motors 1 --filter bag"
    lines = ["Bell End", "weak", *[""] * 12, "1", "3 at hall", "sealed 129 at hall"]
    lines += ["working 76 at hall", "working 77 at den", "sealed 2 at den", "sealed 128 at den"]
    outcome = stillflow("visit", "--new", "--db", url, *unit.split(), typed="\n".join(lines))
    assert "Sealed at the den inlet, 2 does not go with the rest" in outcome.out
    assert "That is 128 of 130" in " ".join(outcome.out.split())
    assert "Hand over" not in outcome.out
    shown = stillflow("visits", "export", "--db", url).out
    assert "128" in shown
    assert not re.search(r"answer: 2\b", shown)
