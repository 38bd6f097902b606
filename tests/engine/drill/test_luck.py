"""Chance that falls the same everywhere: stored draws, and what draws must be like."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest

from stillflow.engine.drill.luck import Luck


def test_the_draws_are_those_of_every_other_machine() -> None:
    luck = Luck(7, "x")
    assert luck.random() == 0.9938509138599935
    assert luck.normal() == pytest.approx(0.46074130950324754, abs=1e-12)
    assert luck.integers(3, 13) == 8
    assert luck.permutation(5).tolist() == [2, 4, 1, 3, 0]
    assert luck.choice(4, p=[0.1, 0.2, 0.3, 0.4]) == 3


def test_bits_alone_decide_so_that_another_numpy_draws_the_same() -> None:
    raw = Luck(11, "bits").bit_generator.random_raw(4)
    assert Luck(11, "bits").random(4).tolist() == [(int(one) >> 11) / 2**53 for one in raw]


def test_what_it_is_for_makes_other_draws_of_the_same_seed() -> None:
    first, second, again = (Luck(3, name).random(5) for name in ("house", "answer", "house"))
    assert (first == again).all()
    assert (first != second).all()


@pytest.mark.parametrize(
    ("drawn", "mean", "spread"),
    [
        (Luck(1).random(20_000), 0.5, 12**-0.5),
        (Luck(2).uniform(2.0, 4.0, 20_000), 3.0, 2 * 12**-0.5),
        (Luck(3).normal(5.0, 2.0, 20_000), 5.0, 2.0),
        (Luck(4).integers(0, 10, 20_000), 4.5, (99 / 12) ** 0.5),
        (Luck(5).choice(3, 20_000, p=[0.5, 0.0, 0.5]), 1.0, 1.0),
    ],
    ids=["random", "uniform", "normal", "integers", "choice"],
)
def test_draws_lie_as_they_should(drawn: np.ndarray, mean: float, spread: float) -> None:
    assert abs(drawn.mean() - mean) < 4 * spread / len(drawn) ** 0.5
    assert drawn.std() == pytest.approx(spread, rel=0.03)


def test_the_bell_curve_has_its_tails() -> None:
    drawn = np.sort(Luck(6).normal(size=10_000))
    for share in (0.01, 0.25, 0.9, 0.99):
        assert drawn[int(share * 10_000)] == pytest.approx(NormalDist().inv_cdf(share), abs=0.12)


def test_shapes_and_kinds_are_as_numpy_gives_them() -> None:
    luck = Luck(9)
    assert luck.random((2, 3)).shape == (2, 3)
    assert luck.uniform(np.zeros(4), 1.0).shape == (4,)
    assert luck.normal(np.zeros(3), np.ones(3)).shape == (3,)
    assert isinstance(luck.integers(5), int)
    assert luck.choice(["a", "b"], p=[1.0, 0.0]) == "a"
    assert sorted(luck.permutation(["c", "a", "b"])) == ["a", "b", "c"]
