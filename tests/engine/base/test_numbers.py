"""Numbers as people say them."""

from __future__ import annotations

import pytest

from stillflow.engine.base import capital_first, in_figures, small_first


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (14 / 0.3048, "45.9"),
        (31 / 0.249089, "124.5"),
        (1.25, "1.25"),
        (0.9375, "0.9375"),
        (12345.0, "12345"),
    ],
)
def test_what_was_converted_is_shown_as_it_would_be_measured(value: float, said: str) -> None:
    assert in_figures(value) == said


def test_a_sentence_begins_large_and_stands_small_within_another() -> None:
    assert capital_first("the O-ring leaks") == "The O-ring leaks"
    assert small_first("The O-ring leaks") == "the O-ring leaks"
    assert capital_first("") == small_first("") == ""
