"""Labels are made safe for every format, and cut to the room they have."""

from __future__ import annotations

import unicodedata
import xml.etree.ElementTree as ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stillflow.engine.charts.text import clean, escape, is_measured, width, wrap

ANY_TEXT = st.text(st.characters(), max_size=300)


def test_widths_are_those_of_the_published_typeface() -> None:
    # Adobe's metrics file of Helvetica (1985-1990), from memory: A 667, space 278, bold A 722.
    assert width("A", 1000) == 667
    assert width(" ", 1000) == 278
    assert width("A", 1000, bold=True) == 722


@given(ANY_TEXT)
def test_a_cleaned_label_is_one_line_without_control_characters(text: str) -> None:
    cleaned = clean(text)
    assert not any(unicodedata.category(c) in ("Cc", "Cs") for c in cleaned)
    assert cleaned == " ".join(cleaned.split())
    assert clean(cleaned) == cleaned
    cleaned.encode("utf-8")


def test_marks_that_turn_the_direction_of_later_labels_are_dropped() -> None:
    assert clean("a\u202eb\u2066c") == "abc"
    assert clean("שלום") == "שלום"


@given(ANY_TEXT)
def test_an_escaped_label_reads_back_from_xml_as_it_was(text: str) -> None:
    element = ElementTree.fromstring(f'<a b="{escape(text, "svg")}">{escape(text, "svg")}</a>')
    assert (element.text or "") == clean(text)
    assert element.get("b") == clean(text)


@given(ANY_TEXT)
def test_an_escaped_label_cannot_end_a_mermaid_string_or_begin_markup(text: str) -> None:
    escaped = escape(text, "mermaid")
    assert not set(escaped) & set('"<>`&\\|')


@given(ANY_TEXT, st.floats(40, 300), st.booleans())
def test_wrapping_loses_nothing_and_keeps_to_the_room(text: str, room: float, bold: bool) -> None:
    lines = wrap(text, room, 10, bold)
    assert "".join(lines).replace(" ", "") == clean(text).replace(" ", "")
    assert all(width(line, 10, bold) <= room for line in lines)


def test_a_number_is_not_parted_from_its_percent_sign() -> None:
    assert wrap("as likely as 12 %, or so", width("as likely as 12", 10), 10) == (
        "as likely as",
        "12 %, or so",
    )


def test_letters_of_scripts_without_published_widths_get_ample_room() -> None:
    assert width("漢字", 10) == 20
    assert width("é", 10) == width("e", 10)
    assert not is_measured("é")


@pytest.mark.parametrize("text", ["", "   ", "\n\t"])
def test_an_empty_label_has_no_lines(text: str) -> None:
    assert wrap(text, 100, 10) == ()
