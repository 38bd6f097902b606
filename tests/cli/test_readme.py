"""The README: its commands are there, and the output it shows is what the commands print."""

from __future__ import annotations

from pathlib import Path

from readme import CHARTS, README, ROOT, drawn, fresh


def test_the_output_shown_is_what_the_commands_print() -> None:
    # If this fails after a change that is meant: python tests/support/readme.py
    text = README.read_text()
    assert fresh(text) == text


def test_both_commands_are_where_the_build_looks_for_them() -> None:
    text = README.read_text()
    assert text.count("<!-- main command -->\n```sh\n") == 1
    assert text.count("<!-- test command -->\n```sh\n") == 1
    assert "stillflow demo" in text.split("<!-- main command -->")[1].split("```")[1]


def test_the_charts_shown_are_what_the_commands_draw() -> None:
    # If this fails after a change that is meant: python tests/support/readme.py
    text = CHARTS.read_text()
    charts = drawn(text)
    assert len(charts) == 3
    for path, data in charts.items():
        assert f"({Path(path).name})" in text
        assert (ROOT / path).read_bytes() == data, path
