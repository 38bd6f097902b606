"""Drawn houses and gauge noise."""

from __future__ import annotations

import numpy as np
import pytest

from stillflow.engine.airflow.draw import draw_houses, gauge_noise
from stillflow.engine.airflow.gauge import readings_table
from stillflow.engine.airflow.points import EVERY_POINT


def test_drawn_houses_differ_and_are_healthy(house):
    luck = np.random.default_rng(1)
    drawn = draw_houses(luck, 300, house, (0, 7000))
    drawn = drawn.with_fan(luck.uniform(90, 140, 300), luck.uniform(90, 130, 300))
    table = readings_table(drawn, EVERY_POINT)
    sealed, working = table[:, 0::2], table[:, 1::2]
    assert np.ptp(sealed, axis=1) == pytest.approx(0.0, abs=1e-3)
    assert (np.diff(working[:, [0, 2, 3]], axis=1) < 0).all()
    assert np.std(working[:, 2]) > 5
    assert (drawn["tap_ft"] <= drawn["trunk.length_ft"][:, None]).all()


def test_the_same_seed_draws_the_same_houses(house):
    one, two = (draw_houses(np.random.default_rng(7), 20, house, (0, 7000)) for _ in range(2))
    assert all(np.array_equal(one[key], two[key], equal_nan=True) for key in one.value)


def test_gauge_noise_stays_within_the_tolerance():
    table = np.full((1000, 4), 80.0)
    noisy = gauge_noise(np.random.default_rng(1), table, 0.02)
    assert 78.4 <= noisy.min() < 78.6
    assert 81.4 < noisy.max() <= 81.6
