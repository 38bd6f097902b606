"""The table of losses: its grids, its weights and its twins, by what they are to hold."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from stillflow.engine import Unit, Visit, load_rules
from stillflow.engine.base import AirState, Mode, Station
from stillflow.engine.inference import Baseline, baseline_for
from stillflow.engine.inference.losses import (
    ELSEWHERE,
    SELDOM,
    SIZES,
    SPOTS,
    Losses,
    _noticed,
    line_of,
    logs,
    losses_of,
    reading_of,
)

RULES = load_rules()
FAULTS = tuple(RULES.faults.values())
END = SPOTS.index((AirState.WORKING, Station.HOSE))
INLET = [SPOTS.index((state, Station.INLET)) for state in AirState]
OTHER = [SPOTS.index((state, Station.OTHER)) for state in AirState]


@cache
def baseline() -> Baseline:
    return baseline_for(Visit(unit=Unit(rated_sealed=130, rated_airflow=114)), RULES)


@cache
def losses() -> Losses:
    return losses_of(RULES, baseline(), [])


def of_line(name: str) -> np.ndarray:
    return np.flatnonzero(losses().line == losses().lines.index(name))


def test_without_a_loss_there_is_read_what_is_expected() -> None:
    row = of_line("none")[0]
    expected = [baseline().at(*spot) for spot in SPOTS]
    assert losses().reading[row] == pytest.approx(expected)
    assert losses().mean[row] == pytest.approx(np.zeros(len(SPOTS)), abs=1e-9)
    assert np.isnan(losses().size[row])


@pytest.mark.parametrize("line", sorted(set(map(line_of, (f.effect for f in FAULTS)))))
def test_a_line_reaches_past_all_sizes_that_its_faults_declare(line: str) -> None:
    """By half as much again; dirt to thrice the most; a motor by a tenth and to full speed."""
    declared = [f.effect.ranges() for f in FAULTS if line_of(f.effect) == line]
    if len(declared[0]) != 1:
        assert np.isnan(losses().size[of_line(line)]).all()
        return
    sizes = losses().size[of_line(line)]
    # A line in two variants of the house has its sizes twice.
    assert len(sizes) in (SIZES, 2 * SIZES)
    grid = sizes[:SIZES]
    assert sizes == pytest.approx(np.resize(grid, len(sizes)))
    low, high = min(one[0][0] for one in declared), max(one[0][1] for one in declared)
    kind = line.split()[0]
    if low <= 0.0:
        ends = low, high
    elif kind == "speed":
        ends = low / 1.1, max(high, min(1.0, high * 1.05))
    elif kind == "loading":
        ends = low / 1.5, high * 3.0
    elif kind in ("orifice", "gauge-factor"):
        ends = low / 1.5, min(high * 1.5, 2.0)
    else:
        ends = low / 1.5, high * 1.5
    assert (grid[0], grid[-1]) == pytest.approx(ends)
    steps = np.diff(grid) if low <= 0.0 or kind == "speed" else np.diff(np.log(grid))
    assert steps == pytest.approx(np.full(SIZES - 1, steps.mean()))
    assert steps.min() > 0.0


def test_weights_are_of_a_faults_own_line_and_sum_to_one() -> None:
    assert losses().weight.sum(axis=1) == pytest.approx(np.ones(len(RULES.faults)))
    assert losses().weight.min() >= 0.0
    for weight, fault in zip(losses().weight, RULES.faults.values(), strict=True):
        assert set(np.flatnonzero(weight)) <= set(of_line(line_of(fault.effect)))


def test_sizes_past_a_declared_range_are_unlikely_and_those_within_are_not() -> None:
    row, fault = RULES.fault_index["hose-clogged"], RULES.faults["hose-clogged"]
    [(low, high)] = fault.effect.ranges()
    size, weight = losses().size, losses().weight[row]
    far = (size > high * 1.35) | (size < low / 1.35)
    # exp(-.5 (ln 1.35 / .12)^2) is a twentieth.
    assert weight[far & (weight > 0)].max(initial=0.0) < 0.1 * weight.max()
    # Between one and the next is a tenth, so some lie within and have most of the weight.
    near = (size > low / 1.12) & (size < high * 1.12) & (losses().line == of_line_number(fault))
    assert weight[near].sum() > 0.8


def of_line_number(fault: Any) -> int:
    return losses().lines.index(line_of(fault.effect))


def test_a_leak_elsewhere_is_as_often_as_is_said() -> None:
    fault = next(f for f in RULES.faults.values() if line_of(f.effect) == "hole other-inlet")
    weight = losses().weight[RULES.fault_index[fault.id]]
    # The two variants' readings at the hose end, and so who calls, are nearly the same.
    assert weight[~losses().own].sum() == pytest.approx(ELSEWHERE, abs=0.02)


def test_twins_are_of_one_size_and_differ_at_the_other_inlet() -> None:
    found, rows = losses(), np.arange(len(losses().line))
    assert (found.twin[found.twin] == rows).all()
    moved = found.twin != rows
    assert {found.lines[line] for line in found.line[moved]} == {"hole other-inlet", "throat trunk"}
    assert found.own.sum() * 2 == moved.sum()
    assert found.size[found.twin][moved] == pytest.approx(found.size[moved])
    # What is squeezed before the other inlet's tap is short there, beyond it not.
    squeeze = of_line("throat trunk")
    squeeze = squeeze[found.own[squeeze]]
    assert len(squeeze) == SIZES
    short, sound = found.reading[squeeze], found.reading[found.twin[squeeze]]
    assert (short[:, OTHER[1]] <= sound[:, OTHER[1]]).all()
    assert short[0, OTHER[1]] < 0.1 * sound[0, OTHER[1]]


def test_second_losses_stand_beside_other_losses_and_lower_them() -> None:
    found = losses()
    assert found.pair_chance.min() > 0.0
    pairs = len(found.pair_row)
    assert len(found.pair_line) == len(found.pair_chance) == len(found.pair_reading) == pairs
    alone = [float(found.pair_chance[found.pair_row == row].sum()) for row in set(found.pair_row)]
    assert alone == pytest.approx(np.ones(len(alone)))
    assert not {"none", "motor-dead"} & {found.lines[line] for line in found.pair_line}
    # A leak beside nothing lowers sealed suction everywhere.
    nothing = of_line("none")[0]
    leaks = [index for index, name in enumerate(found.lines) if name == "hole bin"]
    beside = (found.pair_row == nothing) & np.isin(found.pair_line, leaks)
    if beside.any():
        assert (found.pair_reading[beside][:, INLET[0]] < found.reading[nothing, INLET[0]]).all()


def test_how_often_a_customer_calls_goes_from_seldom_to_always() -> None:
    """By hand: half call at six in a hundred lost; below 40 inH2O nearly all do."""
    expected = 100.0
    calls = _noticed(np.array([100.0, 94.0, 90.0, 60.0]), expected)
    assert calls[0] == pytest.approx(SELDOM + (1 - SELDOM) / (1 + np.exp(3.0)))
    assert calls[1] == pytest.approx(SELDOM + (1 - SELDOM) / 2)
    assert calls[2] == pytest.approx(SELDOM + (1 - SELDOM) / (1 + np.exp(-2.0)))
    assert calls[3] == pytest.approx(1.0)
    # A unit that never had more feels weak whatever it lost.
    assert _noticed(np.array([40.0]), 40.0)[0] == pytest.approx(SELDOM + (1 - SELDOM) / 2)
    assert _noticed(np.array([34.0]), 34.0)[0] == pytest.approx(
        SELDOM + (1 - SELDOM) / (1 + np.exp(-2.0))
    )


def test_logs_and_readings_are_each_others_inverse_and_nothing_is_no_less() -> None:
    expected = np.array([80.0, 80.0, 80.0])
    y = logs(np.array([0.0, 39.0, 80.0]), expected)
    # ln((h + 2) / (80 + 2)).
    assert y == pytest.approx([np.log(2 / 82), np.log(0.5), 0.0])
    assert reading_of(y, 80.0) == pytest.approx([0.0, 39.0, 80.0])
    assert reading_of(np.array([-9.0]), 80.0) == [0.0]


def test_weights_of_other_ranges_move_with_them() -> None:
    fault = RULES.faults["hose-clogged"]
    row = RULES.fault_index["hose-clogged"]
    same = losses().weighed([fault])[0]
    assert same == pytest.approx(losses().weight[row])
    assert fault.mode is Mode.OBSTRUCTION
