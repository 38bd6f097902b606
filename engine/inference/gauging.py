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
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import sqrt

import numpy as np

from stillflow.engine.airflow import density_at
from stillflow.engine.base import Floats, Integers, Mode
from stillflow.engine.inference.baseline import Baseline
from stillflow.engine.inference.facts import Spot
from stillflow.engine.inference.losses import (
    OFFSET_INH2O,
    SPOTS,
    Variation,
    logs,
    losses_of,
)
from stillflow.engine.inference.visit import Visit
from stillflow.engine.ruleset import Knowledge

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

MOST_KEPT = 2_000
"""Sets of readings remembered by one model."""

DROPPED = 1e-6
"""Components less likely than this beside the likeliest are not carried on."""

SIZE = len(SPOTS)
"""The column after the points: a loss's size beside the one tabled, in its own spreads."""

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
    "rated": LabelDoubt(0.035, 0.02, 0.03, 0.35, 0.15),
    "class": LabelDoubt(0.09, 0.05, 0.06, 0.35, 0.15),
    "last-visit": LabelDoubt(0.015, 0.01, 0.015, 0.10, 0.05),
}
"""By where the baseline comes from (assumed; wider than the tolerances that are printed)."""

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
        losses = losses_of(knowledge, baseline, doubts)
        self.losses = losses
        common = np.array([fault.how_common.weight for fault in knowledge.faults.values()])
        tolerance = visit.gauge.tolerance / sqrt(3.0)
        singles, beside = len(losses.line), losses.pair_row
        reading = np.concatenate([losses.reading, losses.pair_reading])
        last = ((0, 0), (0, 1))
        mean = np.pad(logs(reading, self._expected), last)
        slope = np.pad(np.concatenate([losses.slope, losses.slope[beside]]), (*last, (0, 0)))
        slope[:, SIZE, -1] = 1.0
        noise = (tolerance * reading) ** 2 + RESOLUTION_INH2O**2
        own = np.pad(noise / (reading + OFFSET_INH2O) ** 2 + HOUSE_SPREAD**2, last)
        shared = slope @ slope.transpose(0, 2, 1)
        eye = np.eye(SIZE + 1)
        covariance = shared + own[:, :, None] * eye
        # The same losses read badly.
        stray = shared[:singles] + (STRAY_TIMES**2 * own[:singles])[:, :, None] * eye
        self._mean = np.concatenate([mean, mean[:singles]])
        self._covariance = np.concatenate([covariance, stray])
        own_row = np.arange(singles)
        # The single loss each component stems from.
        self._source = np.concatenate([own_row, beside, own_row])
        pairs = losses.weight[:, beside] * losses.pair_chance
        pairs /= np.maximum(pairs.sum(axis=1, keepdims=True), 1e-300)
        # Nothing wrong and a fault beside it is that fault.
        broken = [fault.mode is not Mode.NORMAL for fault in knowledge.faults.values()]
        second = np.where(broken, COMPANION, 0.0)[:, None]
        weight = np.concatenate(
            [
                (1.0 - second - STRAY) * losses.weight,
                second * pairs,
                STRAY * losses.weight,
            ],
            axis=1,
        )
        fault, part = np.nonzero(weight)
        self._mixture = _Mixture(fault, part, weight[fault, part])
        self.common = common / common.sum()
        self._posteriors: dict[frozenset[tuple[Spot, float]], _Given] = {}

    def likelihood(self, before: Mapping[Spot, float], spot: Spot, value: float) -> Floats:
        """P(this reading | fault, the readings before), a density in y, shape (F,).

        Args:
            before: readings taken, inH2O, this one not among them.
            spot: where it was taken.
            value: what was read, inH2O.
        """
        given = self._given(before)
        column = SPOTS.index(spot)
        centre, spread = given.ahead(column)
        y = logs(np.array([value]), self._expected[column])[0]
        density = np.exp(-0.5 * ((y - centre) / spread) ** 2) / (spread * sqrt(2.0 * np.pi))
        return self._mixed(given, density[:, None])[:, 0]

    def levels(self, before: Mapping[Spot, float], spot: Spot) -> Floats:
        """P(level | fault, the readings before) at a spot, shape (levels, F)."""
        given = self._given(before)
        column = SPOTS.index(spot)
        if column not in given.levels:
            centre, spread = given.ahead(column)
            below = normal_below((self._edges[column] - centre[:, None]) / spread[:, None])
            chance = np.diff(below, axis=1, prepend=0.0, append=1.0)
            given.levels[column] = self._mixed(given, chance).T
        return given.levels[column]

    def foretold(self, readings: Mapping[Spot, float]) -> Floats:
        """P(the readings | fault) up to one factor, shape (F,)."""
        return self._with_silence(self._given(readings).now)

    def sizes(self, readings: Mapping[Spot, float]) -> Normals:
        """Size of the loss behind each fault, given the readings; NaN where it has none or two."""
        given = self._given(readings)
        centre, spread = given.ahead(SIZE)
        row = self._source[given.kept]
        step = self.losses.size_spread[row]
        return given.normals(self.losses.size[row] + step * centre, np.abs(step) * spread)

    def supposed(self, readings: Mapping[Spot, float], spot: Spot) -> Normals:
        """What the gauge would read at a spot under each fault, given the readings, as y."""
        given = self._given(readings)
        return given.normals(*given.ahead(SPOTS.index(spot)))

    def _given(self, readings: Mapping[Spot, float]) -> _Given:
        key = frozenset(readings.items())
        if key not in self._posteriors:
            if len(self._posteriors) > MOST_KEPT:
                self._posteriors.clear()
            columns = [SPOTS.index(spot) for spot in readings]
            values = np.array([readings[spot] for spot in readings])
            y = logs(values, self._expected[columns]) if columns else np.empty(0)
            self._posteriors[key] = _Given(self._mean, self._covariance, self._mixture, columns, y)
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
    """

    fault: Integers
    chance: Floats
    centre: Floats
    spread: Floats


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

    def after(self, density: Floats) -> tuple[_Mixture, Integers]:
        """The mixture once something was read, and which components are carried on.

        Args:
            density: of what was read under each component, up to one factor.
        """
        joint = self.chance * density[self.part]
        best = np.maximum.reduceat(joint, self._starts)
        kept = (joint >= best[self.fault]) | (joint > DROPPED * best.max())
        parts, renamed = np.unique(self.part[kept], return_inverse=True)
        return _Mixture(self.fault[kept], renamed, joint[kept]), parts


class _Given:
    """The components after some readings: how well each foretold them, what it says of the rest.

    Attributes:
        joint: P(component, the readings | fault) up to one factor.
        kept: which components are carried on.
        now: P(the readings | fault) up to the same factor, shape (F,).
        levels: tables worked out already, by column.
    """

    def __init__(
        self,
        mean: Floats,
        covariance: Floats,
        mixture: _Mixture,
        columns: Sequence[int],
        y: Floats,
    ) -> None:
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
        return Normals(parts.fault, chance, centre[parts.part], spread[parts.part])

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
    known = {"unit", "site", "house", "gauge", "last_good"}
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
    both = float(np.hypot(doubt.both, thin))
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
