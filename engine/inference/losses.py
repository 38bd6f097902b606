"""What every fault would make the gauge read in this house, at every size: a table of losses.

One line of sizes for each kind and place of loss, solved by the airflow model in the house that
the baseline describes, with how each reading moves with what is not known of that house. Faults
that are physically the same share a line. What readings say of the faults is in `gauging`.

Readings are laid down as y = ln((h + H0) / (expected + H0)), so that shares of expected add where
losses follow each other and a reading of nothing is no infinity.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from stillflow.engine.airflow import (
    ANOTHER_INLET,
    PARALLEL,
    Effect,
    GaugePoint,
    HoleEffect,
    Houses,
    Inlet,
    LoadingEffect,
    MotorDeadEffect,
    SpeedEffect,
    ThroatEffect,
    apply_many,
    readings_table,
)
from stillflow.engine.base import AirState, Flags, Floats, Integers, Mode, Station
from stillflow.engine.inference.baseline import Baseline
from stillflow.engine.ruleset import Fault, Knowledge

SPOTS: tuple[tuple[AirState, Station], ...] = tuple(
    (state, station) for station in Station for state in AirState
)
"""The columns of a table of readings."""

OFFSET_INH2O = 2.0
"""H0 above: what a gauge cannot tell from nothing (assumed)."""

SIZES = 14
"""Sizes of a line; what lies between two is kept as a doubt of its own."""

WIDENED = 1.5
"""How far a line goes past the smallest and largest size any fault declares, as a factor."""

SOFT = 0.12
"""Standard deviation of ln(size) past a declared range: judgements, not measurements (assumed)."""

NOTICED, NOTICED_SPREAD = 0.06, 0.02
"""Loss of working suction at the hose end that half of all customers call about, and how sharply
(assumed); from a prototype's tuning on simulated houses."""

FEEBLE_INH2O = 40.0
"""Working suction at the hose end that feels weak whatever the unit (common practice)."""

SELDOM = 0.02
"""Share of customers who call about a loss too small to be noticed (assumed)."""

COMPANIONS = 8
"""Second losses that stand for all: the likeliest lines, each at its median size."""

PAIRED = 3
"""Every so manieth size of a line is solved with a second loss beside it."""

ELSEWHERE = 0.7
"""How often a leak at another inlet is at none that the gauge has been on (assumed): a house has
three to twelve inlets."""

_TWOFOLD = ("hole other-inlet", "throat trunk")
"""Lines that the other inlet can see in two ways: a leak at itself or not, a squeeze before its tap
or beyond it."""

_ELSEWHERE, _AWAY = "elsewhere", 2
"""The inlet that the gauge is never on, and its index."""


@dataclass(frozen=True)
class Variation:
    """One thing that is not known of the house: how it is varied, and by how much.

    Attributes:
        step: the variation the slope is taken over, in standard deviations.
        change: numbers of a house by dotted name -> factor, or for a hole its diameter added, in.
    """

    change: Mapping[str, float]
    step: float


@dataclass(frozen=True)
class Losses:
    """Hypothetical losses, one a row.

    Attributes:
        line: which kind and place, (rows,).
        size: size in the effect's own unit, NaN where it has none or two, (rows,).
        size_spread: standard deviation of the sizes between its neighbours that one stands for.
        mean: y at each of `SPOTS`, (rows, spots).
        reading: the same in inH2O, (rows, spots).
        slope: how y moves with one standard deviation of each doubt, (rows, spots, doubts).
        weight: P(loss | fault), (faults, rows); rows sum to 1.
        twin: row of the same loss as the other inlet would see it otherwise: a leak there, not
            elsewhere; a squeeze before its tap, not beyond it. Its own row where there is none.
        own: whether the row is the one with the leak at, or the squeeze before, the other inlet.
        pair_reading: readings with a second loss beside one of these, inH2O, (pairs, spots).
        pair_row: the row it stands beside, (pairs,).
        pair_chance: of the second loss among all second losses, (pairs,).
        lines: name of each line, such as `hole bin`.
        effects: an effect of each line.
    """

    line: Integers
    size: Floats
    size_spread: Floats
    mean: Floats
    reading: Floats
    slope: Floats
    weight: Floats
    twin: Integers
    own: Flags
    pair_reading: Floats
    pair_row: Integers
    pair_chance: Floats
    lines: tuple[str, ...]
    effects: tuple[Effect, ...]


def line_of(effect: Effect) -> str:
    """The name of the line an effect lies on: its kind, and where it has one its place."""
    at = getattr(effect, "at", "")
    kind: str = effect.kind
    if isinstance(effect, LoadingEffect) and effect.times[1] < 1.0:
        kind = "missing"
    return f"{kind} {at}".strip()


def losses_of(
    knowledge: Knowledge,
    baseline: Baseline,
    doubts: Sequence[Variation],
    elsewhere: float = ELSEWHERE,
) -> Losses:
    """Solve every line of a rule set in the house of a baseline.

    Args:
        knowledge: whose faults.
        baseline: the house and what it should read.
        doubts: what is not known of it.
        elsewhere: how often a leak at another inlet is not at the one that the gauge is put on.
    """
    house = _house(baseline)
    faults = list(knowledge.faults.values())
    named: dict[str, list[Fault]] = {}
    for fault in faults:
        named.setdefault(line_of(fault.effect), []).append(fault)
    parts: list[Houses] = []
    lines: list[Integers] = []
    sizes: list[Floats] = []
    shares: list[Floats] = []
    for index, fellows in enumerate(named.values()):
        grid = _grid([fault.effect for fault in fellows])
        for share, variant in _variants(fellows[0].effect, house, elsewhere):
            parts.append(apply_many(variant.repeat(len(grid)), fellows[0].effect, grid))
            lines.append(np.full(len(grid), index))
            sizes.append(grid if grid.shape[1] else np.full((len(grid), 1), np.nan))
            shares.append(np.full(len(grid), share / len(grid)))
    # Which other inlet leaks is told apart from the houses, so that they can stand side by side.
    damaged = Houses.joined([replace(part, other=house.other) for part in parts])
    other = np.concatenate([np.full(part.count, part.other) for part in parts])
    line = np.concatenate(lines)
    expected = np.array([baseline.at(*spot) for spot in SPOTS])
    healthy = readings_at_spots(house, np.zeros(1, dtype=np.intp) + 1)[0]
    scale = expected / healthy
    reading = readings_at_spots(damaged, other) * scale
    mean = logs(reading, expected)
    slope = np.stack(
        [
            (logs(readings_at_spots(_doubted(damaged, doubt), other) * scale, expected) - mean)
            / doubt.step
            for doubt in doubts
        ]
        + [_to_next_size(mean, [len(one) for one in sizes])],
        axis=2,
    )
    weight = np.zeros((len(faults), len(line)))
    names = list(named)
    twin, own = _twins(names, line)
    working_hose = SPOTS.index((AirState.WORKING, Station.HOSE))
    called = _noticed(reading[:, working_hose], expected[working_hose])
    start = np.cumsum([0, *(len(one) for one in sizes)])
    for row, fault in enumerate(faults):
        for part, (first, last) in enumerate(pairwise(start)):
            if names[line[first]] == line_of(fault.effect):
                likely = _declared(fault.effect, sizes[part]) * shares[part]
                if fault.mode not in (Mode.NORMAL, Mode.MEASUREMENT, Mode.SETTING):
                    likely = likely * called[first:last]
                weight[row, first:last] = likely
        weight[row] /= weight[row].sum()
    common = np.array([fault.how_common.weight for fault in faults]) @ weight
    effects = tuple(fellows[0].effect for fellows in named.values())
    place = np.concatenate([np.arange(len(one)) for one in sizes])
    first = np.flatnonzero(place % PAIRED == 1)
    first = np.union1d(first, np.flatnonzero(np.isnan(np.concatenate([s[:, 0] for s in sizes]))))
    pair_reading, pair_chance = [], []
    # A second leak at an inlet is at none that the gauge is on.
    beyond = np.where(np.isin(line, _lines(names, "hole other-inlet")), other, _AWAY)[first]
    for effect, size, chance in _seconds(common, line, place, sizes, start, effects):
        beside = apply_many(damaged.take(first), effect, np.tile(size, (len(first), 1)))
        pair_reading.append(readings_at_spots(beside, beyond) * scale)
        pair_chance.append(np.full(len(first), chance))
    size = np.concatenate([s[:, 0] if s.shape[1] == 1 else s[:, 0] * np.nan for s in sizes])
    return Losses(
        line=line,
        size=size,
        size_spread=_to_next_size(size[:, None], [len(one) for one in sizes])[:, 0],
        mean=mean,
        reading=reading,
        slope=slope,
        weight=weight,
        twin=twin,
        own=own,
        pair_reading=np.concatenate(pair_reading),
        pair_row=np.tile(first, len(pair_reading)),
        pair_chance=np.concatenate(pair_chance),
        lines=tuple(names),
        effects=effects,
    )


def _lines(names: Sequence[str], *wanted: str) -> list[int]:
    return [index for index, name in enumerate(names) if name in wanted]


def _twins(names: Sequence[str], line: Integers) -> tuple[Integers, Flags]:
    """`twin` and `own` of `Losses`: the first half of such a line is what the other inlet sees."""
    twin, own = np.arange(len(line)), np.zeros(len(line), dtype=np.bool_)
    for index in _lines(names, *_TWOFOLD):
        near, far = np.split(np.flatnonzero(line == index), 2)
        twin[near], twin[far], own[near] = far, near, True
    return twin, own


def _seconds(
    common: Floats,
    line: Integers,
    place: Integers,
    sizes: Sequence[Floats],
    start: Integers,
    effects: Sequence[Effect],
) -> list[tuple[Effect, Floats, float]]:
    """The second losses: effect, size (k,), chance."""
    found = []
    for index, effect in enumerate(effects):
        if effect.kind in ("none", "motor-dead"):
            continue
        rows = np.flatnonzero(line == index)
        mass = common[rows].sum()
        # Lines with several variants count once, at the first variant's sizes.
        part = next(k for k, first in enumerate(start[:-1]) if line[first] == index)
        own = common[start[part] : start[part + 1]].cumsum()
        median = int(np.searchsorted(own, own[-1] / 2.0))
        found.append((effect, sizes[part][median], float(mass)))
    found.sort(key=lambda one: -one[2])
    found = found[:COMPANIONS]
    total = sum(mass for *_, mass in found)
    return [(effect, size, mass / total) for effect, size, mass in found]


def logs(reading: Floats, expected: Floats) -> Floats:
    """Y of readings (inH2O), the same shape."""
    return np.asarray(np.log((reading + OFFSET_INH2O) / (expected + OFFSET_INH2O)))


def reading_of(y: Floats, expected: float) -> Floats:
    """Readings (inH2O) of y, the same shape: `logs` turned round."""
    return np.maximum(np.exp(y) * (expected + OFFSET_INH2O) - OFFSET_INH2O, 0.0)


def _house(baseline: Baseline) -> Houses:
    """The healthy house, with an inlet that the gauge is never on."""
    system = baseline.system
    inlets = system.inlets[:2]
    if len(inlets) < 2:
        inlets = (*inlets, ANOTHER_INLET)
    away = Inlet(name=_ELSEWHERE, tap_ft=0.7 * system.trunk.length_ft, branch=inlets[0].branch)
    system = system.model_copy(update={"inlets": (*inlets, away), "other_inlet": inlets[1].name})
    return Houses.of([system])


def _variants(effect: Effect, house: Houses, elsewhere: float) -> Iterator[tuple[float, Houses]]:
    """Where along the way, or in which of the houses, a loss may be: chance and house."""
    if isinstance(effect, HoleEffect) and effect.at == "other-inlet":
        yield 1.0 - elsewhere, house
        yield elsewhere, replace(house, other=_AWAY)
    elif isinstance(effect, ThroatEffect) and effect.at == "trunk":
        # The other inlet's branch leaves the trunk halfway.
        for along in (0.25, 0.75):
            yield 0.5, house.with_values({"throats.trunk_along": np.full(house.count, along)})
    elif isinstance(effect, MotorDeadEffect):
        two = {"fan.motors": np.full(house.count, 2.0), "fan.turning": np.full(house.count, 2.0)}
        for parallel in (0.0, 1.0):
            yield 0.5, house.with_values({**two, PARALLEL: np.full(house.count, parallel)})
    else:
        yield 1.0, house


def readings_at_spots(houses: Houses, leaking: Integers) -> Floats:
    """Readings at `SPOTS`, inH2O, shape (n, spots).

    Args:
        houses: n houses, whose second inlet is the other one that the gauge is put on.
        leaking: index of the inlet that `holes.other_inlet` of each is at, shape (n,).
    """
    points = [
        GaugePoint(station, state, houses.inlet_names[1] if station is Station.OTHER else None)
        for state, station in SPOTS
    ]
    table = np.empty((houses.count, len(points)))
    for index in np.unique(leaking):
        rows = np.flatnonzero(leaking == index)
        table[rows] = readings_table(replace(houses.take(rows), other=int(index)), points)
    return table


def _doubted(houses: Houses, doubt: Variation) -> Houses:
    changed = {}
    for name, by in doubt.change.items():
        old = houses[name]
        if name.startswith("holes."):
            changed[name] = np.hypot(old, by)
        elif name.endswith(".loading"):
            # Ordinary dirt is a number of clean filters; it does not multiply a clogged one.
            changed[name] = old + by - 1.0
        else:
            changed[name] = old * by
    # A straight fan line is kept as corners too.
    if any(name.startswith("fan.") for name in changed):
        sealed = changed.get("fan.sealed_inh2o", houses["fan.sealed_inh2o"])
        airflow = changed.get("fan.airflow_cfm", houses["fan.airflow_cfm"])
        return houses.with_fan(sealed, airflow)
    return houses.with_values(changed)


def _grid(effects: Sequence[Effect]) -> Floats:
    """Sizes of a line, shape (sizes, k)."""
    ranges = [effect.ranges() for effect in effects]
    if not ranges[0]:
        return np.empty((1, 0))
    low = np.min([[one[0] for one in row] for row in ranges], axis=0)
    high = np.max([[one[1] for one in row] for row in ranges], axis=0)
    if len(low) == 2:
        axes = [np.linspace(a, b, 4) for a, b in zip(low, high, strict=True)]
        return np.stack([one.ravel() for one in np.meshgrid(*axes, indexing="ij")], axis=1)
    if low[0] <= 0.0:
        return np.linspace(low[0], high[0], SIZES)[:, None]
    if isinstance(effects[0], SpeedEffect):
        return np.linspace(low[0] / 1.1, max(high[0], min(1.0, high[0] * 1.05)), SIZES)[:, None]
    return np.geomspace(low[0] / WIDENED, min(high[0] * WIDENED, _most(effects[0])), SIZES)[:, None]


def _most(effect: Effect) -> float:
    return 2.0 if effect.kind in ("orifice", "gauge-factor") else 1e4


def _declared(effect: Effect, sizes: Floats) -> Floats:
    """How likely an effect's sizes are by its declared range, soft at the ends, (sizes,)."""
    ranges = effect.ranges()
    likely = np.ones(len(sizes))
    for column, (low, high) in enumerate(ranges):
        size = sizes[:, column]
        if low <= 0.0:
            inside = np.clip(np.maximum(low - size, size - high), 0.0, None) / (high - low + 1e-9)
            likely *= np.exp(-0.5 * (inside / SOFT) ** 2)
            continue
        past = np.clip(np.maximum(np.log(low / size), np.log(size / high)), 0.0, None)
        # A grid of equal factors; sizes are drawn evenly, loadings by equal factors.
        even = 1.0 if isinstance(effect, LoadingEffect | SpeedEffect) or len(ranges) > 1 else size
        # Suction goes with the square of speed.
        soft = 0.6 * SOFT if isinstance(effect, SpeedEffect) else SOFT
        likely *= even * np.exp(-0.5 * (past / soft) ** 2)
    return likely


def _noticed(working: Floats, expected: float) -> Floats:
    """How often a customer calls about a loss, by working suction at the hose end (inH2O)."""
    lost = 1.0 - working / expected
    by_share = 1.0 / (1.0 + np.exp(-(lost - NOTICED) / NOTICED_SPREAD))
    feeble = 1.0 / (1.0 + np.exp((working - FEEBLE_INH2O) / 3.0))
    return np.asarray(SELDOM + (1.0 - SELDOM) * np.maximum(by_share, feeble))


def _to_next_size(mean: Floats, counts: Sequence[int]) -> Floats:
    """Y's spread between a size and its neighbours, as one standard deviation, (rows, spots)."""
    slope = np.zeros_like(mean)
    start = 0
    for count in counts:
        rows = slice(start, start + count)
        if count == SIZES:
            slope[rows] = np.gradient(mean[rows], axis=0) / np.sqrt(12.0)
        start += count
    return slope
