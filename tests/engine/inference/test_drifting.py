"""The drift of a house: a least-squares line with the gauge's scatter, seldom a false alarm."""

from __future__ import annotations

import numpy as np
import pytest

from stillflow.engine.inference import drift, drifting

WEAK = 0.82
NOISE = 0.02


def test_line_and_interval_are_those_of_scipy() -> None:
    from scipy import optimize, stats  # takes a second, which only who runs this shall wait for

    years, shares = [2021.2, 2022.1, 2023.4, 2025.0], [0.99, 0.95, 0.96, 0.90]
    found = drift(years, shares, NOISE, WEAK)
    assert found is not None
    oracle = stats.linregress(years, shares)
    assert found.per_year == pytest.approx(oracle.slope, rel=1e-9)
    assert found.now == pytest.approx(oracle.intercept + oracle.slope * years[-1], rel=1e-9)
    _, covariance = optimize.curve_fit(
        lambda x, a, b: a + b * (x - 2023), years, shares, sigma=[NOISE] * 4, absolute_sigma=True
    )
    half = stats.norm.ppf(0.975) * np.sqrt(covariance[1, 1])
    assert found.high - found.per_year == pytest.approx(half, rel=1e-3)
    assert found.weak_by == pytest.approx((WEAK - found.now) / found.per_year)


def test_visits_that_scatter_more_than_the_gauge_have_the_interval_of_students_t() -> None:
    from scipy import stats

    years, shares = [2023.0, 2024.0, 2025.0], [0.745, 0.719, 0.837]
    found = drift(years, shares, 0.0153, WEAK)
    assert found is not None
    oracle = stats.linregress(years, shares)
    half = stats.t.ppf(0.975, 1) * oracle.stderr
    assert found.high - found.per_year == pytest.approx(half, rel=1e-3)
    assert found.low < 0.0 < found.high
    falling = drift(years, [0.9, 0.7, 0.8], 0.0153, WEAK)
    assert falling is not None
    assert falling.per_year < -2.6 * 0.0153 / 2**0.5
    assert not falling.declining


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 6, 9, 20, 60])
def test_quantiles_are_those_of_scipy(freedom: int) -> None:
    from scipy import stats

    assert drifting._student(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=2e-3)
    assert drifting._chi_square(freedom) == pytest.approx(stats.chi2.ppf(0.99, freedom), rel=0.02)


def test_two_visits_or_visits_of_one_day_make_no_trend() -> None:
    assert drift([2020.0, 2021.0], [1.0, 0.9], NOISE, WEAK) is None
    assert drift([2020.0] * 3, [1.0, 0.9, 0.8], NOISE, WEAK) is None


def looked_at(generator: np.random.Generator, per_year: float) -> list[bool]:
    """At each yearly visit from the third on: whether sealed or working is called declining."""
    first = generator.uniform(0.95, 1.03)
    years = np.arange(8) + generator.uniform(-0.1, 0.1, 8)
    told = []
    both = [first * (1 + per_year * years) * generator.normal(1, NOISE, 8) for _ in range(2)]
    for count in range(3, 9):
        trends = [drift(list(years[:count]), list(one[:count]), NOISE, WEAK) for one in both]
        told.append(any(one is not None and one.declining for one in trends))
    return told


def test_houses_in_good_order_are_seldom_called_declining() -> None:
    generator = np.random.default_rng(7)
    alarms = sum(any(looked_at(generator, 0.0)) for _ in range(200))
    assert alarms / 200 < 0.05


def test_a_slow_decline_is_named_two_visits_before_it_is_weak() -> None:
    generator = np.random.default_rng(8)
    named = []
    for _ in range(200):
        per_year = -generator.uniform(0.02, 0.035)
        told = looked_at(generator, per_year)
        # The visit at which suction is weak, or the last one if it is not weak by then.
        weak_at = min(int(np.ceil((1 - WEAK) / -per_year)), 8)
        named.append(told[max(weak_at - 2 - 3, 0)])
    assert np.mean(named) > 0.95


def test_a_fall_of_a_twentieth_a_year_by_hand() -> None:
    """Slope -.05; its deviation is .02 over the root of (1 + 0 + 1)."""
    found = drift([2020.0, 2021.0, 2022.0], [1.0, 0.95, 0.90], NOISE, WEAK)
    assert found is not None
    error = NOISE / 2**0.5
    assert found.per_year == pytest.approx(-0.05)
    assert found.low == pytest.approx(-0.05 - 1.96 * error)
    assert found.high == pytest.approx(-0.05 + 1.96 * error)
    assert (found.now, found.next_year) == pytest.approx((0.90, 0.85))
    assert found.weak_by == pytest.approx(0.08 / 0.05)
    assert found.declining


@pytest.mark.parametrize(("deviations", "declining"), [(2.5, False), (2.7, True), (-2.7, False)])
def test_a_fall_is_sure_past_so_many_deviations(deviations: float, declining: bool) -> None:
    fall = deviations * NOISE / 2**0.5
    found = drift([0.0, 1.0, 2.0], [1.0, 1.0 - fall, 1.0 - 2 * fall], NOISE, WEAK)
    assert found is not None
    assert found.declining is declining


def test_what_is_weak_already_is_so_now_and_what_does_not_fall_never_is() -> None:
    weak = drift([0.0, 1.0, 2.0], [0.8, 0.7, 0.6], NOISE, WEAK)
    level = drift([0.0, 1.0, 2.0], [0.9, 0.9, 0.9], NOISE, WEAK)
    rising = drift([0.0, 1.0, 2.0], [0.7, 0.8, 0.9], NOISE, WEAK)
    assert weak is not None and level is not None and rising is not None
    assert (weak.weak_by, level.weak_by, rising.weak_by) == (0.0, None, None)
