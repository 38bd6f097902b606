"""What leaves stillflow leaves by one way, and nothing that people named moves a cursor there."""

from __future__ import annotations

import ast
import json
from pathlib import Path

import pytest
from command import stillflow

from stillflow import cli

PAST = ("click.echo", "click.secho", "print", "sys.stdout.write", "sys.stderr.write")
VISIT = """stillflow: 1
site: {name: "Fern \\e[31m\\u202ecottage\\x9b2J"}
unit: {rated_sealed: 130, rated_airflow: 114}
events: [{check: sealed-inlet, answer: 90}]
"""
FAULTS = """faults:
  - id: shop-clog
    title: "A clog \\e[2J\\x9b2J in the wall"
    place: tubing
    mode: obstruction
    how_common: common
    effect: {kind: throat, at: trunk, diameter_in: [0.5, 1.2]}
    confirm: Seen through the inlet.
    fix: {minutes: 20, steps: [Draw it out.]}
    after: Working is back.
    source: common-practice
"""


def test_nothing_in_the_command_line_writes_past_the_one_way_out() -> None:
    (folder,) = cli.__path__
    modules = sorted(Path(folder).glob("*.py"))
    assert len(modules) > 20
    past = [
        f"{path.name}:{node.lineno} {ast.unparse(node.func)}"
        for path in modules
        if path.name != "output.py"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and ast.unparse(node.func) in PAST
    ]
    assert past == []


@pytest.mark.parametrize(
    "arguments",
    [
        ("rules", "list", "faults", "--rules", "FOLDER"),
        ("rules", "list", "faults", "--json", "--rules", "FOLDER"),
        ("rules", "coverage", "--rules", "FOLDER"),
        ("rules", "coverage", "--json", "--rules", "FOLDER"),
        ("rules", "show", "shop-clog", "--rules", "FOLDER"),
        ("next", "VISIT", "--json", "--rules", "FOLDER"),
        ("why", "VISIT", "--rules", "FOLDER"),
        ("chart", "faults", "--table", "--format", "csv", "--out", "-", "--rules", "FOLDER"),
        ("chart", "faults", "--table", "--format", "json", "--out", "-", "--rules", "FOLDER"),
        *(
            ("chart", "stations", "VISIT", "--format", form, "--out", "-")
            for form in ("svg", "dot", "mermaid", "json")
        ),
    ],
    ids=" ".join,
)
def test_what_people_called_things_cannot_move_the_cursor(
    tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    (tmp_path / "faults.yaml").write_text(FAULTS, encoding="utf-8")
    visit = tmp_path / "visit.txt"
    visit.write_text(VISIT, encoding="utf-8")
    names = {"FOLDER": str(tmp_path), "VISIT": str(visit)}
    outcome = stillflow(*(names.get(one, one) for one in arguments))
    assert (outcome.code, outcome.err) == (0, "")
    assert len(outcome.out) > 100
    assert not {"\x1b", "\x9b", "\u202e"} & set(outcome.out)


def test_json_for_programs_still_holds_the_very_name(tmp_path: Path) -> None:
    (tmp_path / "faults.yaml").write_text(FAULTS, encoding="utf-8")
    outcome = stillflow("rules", "list", "faults", "--json", "--rules", str(tmp_path))
    titles = {row["title"] for row in json.loads(outcome.out)}
    assert "A clog \x1b[2J\x9b2J in the wall" in titles
