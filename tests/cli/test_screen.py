"""What the terminal shows: wrapped, and nothing torn apart in the wrapping."""

from __future__ import annotations

from io import StringIO

import pytest

from stillflow.cli.screen import WIDTH, Screen


@pytest.mark.parametrize("room", range(6))
def test_a_number_is_not_parted_from_its_percent_sign(room: int) -> None:
    words = "x" * (WIDTH - room - 6) + " (12 %)"
    for write in (Screen.text, lambda screen, line: screen.item("", line, 0)):
        out = StringIO()
        write(Screen(out), words)
        lines = out.getvalue().splitlines()
        assert " ".join(line.strip() for line in lines) == words
        assert any("(12 %)" in line for line in lines)
        assert max(map(len, lines)) <= WIDTH
