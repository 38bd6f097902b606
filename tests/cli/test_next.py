"""`stillflow next` and `schema`: a visit file in, the next step out."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command import stillflow

EMPTY = "stillflow: 1\n"
BEGUN = """
stillflow: 1
unit: {rated_sealed: 130, rated_airflow: 114}
events:
  - {check: sealed-inlet, answer: 128}
  - {check: working-inlet, answer: 7.5 kPa}
"""


def file_of(folder: Path, text: str | bytes) -> str:
    path = folder / "visit.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return str(path)


def test_a_visit_with_no_observations_gives_a_first_check_twice_the_same(tmp_path: Path) -> None:
    name = file_of(tmp_path, EMPTY)
    first, second = stillflow("next", name, "--json"), stillflow("next", name, "--json")
    assert first == second
    assert first.code == 0
    step = json.loads(first.out)
    assert step["step"] == "check"
    keys = {"id", "ask", "kind", "station", "condition", "inlet", "unit", "answers", "minutes"}
    assert set(step["check"]) >= keys | {"cautions"}
    assert set(step) >= {"step", "check", "fix", "faults", "modes", "baseline", "because"}


def test_a_fix_has_its_steps_and_cautions(tmp_path: Path) -> None:
    text = EMPTY + "unit: {filter: bag}\nevents: [{check: bag-look, answer: full}]\n"
    step = json.loads(stillflow("next", file_of(tmp_path, text), "--json").out)
    while step["step"] == "check":
        text = text.rstrip("]\n") + f", {{check: {step['check']['id']}, answer: can't tell}}]\n"
        step = json.loads(stillflow("next", file_of(tmp_path, text), "--json").out)
    assert step["step"] == "fix"
    assert step["fix"]["fault"] == "bag-full"
    assert set(step["fix"]) >= {"fault", "title", "minutes", "steps", "cautions"}
    assert step["fix"]["cautions"]


def test_the_page_for_people_gives_cautions_before_the_question(tmp_path: Path) -> None:
    outcome = stillflow("next", file_of(tmp_path, BEGUN))
    assert outcome.code == 0
    assert max(len(line) for line in outcome.out.splitlines()) <= 80


def test_readings_in_other_units_are_understood_in_a_file(tmp_path: Path) -> None:
    step = json.loads(stillflow("next", file_of(tmp_path, BEGUN), "--json").out)
    assert next(iter(step["modes"])) == "obstruction"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["empty"]),
        ("- a\n- b\n", ["mapping"]),
        ("stillflow: 1\nunit: [\n", ["visit.yaml:", "not valid YAML"]),
        (EMPTY + "sight: {}\n", ["visit.yaml:2", "'sight' is not a known key", "'site'"]),
        (EMPTY + "events:\n  - {check: sealed-inlt, answer: 90}\n", [":3", "'sealed-inlet'"]),
        (EMPTY + "events:\n  - {fix: bag-ful, done: true}\n", [":3", "'bag-full'"]),
        (EMPTY + "events:\n  - {check: sealed-inlet, answer: -9}\n", [":3", "cannot be"]),
        (EMPTY + "events:\n  - {check: sealed-inlet, answer: 90 cfm}\n", [":3", "unit"]),
        (EMPTY + "events:\n  - {check: bag-look, answer: fulll}\n", [":3", "one of:"]),
        (EMPTY + "unit: {rated_sealed: -4}\n", ["rated_sealed"]),
        (EMPTY + "unit: {rated_sealed: 40 cfm}\n", ["rated_sealed"]),
        ("stillflow: 99\n", ["99"]),
        (b"\xff\xfe\x00\x01", ["visit.yaml"]),
        ("x: '" + "y" * 10_000_000 + "'\n", ["visit.yaml"]),
        ("x: " + "[" * 50_000, ["visit.yaml"]),
    ],
    ids=lambda value: str(value)[:24],
)
def test_a_bad_file_is_one_clear_line_and_exit_code_two(
    tmp_path: Path, text: str | bytes, words: list[str]
) -> None:
    outcome = stillflow("next", file_of(tmp_path, text), "--json")
    assert outcome.code == 2
    assert len(outcome.err.splitlines()) == 1
    assert outcome.out == ""
    for word in words:
        assert word in outcome.err


@pytest.mark.parametrize("name", ["nowhere.yaml", "."])
def test_a_file_that_is_not_there_is_one_line(name: str) -> None:
    outcome = stillflow("next", name)
    assert outcome.code == 2
    assert len(outcome.err.splitlines()) == 1


def test_the_schema_of_the_visit_file_is_json_schema() -> None:
    outcome = stillflow("schema", "visit")
    assert outcome.code == 0
    schema = json.loads(outcome.out)
    assert schema["type"] == "object"
    assert {"site", "unit", "events"} <= set(schema["properties"])
    assert json.loads(stillflow("schema", "step").out)["type"] == "object"
