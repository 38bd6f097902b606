"""What is said when house or unit turn out to be other than was thought."""

from __future__ import annotations

from stillflow.engine import Session, Unit, Visit, load_rules
from stillflow.engine.dialogue.changes import change_words

RATED = Visit(unit=Unit(rated_sealed=130, rated_airflow=114))


def test_a_corrected_label_is_said_with_what_should_now_be_read() -> None:
    lower = Visit(unit=Unit(rated_sealed=100, rated_airflow=114))
    before, after = Session(load_rules(), RATED), Session(load_rules(), lower)
    words = change_words(before, after)
    assert "label 100" in words
    assert "sealed 100 inH2O (130 before)" in words
    assert change_words(after, after) == "That is known already."


def test_a_change_that_leaves_the_baseline_alone_says_nothing_of_it() -> None:
    after = Session(load_rules(), RATED.model_copy(update={"missing_tools": ("gauge",)}))
    words = change_words(Session(load_rules(), RATED), after)
    assert "without" in words
    assert "inH2O" not in words
