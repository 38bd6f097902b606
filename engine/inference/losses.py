"""What every fault would make the gauge read in this house, at every size: a table of losses.

One line of sizes for each kind and place of loss, solved by the airflow model in the house that
the baseline describes, with how each reading moves with what is not known of that house. Faults
that are physically the same share a line. What readings say of the faults is in `gauging`.

Readings are laid down as y = ln((h + H0) / (expected + H0)), so that shares of expected add where
losses follow each other and a reading of nothing is no infinity.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
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

SOFT_DIRT, WIDENED_DIRT = 0.5, 3.0
"""The same past the largest size for dirt, which is counted in clean filters: what a clean one
holds back, and the dust it has carried all along, differ from unit to unit (assumed)."""

NOTICED, NOTICED_SPREAD = 0.06, 0.02
"""Loss of working suction at the hose end that half of all customers call about, and how sharply
(assumed); from a prototype's tuning on simulated houses."""

FEEBLE_INH2O = 40.0
"""Working suction at the hose end that feels weak whatever the unit (common practice)."""

SELDOM = 0.02
"""Share of customers who call about a loss too small to be noticed (assumed)."""

COMPANIONS, COMPANION_SIZES = 8, (0.3, 0.8)
"""Second losses that stand for all: the likeliest lines, each at two of its sizes, as the share of
such losses that are no larger."""

PAIRED = 2
"""Every so manieth size of a line is solved with a second loss beside it."""

ELSEWHERE = 0.7
"""How often a leak at another inlet is at none that the gauge has been on (assumed): a house has
three to twelve inlets."""

_TWOFOLD = ("hole other-inlet", "throat trunk")
"""Lines that the other inlet can see in two ways: a leak at itself or not, a squeeze before its tap
or beyond it."""

_ELSEWHERE, _AWAY = "elsewhere", 2

_HOSE_END = SPOTS.index((AirState.WORKING, Station.HOSE))
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
        pair_line: the line of the second loss, (pairs,).
        lines: name of each line, such as `hole bin`.
        effects: an effect of each line.
        weighed: `weight` of the same faults with other ranges of sizes on the same lines.
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
    pair_line: Integers
    lines: tuple[str, ...]
    effects: tuple[Effect, ...]
    weighed: Callable[[Iterable[Fault]], Floats]


NO_LOSS = "none"
"""The line of what loses nothing."""


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
    rows = _rows(knowledge, house, elsewhere)
    expected = np.array([baseline.at(*spot) for spot in SPOTS])
    scale = expected / readings_at_spots(house, np.ones(1, dtype=np.intp))[0]
    variants = [rows.houses, *(_doubted(rows.houses, doubt) for doubt in doubts)]
    reading, *doubted = _read_together(variants, rows.leaking) * scale
    mean = logs(reading, expected)
    slopes = [
        (logs(table, expected) - mean) / doubt.step
        for table, doubt in zip(doubted, doubts, strict=True)
    ]
    counts = [len(one) for one in rows.sizes]
    called = _noticed(reading[:, _HOSE_END], expected[_HOSE_END])
    weighed = partial(_weights, rows=rows, called=called)
    weight = weighed(knowledge.faults.values())
    twin, own = _twins(rows.names, rows.line)
    first = rows.paired
    seconds = _seconds(_common(knowledge) @ weight, rows)
    # A second leak at an inlet is at none that the gauge is on.
    at_inlet = np.isin(rows.line, _lines(rows.names, "hole other-inlet"))
    beyond = np.where(at_inlet, rows.leaking, _AWAY)[first]
    besides = [
        apply_many(rows.houses.take(first), effect, np.tile(size, (len(first), 1)))
        for effect, size, *_ in seconds
    ]
    pair_reading = _read_together(besides, beyond) * scale
    return Losses(
        line=rows.line,
        size=rows.size,
        size_spread=_to_next_size(rows.size[:, None], counts)[:, 0],
        mean=mean,
        reading=reading,
        slope=np.stack([*slopes, _to_next_size(mean, counts)], axis=2),
        weight=weight,
        twin=twin,
        own=own,
        pair_reading=pair_reading.reshape(-1, len(SPOTS)),
        pair_row=np.tile(first, len(seconds)),
        pair_chance=np.repeat([chance for _, _, chance, _ in seconds], len(first)),
        pair_line=np.repeat([index for *_, index in seconds], len(first)),
        lines=rows.names,
        effects=rows.effects,
        weighed=weighed,
    )


@dataclass(frozen=True)
class _Rows:
    """The losses to be solved, one a row, by parts: a line in one variant of the house each.

    Attributes:
        houses: with the loss in them.
        leaking: index of the inlet that `holes.other_inlet` of each is at, (rows,).
        line: (rows,).
        sizes: of each part, (sizes, k).
        shares: of each part, how often its variant is the case, spread over its sizes, (sizes,).
        names: of the lines.
        effects: one of each line.
    """

    houses: Houses
    leaking: Integers
    line: Integers
    sizes: Sequence[Floats]
    shares: Sequence[Floats]
    names: tuple[str, ...]
    effects: tuple[Effect, ...]

    @property
    def parts(self) -> list[tuple[int, int]]:
        """First row of each part, and the one after its last."""
        return list(pairwise(np.cumsum([0, *(len(one) for one in self.sizes)]).tolist()))

    @property
    def size(self) -> Floats:
        """Size of each row; NaN where it has none or two."""
        return np.concatenate(
            [s[:, 0] if s.shape[1] == 1 else s[:, 0] * np.nan for s in self.sizes]
        )

    @property
    def paired(self) -> Integers:
        """The rows that are solved with a second loss beside them."""
        place = np.concatenate([np.arange(len(one)) for one in self.sizes])
        sizeless = np.isnan(np.concatenate([one[:, 0] for one in self.sizes]))
        return np.flatnonzero((place % PAIRED == 1) | sizeless)


def _rows(knowledge: Knowledge, house: Houses, elsewhere: float) -> _Rows:
    named: dict[str, list[Effect]] = {}
    for fault in knowledge.faults.values():
        named.setdefault(line_of(fault.effect), []).append(fault.effect)
    parts: list[Houses] = []
    lines: list[Integers] = []
    sizes: list[Floats] = []
    shares: list[Floats] = []
    for index, effects in enumerate(named.values()):
        grid = _grid(effects)
        for share, variant in _variants(effects[0], house, elsewhere):
            parts.append(apply_many(variant.repeat(len(grid)), effects[0], grid))
            lines.append(np.full(len(grid), index))
            sizes.append(grid if grid.shape[1] else np.full((len(grid), 1), np.nan))
            shares.append(np.full(len(grid), share / len(grid)))
    return _Rows(
        # Which other inlet leaks is told apart from the houses, so that they can be joined.
        houses=Houses.joined([replace(part, other=house.other) for part in parts]),
        leaking=np.concatenate([np.full(part.count, part.other) for part in parts]),
        line=np.concatenate(lines),
        sizes=sizes,
        shares=shares,
        names=tuple(named),
        effects=tuple(effects[0] for effects in named.values()),
    )


def _weights(faults: Iterable[Fault], rows: _Rows, called: Floats) -> Floats:
    """P(row | fault), (faults, rows): as declared, times how often a customer calls about it."""
    of = list(faults)
    weight = np.zeros((len(of), len(rows.line)))
    for row, fault in enumerate(of):
        line = rows.names.index(line_of(fault.effect))
        for (first, last), sizes, shares in zip(rows.parts, rows.sizes, rows.shares, strict=True):
            if rows.line[first] == line:
                likely = _declared(fault.effect, sizes) * shares
                if fault.mode not in (Mode.NORMAL, Mode.MEASUREMENT, Mode.SETTING):
                    likely = likely * called[first:last]
                weight[row, first:last] = likely
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def _common(knowledge: Knowledge) -> Floats:
    return np.array([fault.weight for fault in knowledge.faults.values()])


def _read_together(houses: Sequence[Houses], leaking: Integers) -> Floats:
    """Readings of several sets of n houses at `SPOTS`, solved at once, (sets, n, spots).

    To solve a few hundred houses takes hardly longer than to solve one.
    """
    table = readings_at_spots(Houses.joined(list(houses)), np.tile(leaking, len(houses)))
    return table.reshape(len(houses), len(leaking), len(SPOTS))


def _lines(names: Sequence[str], *wanted: str) -> list[int]:
    return [index for index, name in enumerate(names) if name in wanted]


def _twins(names: Sequence[str], line: Integers) -> tuple[Integers, Flags]:
    """`twin` and `own` of `Losses`: the first half of such a line is what the other inlet sees."""
    twin, own = np.arange(len(line)), np.zeros(len(line), dtype=np.bool_)
    for index in _lines(names, *_TWOFOLD):
        near, far = np.split(np.flatnonzero(line == index), 2)
        twin[near], twin[far], own[near] = far, near, True
    return twin, own


def _seconds(common: Floats, rows: _Rows) -> list[tuple[Effect, Floats, float, int]]:
    """The second losses: effect, size (k,), chance, line.

    Args:
        common: how common each row is, over all faults, (rows,).
        rows: the losses.
    """
    found = []
    for index, effect in enumerate(rows.effects):
        if effect.kind in ("none", "motor-dead"):
            continue
        mass = common[rows.line == index].sum()
        # Lines with several variants count once, at the first variant's sizes.
        part, (first, last) = next(
            (part, span) for part, span in enumerate(rows.parts) if rows.line[span[0]] == index
        )
        own = common[first:last].cumsum()
        sizes = rows.sizes[part][np.searchsorted(own, own[-1] * np.array(COMPANION_SIZES))]
        found.append((effect, sizes, float(mass), index))
    found = sorted(found, key=lambda one: -one[2])[:COMPANIONS]
    total = sum(mass * len(sizes) for _, sizes, mass, _ in found)
    return [
        (effect, size, mass / total, index)
        for effect, sizes, mass, index in found
        for size in sizes
    ]


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
    for index in np.flatnonzero(np.bincount(leaking)):
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
    by = WIDENED_DIRT if _is_dirt(effects[0]) else WIDENED
    return np.geomspace(low[0] / WIDENED, min(high[0] * by, _most(effects[0])), SIZES)[:, None]


def _is_dirt(effect: Effect) -> bool:
    return isinstance(effect, LoadingEffect) and effect.times[1] > 1.0


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
        # A grid of equal factors; sizes are drawn evenly, loadings by equal factors.
        even = 1.0 if isinstance(effect, LoadingEffect | SpeedEffect) or len(ranges) > 1 else size
        # Suction goes with the square of speed.
        soft = 0.6 * SOFT if isinstance(effect, SpeedEffect) else SOFT
        under, over = np.log(low / size) / soft, np.log(size / high)
        over = over / (SOFT_DIRT if _is_dirt(effect) else soft)
        likely *= even * np.exp(-0.5 * np.clip(np.maximum(under, over), 0.0, None) ** 2)
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
