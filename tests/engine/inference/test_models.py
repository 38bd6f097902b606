"""The record of a visit and what is made of it stay as they were made."""

from __future__ import annotations

from frozen import changeable


def test_records_and_conclusions_cannot_be_changed_after_they_were_made() -> None:
    assert changeable("stillflow.engine.inference") == set()
