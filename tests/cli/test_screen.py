"""What the terminal shows: wrapped, and nothing torn apart in the wrapping."""

from __future__ import annotations

from io import StringIO

import pytest

from stillflow.cli.screen import WIDTH, Screen, within


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


class Terminal(StringIO):
    """A text stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def test_a_terminal_gets_styles_and_never_the_control_characters_of_a_name(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    shown = Terminal()
    screen = Screen(shown)
    screen.head("The \x1b[2J call", "now")
    screen.text("Hall\x1b[31m", style="bold")
    screen.table(("na\x1b[1mme", "share"), [("a\x07b", "1")])
    said = shown.getvalue()
    assert "\x1b[1m" in said
    assert "\\u001b[2J" in said
    assert "\\u001b[31m" in said
    assert "\\u001b[1mme" in said
    assert "\\u0007" in said
    assert "\x1b[2J" not in said
    assert "\x1b[31m" not in said
    # Styles are the screen's own, and all of them are escape codes, none written out.
    assert "\\u001b[0m" not in said


@pytest.mark.parametrize(
    ("words", "most", "cut"),
    [
        ("Lindholm, 4 Tarn Row, 0555 017 077", 40, "Lindholm, 4 Tarn Row, 0555 017 077"),
        ("Lindholm, 4 Tarn Row, 0555 017 077", 32, "Lindholm, 4 Tarn Row, ..."),
        ("A house with a very long name indeed", 20, "A house with a ve..."),
        ("Ursel Halloway", 9, "Ursel..."),
    ],
)
def test_what_is_cut_says_so_and_no_number_is_cut_in_two(words: str, most: int, cut: str) -> None:
    assert within(words, most) == cut
    assert len(within(words, most)) <= most
