"""What readings say of the faults: P(readings | fault) by the airflow model, all taken together.

Every hypothetical loss of `losses` is a normal distribution in the logarithm of the share of
expected over the ten gauge points. What is not known of the house (how true the label is, thin
air, tubing, hose) moves all points together and is integrated exactly, so that five stations 12 %
short are one observation of an optimistic label and not five faults. A fault is a mixture of such
losses. Live belief and look-ahead use the same mixture: a reading's likelihood is the density of
what was read, its outlook that density summed over the levels it can fall in.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import sqrt

import numpy as np

from stillflow.engine.airflow import density_at
from stillflow.engine.base import AirState, Floats, Integers, Mode, Station
from stillflow.engine.inference.baseline import Baseline
from stillflow.engine.inference.elsewhere import Seen, chance_at, seen_from
from stillflow.engine.inference.facts import Spot
from stillflow.engine.inference.inlets import Further
from stillflow.engine.inference.losses import (
    NO_LOSS,
    OFFSET_INH2O,
    SPOTS,
    Variation,
    line_of,
    logs,
    losses_of,
)
from stillflow.engine.inference.visit import Visit
from stillflow.engine.ruleset import Fault, Knowledge

RESOLUTION_INH2O = 0.5
"""Standard deviation of one reading beside its tolerance: read to 1 inH2O, zero not quite held."""

HOUSE_SPREAD = 0.012
"""Standard deviation of one point's share about the model's: fittings and bends (assumed)."""

COMPANION = 0.1
"""Chance that a second fault is there as well (assumed)."""

STRAY, STRAY_TIMES = 0.02, 3.0
"""Share of sets of readings that are worse than the gauge's tolerance, and by what factor: bad
readings prove nothing (assumed)."""

MOST_HOUSES = 16
"""Houses kept solved, some 3 MB each."""

MOST_KEPT = 96
"""Sets of readings remembered by one model, up to 2 MB each; a visit's whole tree has as many."""

DROPPED = 1e-6
"""Components less likely than this beside the likeliest are not carried on."""

POINTS = len(SPOTS)

UNMOVED = 1e-4
"""Change of y that is the solver's, not a loss's."""

RUN_SPREAD = 0.6
"""How far along the trunk a further inlet is, as a standard deviation in what lies between the
inlet complained of and the other one (taps evenly along the trunk)."""

SELDOM_SEEN = 0.1
"""Ways of seeing a loss from further inlets that are rarer are not taken with a second loss too."""

_AT_ONCE = 200
"""Sets of readings worked out together, for the memory's sake: some 100 MB."""

SAYS_NOTHING = 0.02
"""Share of sets of readings that say nothing about the fault (assumed)."""


@dataclass(frozen=True)
class LabelDoubt:
    """How far a unit in good order is from what its baseline promises, as standard deviations.

    Attributes:
        both: sealed suction and airflow together, as by speed.
        sealed: sealed suction alone.
        airflow: airflow alone.
        tubing: resistance of tubing.
        hose: resistance of the hose.
    """

    both: float
    sealed: float
    airflow: float
    tubing: float
    hose: float


LABEL_DOUBT: Mapping[str, LabelDoubt] = {
    "rated": LabelDoubt(0.035, 0.02, 0.07, 0.35, 0.15),
    "class": LabelDoubt(0.09, 0.05, 0.09, 0.35, 0.15),
    "last-visit": LabelDoubt(0.015, 0.01, 0.03, 0.10, 0.05),
}
"""By where the baseline comes from (assumed; wider than the tolerances that are printed).

Airflow is in more doubt than its tolerance: a fan line that bows off the straight one at half flow
reads like one that ends elsewhere. On houses drawn with such bows half of it took one reading in
ten that was called certain for the wrong kind of fault.
"""

VARIED = 0.04
"""By how much suction and airflow are varied for their slopes."""

THIN_AIR = 1.0 / 6.0
"""Of |ln density|: fans answer to thin air by another power than the model's (assumed)."""


class GaugeModel:
    """P(readings | fault) for one rule set and one house.

    Args:
        knowledge: whose faults.
        baseline: what this system should read, and the air path behind that.
        visit: what is known of the house.

    Attributes:
        common: how common each fault is, shape (F,), summing to 1.
    """

    def __init__(self, knowledge: Knowledge, baseline: Baseline, visit: Visit) -> None:
        self.knowledge = knowledge
        self._expected = np.array([baseline.at(*spot) for spot in SPOTS])
        self._levels = knowledge.levels
        wide = baseline.wide
        edges = [level.below_class if wide else level.below for level in self._levels]
        shares = np.array([edge for edge in edges if edge is not None])
        self._edges = logs(shares[None, :] * self._expected[:, None], self._expected[:, None])
        doubts = _doubts(baseline, visit)
        self._listed = max(len(visit.site.inlets) - 1, 0)
        losses = losses_of(knowledge, baseline, doubts, 1.0 - chance_at(1, self._listed))
        self.losses = losses
        common = np.array([fault.weight for fault in knowledge.faults.values()])
        tolerance = visit.gauge.tolerance / sqrt(3.0)
        reading = np.concatenate([losses.reading, losses.pair_reading])
        noise = (tolerance * reading) ** 2 + RESOLUTION_INH2O**2
        # Singles, then pairs: what the stations read, how that moves, how far each is off alone.
        self._stations = _Stations(
            logs(reading, self._expected),
            np.concatenate([losses.slope, losses.slope[losses.pair_row]]),
            noise / (reading + OFFSET_INH2O) ** 2 + HOUSE_SPREAD**2,
        )
        # Nothing wrong and a fault beside it is that fault.
        broken = [fault.mode is not Mode.NORMAL for fault in knowledge.faults.values()]
        self._second = np.where(broken, COMPANION, 0.0)[:, None]
        self.common = common / common.sum()
        self._tables: dict[tuple[Further, ...], _Table] = {}
        self._posteriors: OrderedDict[tuple[frozenset[tuple[Spot, float]], _Table], _Given] = (
            OrderedDict()
        )

    def likelihood(self, before: Mapping[Spot, float], spot: Spot, value: float) -> Floats:
        """P(this reading | fault, the readings before), a density in y, shape (F,).

        Args:
            before: readings taken, inH2O, this one not among them.
            spot: where it was taken.
            value: what was read, inH2O.
        """
        given = self._given(before, spot)
        centre, spread = given.ahead(given.table.column(spot))
        y = logs(np.array([value]), self._expected_at(spot))[0]
        density = np.exp(-0.5 * ((y - centre) / spread) ** 2) / (spread * sqrt(2.0 * np.pi))
        return self._mixed(given, density[:, None])[:, 0]

    def levels(self, before: Mapping[Spot, float], spot: Spot) -> Floats:
        """P(level | fault, the readings before) at a spot, shape (levels, F)."""
        given = self._given(before, spot)
        column = given.table.column(spot)
        if column not in given.levels:
            centre, spread = given.ahead(column)
            below = normal_below((self._edges[_like(spot)] - centre[:, None]) / spread[:, None])
            chance = np.diff(below, axis=1, prepend=0.0, append=1.0)
            given.levels[column] = self._mixed(given, chance).T
        return given.levels[column]

    def foretold(self, readings: Mapping[Spot, float]) -> Floats:
        """P(the readings | fault) up to one factor, shape (F,)."""
        return self._with_silence(self._given(readings).now)

    def foretold_many(
        self,
        spots: Sequence[Spot],
        values: Floats,
        otherwise: Sequence[Sequence[Fault]] = (),
    ) -> Floats:
        """P(the readings | fault) of many sets of readings at the same stations.

        Args:
            spots: where they were taken; stations, no further inlets.
            values: what was read, inH2O, shape (N, spots).
            otherwise: the faults as they might be as well, with other ranges of sizes.

        Returns:
            shape (1 + otherwise, N, F), up to a factor of each set.
        """
        table = self._table(())
        columns = [table.column(spot) for spot in spots]
        if not columns:
            return np.ones((1 + len(otherwise), len(values), len(self.common)))
        mixtures = [table.mixture, *(table.mixed(self.losses.weighed(one)) for one in otherwise)]
        seen = table.covariance[:, columns][:, :, columns]
        gain = np.linalg.inv(seen)
        half = -0.5 * np.linalg.slogdet(seen)[1][:, None]
        y = logs(values, self._expected[columns])
        found = []
        for some in np.array_split(y, max(len(y) // _AT_ONCE, 1)):
            off = some.T[None] - table.mean[:, columns, None]
            log = half - 0.5 * (off * (gain @ off)).sum(axis=1)
            density = np.exp(log - log.max(axis=0))
            found.append(np.stack([self._with_silence(one.under(density)).T for one in mixtures]))
        return np.concatenate(found, axis=1)

    def drawn_levels(self, faults: Integers, generator: np.random.Generator) -> Integers:
        """Levels that could be read at every station, drawn together from P(all | fault).

        Args:
            faults: columns of the faults that are there, one a house, (N,).
            generator: where the chance comes from.

        Returns:
            numbers of levels, (N, points).
        """
        table, count = self._table(()), len(faults)
        says_nothing = generator.random(count) < SAYS_NOTHING
        anything = generator.choice(len(self.common), size=count, p=self.common)
        part = table.mixture.drawn(np.where(says_nothing, anything, faults), generator)
        used, which = np.unique(part, return_inverse=True)
        root = np.linalg.cholesky(table.covariance[used][:, :POINTS, :POINTS])[which]
        luck = generator.standard_normal((count, POINTS, 1))
        y = table.mean[part, :POINTS] + (root @ luck)[:, :, 0]
        return np.asarray((self._edges[None] <= y[:, :, None]).sum(axis=2))

    def sizes(self, readings: Mapping[Spot, float]) -> Normals:
        """Size of the loss behind each fault, given the readings; NaN where it has none or two."""
        given = self._given(readings)
        centre, spread = given.ahead(given.table.size)
        row = given.table.row[given.kept]
        step = self.losses.size_spread[row]
        return given.normals(self.losses.size[row] + step * centre, np.abs(step) * spread)

    def two(self, readings: Mapping[Spot, float], belief: Floats) -> float:
        """Chance that there are two losses, given the readings and the belief in faults, (F,)."""
        given = self._given(readings)
        parts = given.normals(*given.ahead(0))
        return float(parts.shares(belief)[parts.second >= 0].sum())

    def supposed(self, readings: Mapping[Spot, float], spot: Spot) -> Normals:
        """What the gauge would read at a spot under each fault, given the readings, as y."""
        given = self._given(readings, spot)
        return given.normals(*given.ahead(given.table.column(spot)))

    def leaking(self, readings: Mapping[Spot, float], belief: Floats) -> dict[int, float]:
        """Chance that a leak at another inlet is at each of those read, by their numbers.

        Args:
            readings: what was read, inH2O.
            belief: in each fault, shape (F,); of faults that leak at another inlet they sum to
                what the result sums to, but for 0, which is an inlet that was not read.
        """
        given = self._given(readings)
        parts = given.normals(*given.ahead(0))
        at = given.table.leaks_at[given.kept][given.joint.part]
        effects = [line_of(fault.effect) for fault in self.knowledge.faults.values()]
        leak = np.array([line == "hole other-inlet" for line in effects])[parts.fault]
        share = parts.shares(belief) * leak
        sums = np.bincount(at, share)
        return {int(number): float(sums[number]) for number in np.flatnonzero(np.bincount(at))}

    def leaves_alone(self, fault_id: str, spot: Spot) -> bool:
        """Whether a fault, however large it is, does not show in what is read at a spot.

        Never so of a fault that the air path knows nothing of.
        """
        effect = self.knowledge.faults[fault_id].effect
        rows = self.losses.line == self.losses.lines.index(line_of(effect))
        moved = np.abs(self.losses.mean[rows, _like(spot)]).max()
        return bool(effect.ranges()) and bool(moved < UNMOVED)

    def beyond_order(self, spot: Spot, value: float) -> float:
        """How far a reading is from what is read where nothing is wrong, in standard deviations.

        Args:
            spot: a station.
            value: inH2O; below what is expected the result is negative.
        """
        row, column = self.losses.line.tolist().index(self.losses.lines.index(NO_LOSS)), _like(spot)
        stations = self._stations
        variance = float((stations.slope[row, column] ** 2).sum() + stations.own[row, column])
        y = logs(np.array([value]), self._expected_at(spot))[0]
        return float(y - stations.mean[row, column]) / sqrt(variance)

    def _expected_at(self, spot: Spot) -> Floats:
        return np.asarray(self._expected[_like(spot)])

    def _table(self, inlets: tuple[Further, ...]) -> _Table:
        if inlets not in self._tables:
            seen = seen_from(self.losses, inlets, self._listed)
            self._tables[inlets] = self._laid_out(inlets, seen)
        return self._tables[inlets]

    def _laid_out(self, inlets: tuple[Further, ...], seen: Seen) -> _Table:
        """Singles, pairs and singles read badly, with columns for some further inlets."""
        losses, stations = self.losses, self._stations
        singles, several = len(losses.line), len(losses.pair_row)
        seconds = several // np.count_nonzero(np.bincount(losses.pair_row))
        # Where a loss stands in the first of the blocks of pairs.
        paired = np.full(singles, -1)
        block = losses.pair_row[: several // seconds]
        paired[block] = np.arange(len(block))
        with_second = np.flatnonzero((paired[seen.row] >= 0) & (seen.share > SELDOM_SEEN))
        step = np.repeat(np.arange(seconds), len(with_second)) * len(block) + singles
        both = np.tile(with_second, seconds)
        single = np.concatenate([np.arange(len(seen.row)), both])
        base = np.concatenate([seen.row, step + paired[seen.row[both]]])
        source = np.concatenate([seen.source, step[:, None] + paired[seen.source[both]]])
        columns = [np.broadcast_to(np.arange(POINTS), (len(base), POINTS))]
        rows = [np.broadcast_to(base[:, None], (len(base), POINTS))]
        for number in range(len(inlets)):
            near = seen.near[single, number][:, None] > 0
            columns.append(np.where(near, _AT_INLET, _AT_OTHER))
            rows.append(np.repeat(source[:, number, None], len(_AT_OTHER), axis=1))
        row, column = np.concatenate(rows, axis=1), np.concatenate(columns, axis=1)
        size = row.shape[1]
        last = ((0, 0), (0, 1))
        mean = np.pad(stations.mean[row, column], last)
        slope = np.pad(stations.slope[row, column], (*last, (0, 0)))
        slope[:, size, -1] = 1.0
        own = np.pad(stations.own[row, column], last)
        between = np.log(self._expected[_AT_OTHER] / self._expected[_AT_INLET])
        own[:, POINTS:size] += np.tile((RUN_SPREAD * between) ** 2, len(inlets))
        shared = slope @ slope.transpose(0, 2, 1)
        eye = np.eye(size + 1)
        alone = len(seen.row)
        covariance = shared + own[:, :, None] * eye
        # The same losses read badly.
        stray = shared[:alone] + (STRAY_TIMES**2 * own[:alone])[:, :, None] * eye
        besides = step - singles + paired[seen.row[both]]
        chance = losses.pair_chance[besides]

        def mixed(weight: Floats) -> _Mixture:
            weight = weight[:, seen.row] * seen.share
            pairs = weight[:, both] * chance
            pairs /= np.maximum(pairs.sum(axis=1, keepdims=True), 1e-300)
            by_fault = np.concatenate(
                [(1.0 - self._second - STRAY) * weight, self._second * pairs, STRAY * weight],
                axis=1,
            )
            fault, part = np.nonzero(by_fault)
            return _Mixture(fault, part, by_fault[fault, part])

        single = np.concatenate([single, np.arange(alone)])
        none = np.full(alone, -1)
        return _Table(
            inlets=inlets,
            mean=np.concatenate([mean, mean[:alone]]),
            covariance=np.concatenate([covariance, stray]),
            mixture=mixed(losses.weight),
            mixed=mixed,
            row=seen.row[single],
            leaks_at=seen.leaks_at[single],
            second=np.concatenate([none, losses.pair_line[besides], none]),
        )

    def _given(self, readings: Mapping[Spot, float], ahead: Spot | None = None) -> _Given:
        spots = [*readings, *([] if ahead is None else [ahead])]
        table = self._table(tuple(sorted({at for _, at in spots if isinstance(at, Further)})))
        key = frozenset(readings.items()), table
        if key not in self._posteriors:
            columns = [table.column(spot) for spot in readings]
            values = np.array([readings[spot] for spot in readings])
            expected = np.array([self._expected_at(spot) for spot in readings])
            y = logs(values, expected) if columns else np.empty(0)
            self._posteriors[key] = _Given(table, columns, y)
        self._posteriors.move_to_end(key)
        if len(self._posteriors) > MOST_KEPT:
            self._posteriors.popitem(last=False)
        return self._posteriors[key]

    def _mixed(self, given: _Given, chance: Floats) -> Floats:
        """Chances of each component as chances under each fault, (components, k) -> (F, k).

        P(next, given) / P(given), each with its share of readings that say nothing.
        """
        ahead = self._with_silence(given.joint.under(chance))
        return np.asarray(ahead / self._with_silence(given.now)[:, None])

    def _with_silence(self, chance: Floats) -> Floats:
        """Chances under each fault, (F, ...), with the share of readings that say nothing."""
        return np.asarray((1.0 - SAYS_NOTHING) * chance + SAYS_NOTHING * (self.common @ chance))


@dataclass(frozen=True)
class Normals:
    """A mixture of normal distributions for each fault, as a sparse table.

    Attributes:
        fault: row of each entry.
        chance: P(entry | fault), summing to 1 over each fault.
        centre: mean of each.
        spread: its standard deviation.
        second: the line of `Losses` of a second loss that is there as well, -1 where none is.
    """

    fault: Integers
    chance: Floats
    centre: Floats
    spread: Floats
    second: Integers

    def shares(self, belief: Floats) -> Floats:
        """P(entry) where faults are believed in, (F,), in whatever scale that is."""
        return np.asarray(belief[self.fault] * self.chance)


@dataclass(frozen=True)
class _Mixture:
    """Which components each fault is made of, as a sparse table, by fault.

    Attributes:
        fault: row of each entry, rising; every fault has one.
        part: its component.
        chance: P(component | fault), or that times how well it foretold what was read.
    """

    fault: Integers
    part: Integers
    chance: Floats

    @cached_property
    def _starts(self) -> Integers:
        return np.flatnonzero(np.diff(self.fault, prepend=-1))

    def under(self, chance: Floats) -> Floats:
        """Sum over each fault's components, (components, k) -> (faults, k)."""
        return np.asarray(
            np.add.reduceat(self.chance[:, None] * chance[self.part], self._starts, axis=0)
        )

    def drawn(self, faults: Integers, generator: np.random.Generator) -> Integers:
        """A component of each of some faults, by how likely it is, (N,)."""
        until = self.chance.cumsum()
        ends = np.append(self._starts[1:], len(until))
        begin = np.append(0.0, until)[self._starts[faults]]
        luck = begin + generator.random(len(faults)) * (until[ends[faults] - 1] - begin)
        return np.asarray(self.part[np.searchsorted(until, luck, side="right")])

    def after(self, density: Floats) -> tuple[_Mixture, Integers]:
        """The mixture once something was read, and which components are carried on.

        Args:
            density: of what was read under each component, up to one factor.
        """
        joint = self.chance * density[self.part]
        best = np.maximum.reduceat(joint, self._starts)
        kept = (joint >= best[self.fault]) | (joint > DROPPED * best.max())
        parts = np.flatnonzero(np.bincount(self.part[kept]))
        renamed = np.searchsorted(parts, self.part[kept])
        return _Mixture(self.fault[kept], renamed, joint[kept]), parts


@dataclass(frozen=True)
class _Stations:
    """Singles and pairs as the ten points see them: y, its slopes, its variance alone."""

    mean: Floats
    slope: Floats
    own: Floats


@dataclass(frozen=True, eq=False)
class _Table:
    """All components of a house, with two columns for each of some further inlets, then the size.

    Attributes:
        inlets: the further ones.
        mean: of each component, (components, columns).
        covariance: of each, (components, columns, columns).
        mixture: which of them each fault is made of.
        mixed: the same for another P(loss | fault).
        row: the loss of `Losses` each stems from.
        leaks_at: number of the other inlet it leaks at, 0 for none.
        second: the line of a second loss beside it, -1 for none.
    """

    inlets: tuple[Further, ...]
    mean: Floats
    covariance: Floats
    mixture: _Mixture
    mixed: Callable[[Floats], _Mixture]
    row: Integers
    leaks_at: Integers
    second: Integers

    @property
    def size(self) -> int:
        """The column after the points: a loss's size beside the one tabled, in its own spreads."""
        return int(self.mean.shape[1]) - 1

    def column(self, spot: Spot) -> int:
        """The column of a spot."""
        state, at = spot
        if isinstance(at, Further):
            return POINTS + self.inlets.index(at) * len(AirState) + list(AirState).index(state)
        return SPOTS.index((state, at))


def _like(spot: Spot) -> int:
    """The column of the station that a spot is like."""
    return SPOTS.index((spot[0], Station(spot[1].value)))


_AT_OTHER, _AT_INLET = (
    np.array([SPOTS.index((state, station)) for state in AirState])
    for station in (Station.OTHER, Station.INLET)
)


class _Given:
    """The components after some readings: how well each foretold them, what it says of the rest.

    Attributes:
        table: what they are.
        joint: P(component, the readings | fault) up to one factor.
        kept: which components are carried on.
        now: P(the readings | fault) up to the same factor, shape (F,).
        levels: tables worked out already, by column.
    """

    def __init__(self, table: _Table, columns: Sequence[int], y: Floats) -> None:
        mean, covariance, mixture = table.mean, table.covariance, table.mixture
        self.table = table
        self.levels: dict[int, Floats] = {}
        self._columns = list(columns)
        if not columns:
            self.kept = np.arange(len(mean))
            self._mean, self._covariance, self.joint = mean, covariance, mixture
        else:
            seen = covariance[:, self._columns][:, :, self._columns]
            gain = np.linalg.inv(seen)
            off = y - mean[:, self._columns]
            pull = (gain @ off[:, :, None])[:, :, 0]
            log = -0.5 * (off * pull).sum(axis=1) - 0.5 * np.linalg.slogdet(seen)[1]
            # A common factor leaves every ratio as it is; the best component stands at 1.
            self.joint, self.kept = mixture.after(np.exp(log - log.max()))
            self._mean, self._covariance = mean[self.kept], covariance[self.kept]
            self._gain, self._pull = gain[self.kept], pull[self.kept]
        self.now = self.joint.under(np.ones((len(self.kept), 1)))[:, 0]

    def normals(self, centre: Floats, spread: Floats) -> Normals:
        """Something that is normal under each component carried on, put together by fault."""
        parts = self.joint
        now = self.now[parts.fault]
        # A fault that cannot have made these readings still keeps its best component.
        alone = 1.0 / np.bincount(parts.fault)[parts.fault]
        chance = np.where(now > 0.0, parts.chance / np.where(now > 0.0, now, 1.0), alone)
        second = self.table.second[self.kept][parts.part]
        return Normals(parts.fault, chance, centre[parts.part], spread[parts.part], second)

    def ahead(self, column: int) -> tuple[Floats, Floats]:
        """Mean and standard deviation of a column, given the readings, (components kept,)."""
        variance = self._covariance[:, column, column]
        if not self._columns:
            return self._mean[:, column], np.sqrt(variance)
        beside = self._covariance[:, column, self._columns]
        centre = self._mean[:, column] + (beside * self._pull).sum(axis=1)
        less = ((beside[:, None, :] @ self._gain)[:, 0, :] * beside).sum(axis=1)
        return centre, np.sqrt(np.maximum(variance - less, 1e-8))


_KEPT: OrderedDict[tuple[int, str], GaugeModel] = OrderedDict()


def gauge_model(knowledge: Knowledge, baseline: Baseline, visit: Visit) -> GaugeModel:
    """The model of a house, solved once however many sessions are about it."""
    known = {"unit", "site", "house", "gauge", "last_good", "earlier"}
    key = id(knowledge), visit.model_dump_json(include=known)
    if key not in _KEPT or _KEPT[key].knowledge is not knowledge:
        _KEPT[key] = GaugeModel(knowledge, baseline, visit)
    _KEPT.move_to_end(key)
    if len(_KEPT) > MOST_HOUSES:
        _KEPT.popitem(last=False)
    return _KEPT[key]


def _doubts(baseline: Baseline, visit: Visit) -> list[Variation]:
    """What is not known of the house, each as a variation over a number of standard deviations."""
    doubt = LABEL_DOUBT[baseline.origin]
    thin = THIN_AIR * abs(np.log(density_at(visit.site.altitude_ft)))
    if baseline.origin == "last-visit":
        thin = 0.0
    # Two gauges that are each off by up to their tolerance, all readings of one alike.
    both = float(np.sqrt(doubt.both**2 + thin**2 + baseline.gauge**2 / 3.0))
    airflow = doubt.airflow
    if baseline.origin == "rated" and visit.unit.rated_airflow is None:
        airflow = LABEL_DOUBT["class"].airflow
    tubing = doubt.tubing / (3.0 if visit.house.tubing_ft is not None else 1.0)
    hose = doubt.hose / (2.0 if visit.house.hose_ft is not None else 1.0)
    old = (visit.unit.age_years or 10.0) / 20.0
    tubes = ("trunk.length_ft", "trunk.fittings", "branch.length_ft", "branch.fittings")
    label = {"fan.sealed_inh2o": 1 + VARIED, "fan.airflow_cfm": 1 + VARIED / 2}
    return [
        Variation(label, VARIED / both),
        Variation({"fan.sealed_inh2o": 1 + VARIED}, VARIED / doubt.sealed),
        Variation({"fan.airflow_cfm": 1 + VARIED}, VARIED / airflow),
        Variation(dict.fromkeys(tubes, 1.3), 0.3 / tubing),
        Variation({"hose.length_ft": 1.2, "hose.fittings": 1.2}, 0.2 / hose),
        Variation({"holes.trunk": 0.1 * sqrt(min(max(old, 0.3), 2.0))}, 1.0),
        Variation({"filter.loading": 3.0}, 1.5),
    ]


def normal_below(z: Floats) -> Floats:
    """The standard normal distribution function (Abramowitz and Stegun 26.2.17, error 7.5e-8)."""
    t = 1.0 / (1.0 + 0.2316419 * np.abs(z))
    poly = t * (
        0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429)))
    )
    upper = np.exp(-0.5 * z * z) / sqrt(2.0 * np.pi) * poly
    return np.asarray(np.where(z >= 0.0, 1.0 - upper, upper))
