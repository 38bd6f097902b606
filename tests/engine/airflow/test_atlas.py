"""The table of causes: rows at once as one by one, and when a cause fits."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2

from stillflow.engine.airflow.atlas import AMBIGUOUS_RISE, INTERVAL_RISE, Atlas, within_tolerance
from stillflow.engine.airflow.backwards import estimate
from stillflow.engine.airflow.causes import CAUSES, VARIANTS
from stillflow.engine.airflow.estimate_facts import FACT_NAMES, fact_columns, plain_facts
from stillflow.engine.airflow.findings import Reading
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.points import EVERY_POINT
from stillflow.engine.base.errors import InputError


def rows(count: int) -> np.ndarray:
    """Readings of all kinds with about half missing, never all."""
    generator = np.random.default_rng(11)
    table = generator.uniform(20, 135, (count, len(EVERY_POINT)))
    table[:, 0::2] = np.maximum(table[:, 0::2], table[:, 1::2])
    table[generator.uniform(size=table.shape) < 0.5] = np.nan
    table[np.isnan(table).all(axis=1), 0] = 100.0
    return table


def test_facts_of_many_rows_are_those_of_each_estimate(house):
    table = rows(40)
    coded = fact_columns(Atlas(house), table, 0.03)
    assert list(coded) == [name for name in FACT_NAMES if name in coded]
    assert set(coded) == set(FACT_NAMES)
    for index, row in enumerate(table):
        taken = [
            Reading(station=point.station, condition=point.condition, inh2o=value)
            for point, value in zip(EVERY_POINT, row, strict=True)
            if np.isfinite(value)
        ]
        alone = estimate(taken, house).facts()
        together = plain_facts(coded, index)
        assert together.keys() == alone.keys()
        for name, value in alone.items():
            if isinstance(value, float):
                assert together[name] == pytest.approx(value, rel=1e-4, abs=1e-4), name
            else:
                assert together[name] == value, name


def test_the_table_is_what_the_model_reads(house):
    atlas = Atlas(house)
    assert atlas.lines.table.shape == (len(VARIANTS), 48, len(EVERY_POINT) + 1)
    assert atlas.lines.table[:, :, -1] == pytest.approx(atlas.lines.table[:, :, 7])
    healthy = atlas.all_healthy
    for line, variant in enumerate(VARIANTS):
        if variant.kind != "fan":
            assert atlas.lines.table[line, 0] == pytest.approx(healthy, abs=1e-4)


def test_a_cause_fits_up_to_the_99_percent_point_of_chi_square():
    for degrees in range(1, 12):
        exact = chi2.ppf(0.99, degrees)
        just = np.array([exact * 0.97, exact * 1.03])
        fit = within_tolerance(np.zeros(2), just, np.full(2, degrees))
        assert list(fit) == [True, False]
    assert not within_tolerance(np.array(1.6), np.array(0.1), np.array(5))


def test_the_rises_are_quantiles_of_chi_square():
    assert pytest.approx(chi2.ppf(0.90, 1), rel=1e-4) == INTERVAL_RISE
    assert pytest.approx(chi2.ppf(0.95, 1), rel=1e-3) == AMBIGUOUS_RISE


def test_an_atlas_is_of_one_house_and_rows_need_a_reading(house):
    with pytest.raises(InputError, match="one house"):
        Atlas(Houses.of([house, house]))
    with pytest.raises(InputError, match="has none"):
        Atlas(house).fit(np.full((1, 8), np.nan), 0.03)


def test_intervals_hold_the_size_they_belong_to(house):
    fits = Atlas(house).fit(rows(60), 0.03)
    assert (fits.low <= fits.size + 1e-9).all()
    assert (fits.size <= fits.high + 1e-9).all()
    assert fits.size.shape == (60, len(CAUSES))
