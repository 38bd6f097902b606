"""Whatever is typed, named or missing is one line; exit code 2, or 1 if the machine is at fault."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from pathlib import Path
from unittest import mock

import pytest
from command import stillflow

from stillflow.casebook.store import Casebook

NOT_TEXT = os.fsdecode(b"\xff")
LONG = "a" * 300
READ = ("read", "--sealed", "90", "--rated-sealed", "130", "--rated-airflow", "114")


def url(folder: Path) -> str:
    return f"sqlite:///{folder / 'casebook.db'}"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("why", NOT_TEXT), "this is not text"),
        (("visit", "--resume", NOT_TEXT), "this is not text"),
        (("chart", "stations", NOT_TEXT), "this is not text"),
        (("next", NOT_TEXT), "there is no such file"),
        (("rules", "show", NOT_TEXT), "there is no entry"),
        (("read", "--sealed", NOT_TEXT), "is not a number"),
        (("why", LONG), "there is no visit"),
        (("next", LONG), "it cannot be read (file name too long)"),
        (("rules", "check", "--rules", LONG), "there is no such folder of rules"),
        (("casebook", "replay", "--cases", LONG), "there is no such folder of cases"),
        (("chart", "faults", "--out", f"{LONG}.svg"), "file name too long"),
        (("demo", "--out", LONG), "file name too long"),
        (("visit", "--new", "--wrong-part", "nan"), "'nan' is not a number"),
        (("read", "--sealed", "90", "--age", "nan"), "'nan' is not a number"),
        (("read", "--sealed", "9" * 4301), "is not a number"),
        (("casebook", "replay", "--generated", "9" * 4301), "is not a valid integer"),
        (("chart", "faults", "--worth", "nan"), "'nan' is not a share"),
    ],
    ids=lambda value: ascii(value)[:40],
)
def test_a_name_or_number_that_cannot_be_is_one_line_with_exit_code_2(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], says: str
) -> None:
    monkeypatch.setenv("STILLFLOW_DB", url(tmp_path))
    monkeypatch.chdir(tmp_path)
    outcome = stillflow(*arguments)
    assert outcome.code == 2
    assert outcome.err.count("\n") == 1
    assert says in outcome.err


def test_a_file_that_cannot_be_read_is_one_line(tmp_path: Path) -> None:
    for name in ("visit.yaml", "rules/x.yaml"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        with socket.socket(socket.AF_UNIX) as one:  # not to be opened, by its owner neither
            one.bind(str(tmp_path / name))
    visit = stillflow("next", str(tmp_path / "visit.yaml"))
    rules = stillflow("rules", "list", "--rules", str(tmp_path / "rules"))
    for outcome in (visit, rules):
        assert (outcome.code, outcome.err.count("\n")) == (2, 1)
        assert "it cannot be read" in outcome.err


def test_a_folder_without_worked_cases_is_refused(tmp_path: Path) -> None:
    (tmp_path / "case.yml").write_text("title: A case\n")
    outcome = stillflow("casebook", "replay", "--cases", str(tmp_path), "--db", url(tmp_path))
    assert (outcome.code, outcome.err.count("\n")) == (2, 1)
    assert "no worked case is in this folder" in outcome.err


@pytest.mark.parametrize("closed", [True, False], ids=["closed", "empty"])
def test_where_nothing_can_be_typed_no_visit_is_left_behind(tmp_path: Path, closed: bool) -> None:
    if closed:
        with mock.patch("stillflow.cli.lines.sys") as system:
            system.stdin = None
            outcome = stillflow("visit", "--new", "--db", url(tmp_path))
        assert (outcome.code, outcome.err.count("\n")) == (2, 1)
    else:
        outcome = stillflow("visit", "--new", "--db", url(tmp_path))
        assert "No visit was begun." in outcome.out
    assert Casebook(url(tmp_path)).open_visits() == []


def _run(*arguments: str, **environment: str) -> tuple[int, bytes, bytes]:
    code = "import sys\nfrom stillflow.cli.main import main\nmain(sys.argv[1:])\n"
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        env={**os.environ, **environment},
        check=False,
    )
    return done.returncode, done.stdout, done.stderr


@pytest.mark.parametrize(
    ("letters", "shown"),
    # Plain ASCII is mostly a terminal whose language nobody has set, so click writes UTF-8 there.
    [("ascii", "Ж".encode()), ("cp1252", rb"\u0416")],
)
def test_a_terminal_with_few_letters_is_served_all_the_same(
    tmp_path: Path, letters: str, shown: bytes
) -> None:
    (tmp_path / "Ж.yaml").write_text("accounts: []\n", encoding="utf-8")
    code, out, err = _run("rules", "check", "--rules", str(tmp_path), PYTHONIOENCODING=letters)
    assert (code, err) == (2, b"")
    assert shown + b".yaml:1, accounts: 'accounts' is not a section" in out
    code, _, err = _run("why", "Ж", "--db", url(tmp_path), PYTHONIOENCODING=letters)
    assert (code, err.count(b"\n")) == (2, 1)
    assert shown in err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a full device")
@pytest.mark.parametrize("arguments", [READ, ("rules", "list"), ("--help",)], ids=" ".join)
def test_output_that_nobody_can_take_is_the_machines_fault(arguments: tuple[str, ...]) -> None:
    code = (
        "import os, sys\n"
        "os.dup2(os.open('/dev/full', os.O_WRONLY), 1)\n"
        "from stillflow.cli.main import main\n"
        "main(sys.argv[1:])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], stderr=subprocess.PIPE, text=True, check=False
    )
    assert done.returncode == 1
    assert done.stderr == (
        "stillflow: the machine refused to read or write (no space left on device)\n"
    )
