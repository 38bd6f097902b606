"""Recorded calls are what the tool says, screen by screen as a terminal of 80 by 24 shows them."""

from __future__ import annotations

from pathlib import Path

import pytest
from recordings import CALLS, FOLDER, screens

FILES = sorted(FOLDER.glob("*.txt"))


def test_three_calls_are_recorded() -> None:
    assert {path.stem for path in FILES} == set(CALLS)
    assert len(FILES) >= 3


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_screen_of_a_recording_fits_a_terminal(path: Path) -> None:
    shown = screens(path.read_text(encoding="utf-8"))
    assert len(shown) > 3
    assert max(len(line) for one in shown for line in one.splitlines()) <= 80
    # The last is the summary; that, what is known and why come by pages on a terminal.
    for one in shown[:-1]:
        step = one[one.rfind("-" * 80) :] if "-" * 80 in one else one
        if "Why this now:" in step or "Where we are" in step:
            continue
        assert len(step.splitlines()) <= 24, step


def test_recordings_show_a_step_a_where_a_why_a_note_and_a_second_look() -> None:
    text = "".join(path.read_text(encoding="utf-8") for path in FILES)
    for words in ("After that, most likely", "Where we are", "Why this now", "noted", "Is it so?"):
        assert words in text or words.capitalize() in text, words
    assert "Taken from the complaint" in text
    assert "CAUTION As before" in text
