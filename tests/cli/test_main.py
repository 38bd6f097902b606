"""The command as a whole: help, unknown commands, interrupts."""

from __future__ import annotations

import subprocess
import sys
from unittest import mock

import pytest
from command import stillflow

from stillflow.cli.main import COMMANDS, group


def test_help_names_every_command() -> None:
    outcome = stillflow("--help")
    assert outcome.code == 0
    for name in COMMANDS:
        assert name in outcome.out


def test_the_bare_command_shows_its_help() -> None:
    assert stillflow().out == stillflow("--help").out


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_that_fits_the_screen(name: str) -> None:
    outcome = stillflow(name, "--help")
    assert outcome.code == 0
    assert max(len(line) for line in outcome.out.splitlines()) <= 80


def test_an_unknown_command_is_one_line_with_the_nearest() -> None:
    outcome = stillflow("vist")
    assert outcome.code == 2
    assert outcome.err.strip() == "stillflow: there is no command 'vist'; did you mean 'visit'?"


def test_an_interrupt_ends_with_code_130() -> None:
    with mock.patch.object(group, "main", side_effect=KeyboardInterrupt):
        outcome = stillflow("demo")
    assert outcome.code == 130
    assert outcome.err == "stillflow: interrupted\n"


def test_help_imports_neither_the_engine_nor_the_store() -> None:
    # What makes help quick; the time itself is shown in tests/benchmarks.
    code = (
        "import sys\n"
        "from stillflow.cli.main import run\n"
        "run(['--help'])\n"
        "heavy = {'numpy', 'pydantic', 'sqlalchemy', 'scipy', 'pint', 'experta', 'fluids'}\n"
        "sys.exit(', '.join(heavy & set(sys.modules)) or 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_a_next_step_needs_no_optimiser_no_store_and_no_charts(tmp_path: object) -> None:
    code = (
        "import sys, pathlib\n"
        f"path = pathlib.Path({str(tmp_path)!r}) / 'v.yaml'\n"
        "path.write_text('stillflow: 1\\nunit: {rated_sealed: 130, rated_airflow: 114}\\n')\n"
        "from stillflow.cli.main import run\n"
        "run(['next', str(path), '--json'])\n"
        "heavy = {'sqlalchemy', 'scipy.optimize', 'pint', 'graphviz', 'matplotlib'}\n"
        "sys.exit(', '.join(heavy & set(sys.modules)) or 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
