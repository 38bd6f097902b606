"""Effects as rule files write them, their sizes, and what they do to systems."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest
from pydantic import TypeAdapter, ValidationError

from stillflow.engine.airflow.effects import Effect, HolePlace, ThroatPlace, draw_sizes
from stillflow.engine.airflow.fan import Fan
from stillflow.engine.airflow.faulty import apply, apply_many
from stillflow.engine.airflow.gauge import readings, readings_table
from stillflow.engine.airflow.houses import Houses
from stillflow.engine.airflow.points import EVERY_POINT, GaugePoint
from stillflow.engine.airflow.system import Inlet, System
from stillflow.engine.base.errors import InputError

EFFECT: TypeAdapter[Effect] = TypeAdapter(Effect)

EVERY_EFFECT = [
    *({"kind": "hole", "at": place, "diameter_in": [0.2, 0.5]} for place in get_args(HolePlace)),
    *(
        {"kind": "throat", "at": place, "diameter_in": [0.4, 1.0]}
        for place in get_args(ThroatPlace)
    ),
    {"kind": "loading", "at": "filter", "times": [5, 80]},
    {"kind": "loading", "at": "screen", "times": [5, 80]},
    {"kind": "speed", "factor": [0.7, 0.9]},
    {"kind": "motor-dead"},
    {"kind": "hose-size", "length_ft": [35, 50], "bore_in": [1.0, 1.5]},
    {"kind": "gauge-offset", "inh2o": [-5, 5]},
    {"kind": "gauge-factor", "factor": [0.8, 0.95]},
    {"kind": "orifice", "diameter_in": [0.5, 0.75]},
    {"kind": "none"},
]


def label(written: dict[str, object]) -> str:
    return "-".join(str(written[key]) for key in ("kind", "at") if key in written)


@pytest.mark.parametrize("written", EVERY_EFFECT, ids=label)
def test_an_effect_reads_back_as_it_was_written(written):
    effect = EFFECT.validate_python(written)
    plain = {key: list(value) if isinstance(value, tuple) else value
             for key, value in effect.model_dump().items()}  # fmt: skip
    assert plain == written


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ({"kind": "hole", "at": "bn", "diameter_in": [0.1, 0.5]}, "'bin'"),
        ({"kind": "hole", "at": "bin", "diameter_in": [0.6, 0.5]}, "lowest 0.6 is above"),
        ({"kind": "hole", "at": "bin", "diameter_in": 0.6}, "needs two numbers"),
        ({"kind": "hole", "at": "bin", "diameter_in": "ab"}, "needs two numbers"),
        ({"kind": "hole", "at": "bin", "diameter_in": [0.1, float("nan")]}, "finite"),
        ({"kind": "hole", "at": "bin", "diameter_in": [0.0, 0.5]}, "from 0.01 to 3, in"),
        ({"kind": "speed", "factor": [0.5, 3]}, "of full speed"),
        ({"kind": "puncture"}, "'hole', 'throat'"),
        ({"kind": "none", "at": "bin"}, "not permitted"),
    ],
)
def test_a_wrong_effect_is_refused_with_what_is_wrong(written, said):
    with pytest.raises(ValidationError, match=said):
        EFFECT.validate_python(written)


@pytest.mark.parametrize("written", EVERY_EFFECT, ids=label)
def test_sizes_are_drawn_within_their_ranges(written):
    effect = EFFECT.validate_python(written)
    sizes = draw_sizes(effect, np.random.default_rng(1), 500)
    assert sizes.shape == (500, len(effect.ranges()))
    for column, (low, high) in zip(sizes.T, effect.ranges(), strict=True):
        assert low <= column.min() < low + 0.1 * (high - low)
        assert high - 0.1 * (high - low) < column.max() <= high


def test_loading_is_drawn_evenly_on_a_log_scale():
    effect = EFFECT.validate_python({"kind": "loading", "at": "filter", "times": [1, 100]})
    sizes = draw_sizes(effect, np.random.default_rng(1), 4000)
    assert np.median(sizes) == pytest.approx(10.0, rel=0.1)


@pytest.fixture
def twin() -> System:
    """A house whose unit has two motors, so that every effect can be put on it."""
    fan = Fan(sealed_inh2o=130, airflow_cfm=114, motors=2, arrangement="parallel")
    return System(fan=fan)


@pytest.mark.parametrize("written", EVERY_EFFECT, ids=label)
def test_an_effect_does_to_many_houses_what_it_does_to_one(twin, written):
    effect = EFFECT.validate_python(written)
    sizes = draw_sizes(effect, np.random.default_rng(2), 3)
    points = [*EVERY_POINT, GaugePoint("other", "sealed"), GaugePoint("other", "working")]
    table = readings_table(apply_many(Houses.of([twin]).repeat(3), effect, sizes), points)
    for row, size in zip(table, sizes, strict=True):
        one = apply(twin, effect, tuple(float(part) for part in size))
        assert row == pytest.approx([readings(one, *p) for p in points], abs=1e-4)


def test_most_effects_are_felt_somewhere_and_none_is_not(twin):
    healthy = readings_table(Houses.of([twin]), EVERY_POINT)
    for written in EVERY_EFFECT:
        effect = EFFECT.validate_python(written)
        sizes = draw_sizes(effect, np.random.default_rng(3), 1)
        found = readings_table(apply_many(Houses.of([twin]), effect, sizes), EVERY_POINT)
        silent = effect.kind == "none" or getattr(effect, "at", "") == "tool"
        assert np.allclose(found, healthy) == silent, label(written)


def test_holes_at_one_place_add_by_area(house):
    effect = EFFECT.validate_python({"kind": "hole", "at": "bin", "diameter_in": [0.3, 0.3]})
    twice = apply(apply(house, effect, 0.3), effect, 0.4)
    assert twice.holes.bin == pytest.approx(0.5)


def test_throats_at_one_place_are_narrower_than_either(house):
    effect = EFFECT.validate_python({"kind": "throat", "at": "hose", "diameter_in": [0.5, 0.6]})
    twice = apply(apply(house, effect, 0.6), effect, 0.6)
    assert twice.throats.hose is not None
    assert 0.45 < twice.throats.hose < 0.6


def test_damage_is_put_on_the_inlet_that_is_named(house):
    effect = EFFECT.validate_python({"kind": "throat", "at": "branch", "diameter_in": [0.4, 0.4]})
    found = apply(house, effect, 0.4, inlet="other inlet")
    assert readings(found, "inlet", "working", "inlet") == pytest.approx(
        readings(house, "inlet", "working"), abs=1e-4
    )
    assert readings(found, "inlet", "working", "other inlet") < 30
    with pytest.raises(InputError, match="no inlet named 'attic'"):
        apply(house, effect, 0.4, inlet="attic")


def test_a_leak_at_another_inlet_finds_one_in_a_house_that_names_only_one(house):
    alone = house.model_copy(update={"inlets": (Inlet(name="hall"),)})
    effect = EFFECT.validate_python({"kind": "hole", "at": "other-inlet", "diameter_in": [0.4, 1]})
    assert readings(apply(alone, effect, 0.5), "inlet", "sealed") < 110
    with pytest.raises(InputError, match="one inlet"):
        apply_many(Houses.of([alone]), effect, np.array([[0.5]]))


def test_one_motor_of_one_cannot_be_the_dead_one(house):
    effect = EFFECT.validate_python({"kind": "motor-dead"})
    with pytest.raises(InputError, match="two motors"):
        apply(house, effect)
    with pytest.raises(InputError, match="two motors"):
        apply_many(Houses.of([house]), effect, np.empty((1, 0)))


@pytest.mark.parametrize("size", [(), (0.3, 0.4)])
def test_the_wrong_number_of_sizes_is_refused(house, size):
    effect = EFFECT.validate_python({"kind": "hole", "at": "bin", "diameter_in": [0.3, 0.4]})
    with pytest.raises(InputError, match="sizes"):
        apply(house, effect, size)
    with pytest.raises(InputError, match="sizes"):
        apply_many(Houses.of([house]), effect, np.array([size]))
