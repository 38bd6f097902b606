"""Intervals and names on drawn faults (2,000 of them in the benchmark)."""

from __future__ import annotations

from types import ModuleType

import pytest


@pytest.fixture(scope="module")
def drawn(trial: ModuleType):
    return trial.run_trial(20240501, 300)


def test_the_true_size_is_inside_the_90_percent_interval_as_often_as_that_says(drawn):
    assert 0.85 <= drawn.inside.mean() <= 0.95


def test_the_right_stretch_is_named_first_when_the_fault_shows(drawn):
    assert drawn.visible.mean() > 0.8
    assert drawn.told[drawn.visible].mean() >= 0.90


def test_the_true_cause_is_named_or_said_to_be_ambiguous(drawn):
    assert drawn.among[drawn.visible].mean() >= 0.95


def test_one_fault_is_found_enough_for_one_fault(drawn):
    assert drawn.explained.mean() >= 0.97
