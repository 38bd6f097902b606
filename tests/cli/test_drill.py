"""`stillflow drill`: played at the prompt and marked; an exam taken up again."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from command import Outcome, stillflow

from stillflow.casebook.marks import read_marks
from stillflow.cli.drill import LETTERS, show_open, show_told
from stillflow.cli.screen import Screen
from stillflow.engine import load_rules
from stillflow.engine.drill import CAUTIOUS, Drill, Order, build_house
from stillflow.engine.views import DANGERS


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    return tmp_path / "marks.jsonl"


def drill(kept: Path, *args: str, typed: str = "") -> Outcome:
    return stillflow("drill", "--marks", str(kept), *args, typed=typed)


def quiet_seed() -> int:
    """A seed of a house without a danger."""
    rules = load_rules()
    return next(seed for seed in range(50) if not build_house(rules, Order(seed)).danger)


def test_a_drill_is_played_reviewed_and_marked(kept: Path, tmp_path: Path) -> None:
    seed = str(quiet_seed())
    chart = tmp_path / "way.svg"
    typed = "danger-signs\nslider-look\nfix hose-clogged\n\nleave\n"
    outcome = drill(kept, "--seed", seed, "--trainee", "Ann", "--chart", str(chart), typed=typed)
    assert (outcome.code, outcome.err) == (0, "")
    for part in ("A call", "on the clock", "What it comes to", "The planner's way", "To practise"):
        assert part in outcome.out
    assert "CAUTION" in outcome.out
    assert chart.read_bytes().startswith(b"<")
    (mark,) = read_marks(kept)
    assert (mark.trainee, mark.seed, mark.steps) == ("Ann", int(seed), 3)
    assert max(map(len, outcome.out.splitlines())) <= 80


def test_lists_fit_a_small_terminal_and_the_rest_comes_with_enter(kept: Path) -> None:
    outcome = drill(kept, "--seed", "1", typed="checks\n\nmeasure\nfixes\n\n?\nsaid\nstop\n")
    assert "Enter shows the rest." in outcome.out
    for name in ("slider-look", "where-weak", "sealed-unit", "hose-clogged", "danger"):
        assert name in outcome.out
    lists = re.findall(r"(?:^ {0,2}\d+ [a-z]+-[a-z].*\n)+", outcome.out, re.MULTILINE)
    assert len(lists) == 5
    assert all(one.count("\n") <= 17 for one in lists)
    assert "not marked" in outcome.out
    assert not kept.exists()


def test_words_are_searched_for_and_numbers_are_done(kept: Path) -> None:
    seed = str(quiet_seed())
    ask = load_rules().checks["slider-look"].ask
    first = drill(kept, "--seed", seed, typed=f"{ask.rstrip('?')}\nstop\n")
    number = re.search(rf"(\d+) check: {re.escape(ask[:30])}", first.out)
    assert number is not None
    second = drill(kept, "--seed", seed, typed=f"{number[1]}\nstop\n")
    assert re.search(rf"{re.escape(ask)}\n> \w", second.out)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("999", "nothing with the number 999"),
        ("0", "nothing with the number 0"),
        ("slidder-look", "did you mean 'slider-look'"),
        ("works-now", "nothing was fixed yet"),
        ("", "nothing typed"),
        ("²", "nothing is like"),
        ("9" * 5000, "nothing with the number"),
    ],
)
def test_what_cannot_be_done_is_a_line_and_asked_again(kept: Path, typed: str, said: str) -> None:
    outcome = drill(kept, "--seed", "1", typed=f"{typed}\nstop\n")
    assert outcome.code == 0
    assert said in " ".join(outcome.out.split())
    assert outcome.out.count("What next?") == 2


def test_a_danger_minded_is_said_and_one_walked_past_costs(kept: Path) -> None:
    seed = str(quiet_seed())
    typed = "danger-signs\nintake-look\n3\nm p u\nstop\n"
    minded = drill(kept, "--seed", seed, typed=typed)
    # A number is a check or a fix, never a danger, so one typed too soon does nothing.
    assert f"Type letters of {' '.join(LETTERS)}" in minded.out
    assert "WALKED PAST" not in minded.out
    assert set(LETTERS.values()) == set(CAUTIOUS) == set(DANGERS)
    needless = drill(kept, "--seed", seed, typed="danger-signs\nintake-look\nm p u h\nstop\n")
    assert "guarded against what is not here (+1 min)" in needless.out
    past = drill(kept, "--seed", seed, typed="danger-signs\nintake-look\n\nstop\n")
    assert past.out.count("WALKED PAST") == 3
    assert "+20 min" in past.out
    back = drill(kept, "--seed", seed, typed="danger-signs\nintake-look\nback\nsaid\nstop\n")
    assert "WALKED PAST" not in back.out


def test_hints_and_explanations_are_those_of_a_visit(kept: Path) -> None:
    seed = str(quiet_seed())
    outcome = drill(kept, "--seed", seed, "--hint", "--explain", typed="danger-signs\nleave\n")
    assert f"hint: {load_rules().checks['danger-signs'].ask[:30]}" in outcome.out
    assert "to a verified fix" in outcome.out
    assert "now likely" in outcome.out
    (mark,) = read_marks(kept)
    assert mark.hints == 2


def test_a_hint_says_each_sentence_once(kept: Path) -> None:
    seed = str(quiet_seed())
    outcome = drill(kept, "--seed", seed, typed="danger-signs\nhint\nstop\n")
    hint = " ".join(outcome.out.split("hint:")[1].split("What next?")[0].split())
    sentences = [one for one in re.split(r"(?<=[.])(?: - | )", hint) if len(one) > 30]
    assert len(sentences) == len(set(sentences))
    assert "0 min on the clock" in outcome.out


def test_an_exam_explains_nothing_unasked(kept: Path) -> None:
    refused = drill(kept, "--set", "4", "--explain")
    assert refused.code == 2
    assert "--explain" in refused.err
    outcome = drill(kept, "--set", "4", typed="explain\nstop\n")
    assert "an exam tells nothing unasked" in outcome.out


@pytest.mark.slow
def test_an_exam_goes_on_where_it_was_left_and_ends_in_a_table(kept: Path) -> None:
    first = drill(kept, "--set", "4", "--trainee", "Bo", typed="leave\nleave\nstop\n")
    assert "Exam 4, house 3 of 10" in first.out
    assert "stillflow drill --set 4" in first.out
    rest = drill(kept, "--set", "4", "--trainee", "Bo", typed="leave\n" * 8)
    assert "house 1 of 10" not in rest.out
    assert "Exam 4, house 10 of 10" in rest.out
    assert rest.out.rstrip().endswith("A house not played counts 0.")
    assert len(read_marks(kept)) == 10
    # Another trainee gets the same houses.
    other = drill(kept, "--set", "4", "--trainee", "Cy", typed="leave\nstop\n")
    house = re.search(r"house ([0-9a-f]{12})", first.out)
    assert house is not None
    assert house[1] in other.out


def test_marks_are_shown_as_tables_as_json_and_as_a_plot(kept: Path, tmp_path: Path) -> None:
    for trainee in ("Ann", "Bo"):
        drill(kept, "--set", "1", "--trainee", trainee, typed="leave\nleave\nstop\n")
    everybody = drill(kept, "marks")
    assert "Ann" in everybody.out
    assert "Bo" in everybody.out
    table = drill(kept, "marks", "--set", "1")
    assert re.search(r"Ann +\d+ +\d+ +-", table.out)
    page = drill(kept, "marks", "--trainee", "Bo")
    assert "mean mark" in page.out
    assert "Ann" not in page.out
    listed = json.loads(drill(kept, "marks", "--json").out)["marks"]
    assert [one["trainee"] for one in listed] == ["Ann", "Ann", "Bo", "Bo"]
    plot = tmp_path / "progress.svg"
    assert drill(kept, "marks", "--chart", str(plot)).code == 0
    assert b"Ann" in plot.read_bytes()


@pytest.mark.parametrize(
    ("args", "part"),
    [
        (("--fault", "bag-ful"), "did you mean 'bag-full'"),
        (("--complaint", "weak"), "weak-"),
        (("--seed", "-1"), "whole number"),
        (("--level", "4"), "--level"),
        (("--set", "1", "--seed", "2"), "fixed"),
        (("--chart", "way.doc"), "format"),
        (("--trainee", " "), "letters"),
        (("--fault", "nothing-wrong", "--level", "3"), "one fault only"),
    ],
)
def test_what_cannot_be_is_one_line_and_code_2(
    kept: Path, args: tuple[str, ...], part: str
) -> None:
    outcome = drill(kept, *args)
    assert outcome.code == 2
    assert part in outcome.err
    assert outcome.err.count("\n") == 1
    assert outcome.out == ""


def test_input_that_ends_is_said_and_nothing_is_marked(kept: Path) -> None:
    outcome = drill(kept, "--seed", "1", typed="danger-signs\n")
    assert outcome.code == 0
    assert "not marked" in outcome.out
    assert not kept.exists()


def test_a_damaged_marks_file_is_one_line(kept: Path) -> None:
    kept.write_text("nonsense\n", encoding="utf-8")
    outcome = drill(kept, "marks")
    assert outcome.code == 2
    assert "marks.jsonl:1" in outcome.err


def test_after_a_fix_nothing_is_likely_before_it_is_proved_and_a_hose_on_the_floor_is_not_open(
    capsys: pytest.CaptureFixture[str],
) -> None:
    knowledge = load_rules()
    played = Drill(knowledge, build_house(knowledge, Order(quiet_seed())))
    by_id = {one.id: one for one in played.choices}
    for name in ("danger-signs", "hose-look", "hose-clogged"):
        step = played.do(by_id[name])
    show_told(Screen(), played, by_id["hose-clogged"], step)
    show_open(Screen(), played)
    said = capsys.readouterr().out
    assert "likely" not in said
    assert "Open now" not in said


def test_a_stop_for_danger_is_looked_at_twice_and_the_call_can_be_seen_again(kept: Path) -> None:
    seed = str(quiet_seed())
    outcome = drill(kept, "--seed", seed, typed="danger\nno\ncall\nstop\n")
    assert outcome.out.count("The unit and the house:") == 2
    assert "stopped for nothing" not in outcome.out
    ended = drill(kept, "--seed", seed, "--trainee", "Ann Lee", typed="danger\nyes\n")
    assert "Mark: 100, less 100 for stopped for nothing: 0." in ended.out
    page = stillflow("drill", "--marks", str(kept), "marks", "--trainee", "ann lee")
    assert "100 for stopped for nothing" in page.out


def test_an_exam_left_is_taken_up_again_by_the_command_it_names(kept: Path) -> None:
    outcome = drill(kept, "--set", "1", "--trainee", "Ann Lee", typed="stop\n")
    assert "stillflow drill --set 1 --trainee 'Ann Lee'" in outcome.out
