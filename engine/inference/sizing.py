"""What the belief comes to as losses: a handful of kinds and stretches, each with chance and size.

Summed from one posterior, P(fault | all that is known) x P(loss | fault, readings), so that sizes,
ties and what is left at the hose end can say nothing else than the belief does.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

import numpy as np
from pydantic import Field

from stillflow.engine.airflow import (
    CFM_LS,
    Effect,
    HoleEffect,
    HoseSizeEffect,
    LoadingEffect,
    MotorDeadEffect,
    Reading,
    SpeedEffect,
    System,
    ThroatEffect,
    air_watts,
    apply,
    orifice_flow,
    possible_watts,
)
from stillflow.engine.base import (
    MOST_SUCTION_INH2O,
    AirState,
    Flags,
    Floats,
    Mode,
    Model,
    Station,
)
from stillflow.engine.inference.baseline import Baseline
from stillflow.engine.inference.facts import Spot
from stillflow.engine.inference.gauging import GaugeModel, Normals, normal_below
from stillflow.engine.inference.inlets import At, inlet_words, name_of
from stillflow.engine.inference.losses import SPOTS, line_of, logs, reading_of
from stillflow.engine.ruleset import Fault, Knowledge

Kind = Literal["leak", "throat", "speed", "gauge", "other", "label", "none"]

ENDS_90 = (0.05, 0.5, 0.95)
"""Where a 90 % interval begins, its median, and where it ends."""

MOST_CANDIDATES = 6
LEAST_CHANCE = 0.05
"""Kinds of loss less likely than this are not named."""

TOLD_APART = 3.0
"""Readings that foretell one kind of loss so many times better than another tell the two apart."""

ODD = 0.001
"""A reading less likely than this, given all others, does not go with them. How often it is so with
one loss, two losses and a slip is a slow test of the sizes."""

FAINT = 1e-4
"""Parts of a mixture that weigh less are left out of its quantiles."""

NO_SINGLE = 0.85
"""From this chance of two losses on, no single one is said to explain the readings."""

MOST_PAIRS, PAIRS_NAMED = 3, 0.97
"""Pairs are named until they make up this share of all that two losses explain."""

UNDER_LABEL = (0.05, 0.25)
"""Common practice: units in good order are 5 to 20 % under their label; a little wider."""

ALIKE = 0.06
"""Shares of expected that differ by no more may be the gauge's doing: three tolerances."""

UNSEEN = 0.7
"""A size whose interval stays wider than this share of what it was is not told by the readings."""

_STRETCH = {
    "motor": "unit",
    "bin": "unit",
    "utility": "unit",
    "intake": "unit",
    "exhaust": "unit",
    "inlet": "branch",
    "other-inlet": "other",
}
"""The stretch of the air path a place of a loss lies on; others have their own name."""

_TUBING = ("trunk", "branch", "other")

_UNIT = {
    "hole": "in",
    "throat": "in",
    "orifice": "in",
    "speed": "of full speed",
    "gauge-factor": "of the true suction",
    "gauge-offset": "inH2O",
}


class Candidate(Model):
    """One kind of loss in one stretch of the air path, with all that is believed of it.

    Attributes:
        cause: name, such as `leak-unit`.
        kind: `leak`, `throat`, `speed`, `gauge` (the measurement), `label` (never made what it
            promises), `none` (nothing wrong), `other` (nothing that a gauge sees).
        stretch: `unit`, `trunk`, `branch` (with its inlet), `other` (inlets), `hose`, `tool`, ...
        chance: probability of all its faults together.
        size: median; None where it has none, or where the readings say nothing of it.
        low: lower end of the 90 % credible interval.
        high: upper end.
        unit: of the sizes.
        faults: ids of its faults, the likeliest first.
        tied_with: other candidates that the readings cannot tell from it.
    """

    cause: str
    kind: Kind
    stretch: str
    chance: float
    size: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""
    faults: tuple[str, ...]
    tied_with: tuple[str, ...] = ()


class Together(Model):
    """Two losses that explain the readings together.

    Attributes:
        chance: that it is these. Rough, as sizes are: a second loss is solved at two sizes only.
        losses: both.
    """

    chance: float
    losses: tuple[Candidate, Candidate]


class Supposed(Model):
    """What the gauge would show where it was not put, inH2O: median and 90 % interval."""

    station: Station
    condition: AirState
    inh2o: float
    low: float
    high: float


class Odd(Model):
    """A reading that does not go with the others, and what they make likely there, inH2O.

    `tail` is the chance of one as far off.
    """

    station: Station
    condition: AirState
    inlet: str | None = None
    inh2o: float
    likely: float
    low: float
    high: float
    tail: float = Field(0.0, exclude=True)

    def said(self, at: str = "") -> str:
        """Where it was read, what it is, and what it would be; `at` as the place is called."""
        at = at or (inlet_words(self.inlet) if self.inlet else self.station.words)
        return (
            f"{self.condition.capitalize()} at {at}, {self.inh2o:.0f} does not go with the rest, "
            f"by which it would be {self.likely:.0f} ({self.low:.0f} to {self.high:.0f})"
        )


class Opening(Model):
    """What comes in at the opening of one station while it works.

    Attributes:
        station: where.
        inlet: its name, where it is an inlet that has no station of its own.
        supposed: not read there, but foretold from the other readings.
        suction_inh2o: suction left there.
        airflow_cfm: airflow through the orifice, cfm of room air.
        airflow_ls: the same, L/s.
        air_watts: air power there.
    """

    station: Station
    inlet: str | None = None
    supposed: bool
    suction_inh2o: float
    airflow_cfm: float
    airflow_ls: float
    air_watts: float


class Sizes(Model):
    """What all that is known says of losses.

    Attributes:
        readings: as taken, gauge zero taken off.
        expected: what the system should read at each, inH2O.
        healthy: probability that nothing is wrong.
        candidates: the likeliest first.
        stretch: where the trouble is as far as told: a candidate's stretch, `tubing` for trunk,
            branch and inlets, `none`, or `unclear`.
        ambiguous_with: what the readings cannot tell from the likeliest candidate.
        under_label: share by which every reading alike is short of what the label or the class
            promises; None where they are not short alike.
        two: probability that there are two losses.
        together: which, the likeliest first, where hardly any single one explains the readings.
        supposed: what the gauge would show where it was not put.
        odd: the reading that goes least with the others, where it does not.
        openings: each station read working; the hose end last, supposed where it was not read.
        possible_watts: the greatest air power the healthy unit can make.
        share_at_hose: of it, what is left at the hose end.
        share_at_hose_supposed: whether nothing was read working there.
        healthy_share_at_hose: what should be left there.
    """

    readings: tuple[Reading, ...]
    expected: tuple[float, ...]
    healthy: float
    candidates: tuple[Candidate, ...]
    stretch: str
    ambiguous_with: tuple[str, ...]
    under_label: float | None
    two: float
    together: tuple[Together, ...]
    supposed: tuple[Supposed, ...]
    odd: Odd | None
    openings: tuple[Opening, ...]
    possible_watts: float
    share_at_hose: float
    share_at_hose_supposed: bool
    healthy_share_at_hose: float


def sizes_of(
    knowledge: Knowledge,
    baseline: Baseline,
    gauge: GaugeModel,
    readings: Mapping[Spot, float],
    belief: Floats,
) -> Sizes | None:
    """What the readings and the belief say of losses; None without either.

    Args:
        knowledge: whose faults.
        baseline: what this system should read, and the air path behind that.
        gauge: what readings say of the faults in this house.
        readings: suction in inH2O by state and station, gauge zero taken off.
        belief: probability of each fault, shape (F,).
    """
    if not readings or not belief.any():
        return None
    return _Summed(knowledge, baseline, gauge, readings, belief).result()


def found_system(knowledge: Knowledge, system: System, sizes: Sizes) -> System:
    """The system with the likeliest loss or two put in at their sizes, where that can be drawn."""
    found = system
    if sizes.odd is not None and not sizes.together:
        return system
    for one in sizes.together[0].losses if sizes.together else sizes.candidates[:1]:
        effect = knowledge.faults[one.faults[0]].effect
        if one.size is None or _unit(effect) != one.unit:
            return system
        found = apply(found, effect, one.size)
    return found


class _Summed:
    """One posterior, summed in several ways."""

    def __init__(
        self,
        knowledge: Knowledge,
        baseline: Baseline,
        gauge: GaugeModel,
        readings: Mapping[Spot, float],
        belief: Floats,
    ) -> None:
        self._faults = list(knowledge.faults.values())
        self._baseline = baseline
        self._gauge = gauge
        self._readings = readings
        self._belief = belief
        self._foretold = gauge.foretold(readings)
        self._sized = gauge.sizes(readings)
        self._paired = np.where(self._sized.second >= 0, self._sized.shares(belief), 0.0)

    def result(self) -> Sizes:
        base, taken = self._baseline, self._readings
        candidates = self.candidates()
        supposed = {spot: self.supposed(spot) for spot in SPOTS if spot not in taken}
        end = (AirState.WORKING, Station.HOSE)
        openings = [
            self.opening(station, value, supposed=False)
            for (state, station), value in taken.items()
            if state is AirState.WORKING and station is not Station.HOSE
        ]
        left = taken[end] if end in taken else supposed[end].inh2o
        openings.append(self.opening(Station.HOSE, left, supposed=end not in taken))
        possible = possible_watts(base.system)
        healthy = self.opening(Station.HOSE, base.at(*end), supposed=True).air_watts
        normal = np.array([fault.mode is Mode.NORMAL for fault in self._faults])
        leader, two = candidates[0], float(self._paired.sum())
        return Sizes(
            readings=tuple(
                Reading(
                    station=station.value,
                    condition=state.value,
                    inlet=name_of(station),
                    inh2o=value,
                )
                for (state, station), value in taken.items()
            ),
            expected=tuple(base.at(*spot) for spot in taken),
            healthy=float(self._belief[normal].sum()),
            candidates=tuple(candidates),
            stretch=_stretch(candidates),
            ambiguous_with=leader.tied_with,
            under_label=self.under_label(),
            two=two,
            together=tuple(self.together()) if two >= NO_SINGLE else (),
            supposed=tuple(supposed.values()),
            odd=self.odd(),
            openings=tuple(openings),
            possible_watts=possible,
            share_at_hose=openings[-1].air_watts / possible,
            share_at_hose_supposed=openings[-1].supposed,
            healthy_share_at_hose=healthy / possible,
        )

    def candidates(self) -> list[Candidate]:
        """The kinds of loss that are likely enough to be named, at least one."""
        groups: dict[tuple[Kind, str], list[int]] = {}
        for row, fault in enumerate(self._faults):
            groups.setdefault(kind_and_stretch(fault), []).append(row)
        self.merge_tubing(groups)
        ranked = sorted(groups.items(), key=lambda one: (-self._belief[one[1]].sum(), one[0]))
        named = [
            (key, sorted(rows, key=lambda row: -self._belief[row]))
            for key, rows in ranked[:MOST_CANDIDATES]
            if self._belief[rows].sum() >= LEAST_CHANCE or key == ranked[0][0]
        ]
        evidence = [self.evidence(rows) for _, rows in named]
        names = [f"{kind}-{stretch}" for (kind, stretch), _ in named]
        found = []
        for index, ((kind, stretch), rows) in enumerate(named):
            unit, ends = self.size(rows)
            ties = [
                name
                for name, other in zip(names, evidence, strict=True)
                if name != names[index]
                and max(other, evidence[index]) <= TOLD_APART * min(other, evidence[index])
            ]
            low, size, high = ends or (None, None, None)
            found.append(
                Candidate(
                    cause=names[index],
                    kind=kind,
                    stretch=stretch,
                    chance=float(self._belief[rows].sum()),
                    size=size,
                    low=low,
                    high=high,
                    unit=unit,
                    faults=tuple(self._faults[row].id for row in rows if self._belief[row] > 0.0),
                    tied_with=tuple(ties),
                )
            )
        return found

    def merge_tubing(self, groups: dict[tuple[Kind, str], list[int]]) -> None:
        """Make one of trunk, branch and other inlets where the readings cannot tell them apart."""
        kinds: tuple[Kind, ...] = ("leak", "throat")
        for kind in kinds:
            parts = [(kind, part) for part in _TUBING if (kind, part) in groups]
            likely = [groups[part] for part in parts if self._belief[groups[part]].sum() > 0.01]
            evidence = [self.evidence(rows) for rows in likely]
            if len(likely) > 1 and max(evidence) <= TOLD_APART * min(evidence):
                groups[kind, "tubing"] = [row for part in parts for row in groups.pop(part)]

    def evidence(self, rows: Sequence[int]) -> float:
        """P(the readings | any of some faults), weighed as they were before the readings."""
        share, foretold = self._belief[rows], np.maximum(self._foretold[rows], 1e-300)
        return float(share.sum() / (share / foretold).sum())

    def together(self) -> Iterator[Together]:
        """The two losses that there are, likeliest first; trunk, branch and inlets as one."""
        keys = [_along(kind_and_stretch(fault)) for fault in self._faults]
        lines = [line_of(fault.effect) for fault in self._faults]
        of_line = [keys[lines.index(name)] for name in self._gauge.losses.lines]
        sums: dict[tuple[tuple[Kind, str], tuple[Kind, str]], list[int]] = {}
        for part in np.flatnonzero(self._paired > FAINT):
            one, other = keys[self._sized.fault[part]], of_line[self._sized.second[part]]
            sums.setdefault((min(one, other), max(one, other)), []).append(int(part))
        ranked = sorted(sums.items(), key=lambda one: -self._paired[one[1]].sum())
        left = PAIRS_NAMED * self._paired.sum()
        for pair, parts in ranked[:MOST_PAIRS]:
            if left > 0.0:
                chance = float(self._paired[parts].sum())
                both = self.one_of(pair[0], keys, parts), self.one_of(pair[1], keys, parts)
                yield Together(chance=chance, losses=both)
                left -= chance

    def one_of(self, key: tuple[Kind, str], keys: Sequence[object], parts: list[int]) -> Candidate:
        """One of two losses, sized by the parts of the mixture in which it is beside the other."""
        rows = [row for row, one in enumerate(keys) if one == key]
        own = [part for part in parts if self._sized.fault[part] in rows]
        share = np.bincount(self._sized.fault[own], self._paired[own], len(keys))
        ranked = sorted(rows, key=lambda row: (-share[row], -self._belief[row]))
        unit = _unit(self._faults[ranked[0]].effect)
        only = np.isin(np.arange(len(self._paired)), own)
        ends: list[float] | list[None] = [None, None, None]
        if unit and share.any():
            alike = [row for row in rows if _unit(self._faults[row].effect) == unit]
            only &= np.isin(self._sized.fault, alike)
            ends = self.quantiles(self._sized, self._belief, only).tolist()
        low, size, high = ends
        return Candidate(
            cause="-".join(key),
            kind=key[0],
            stretch=key[1],
            chance=float(self._belief[rows].sum()),
            size=size,
            low=low,
            high=high,
            unit=unit,
            faults=tuple(self._faults[row].id for row in ranked if self._belief[row] > 0.0),
        )

    def size(self, rows: Sequence[int]) -> tuple[str, tuple[float, ...] | None]:
        """Unit of the likeliest faults' sizes, and the ends of their interval if it is told."""
        units = [_unit(self._faults[row].effect) for row in rows]
        unit = units[0]
        if not unit:
            return "", None
        alike = [row for row, one in zip(rows, units, strict=True) if one == unit]
        before, ends = (
            self.quantiles(sizes, self._belief, np.isin(sizes.fault, alike))
            for sizes in (self._gauge.sizes({}), self._sized)
        )
        if ends[-1] - ends[0] > UNSEEN * (before[-1] - before[0]):
            return unit, None
        return unit, tuple(map(float, ends if unit == "inH2O" else np.maximum(ends, 0.0)))

    def supposed(self, spot: tuple[AirState, Station]) -> Supposed:
        y = self.quantiles(self._gauge.supposed(self._readings, spot), self._belief)
        shown = np.minimum(reading_of(y, self._baseline.at(*spot)), MOST_SUCTION_INH2O)
        low, middle, high = map(float, shown)
        return Supposed(station=spot[1], condition=spot[0], inh2o=middle, low=low, high=high)

    def odd(self) -> Odd | None:
        """The reading that is least likely given all others, where it is hardly possible."""
        if len(self._readings) < 2:
            return None
        found = []
        for spot, value in self._readings.items():
            others = {one: read for one, read in self._readings.items() if one != spot}
            before = self._gauge.foretold(others)
            belief = self._belief * before / np.maximum(self._foretold, 1e-300)
            odd = odd_beside(self._baseline, self._gauge, others, belief, spot, value)
            if odd is not None:
                found.append(odd)
        return min(found, key=lambda one: one.tail, default=None)

    def under_label(self) -> float | None:
        """By what share all readings alike are short of what label or class promises, if so."""
        if self._baseline.origin == "last-visit":
            return None
        short = [1.0 - value / self._baseline.at(*spot) for spot, value in self._readings.items()]
        mean = float(np.mean(short))
        alike = max(short) - min(short) <= ALIKE
        return mean if alike and UNDER_LABEL[0] <= mean <= UNDER_LABEL[1] else None

    def opening(self, station: At, suction: float, *, supposed: bool) -> Opening:
        airflow = float(orifice_flow(self._baseline.system, np.array([suction]))[0])
        return Opening(
            station=Station(station.value),
            inlet=name_of(station),
            supposed=supposed,
            suction_inh2o=suction,
            airflow_cfm=airflow,
            airflow_ls=airflow * CFM_LS,
            air_watts=air_watts(airflow, suction),
        )

    def quantiles(self, mixture: Normals, belief: Floats, only: Flags | None = None) -> Floats:
        """Ends and median of a mixture over the faults, as `ENDS_90` lists them."""
        weight = mixture.shares(belief)
        if only is not None:
            weight = np.where(only & np.isfinite(mixture.centre), weight, 0.0)
        return mixed(weight, mixture)


def odd_beside(
    baseline: Baseline,
    gauge: GaugeModel,
    others: Mapping[Spot, float],
    belief: Floats,
    spot: Spot,
    value: float,
) -> Odd | None:
    """A reading that does not go with others; None where it does, or there are none.

    Args:
        baseline: what this system should read.
        gauge: what readings say of the faults in this house.
        others: suction in inH2O by state and station, gauge zero taken off.
        belief: of every fault on all but this reading, shape (F,), in any scale.
        spot: where it was read.
        value: in inH2O.
    """
    if not others or not belief.any():
        return None
    mixture = gauge.supposed(others, spot)
    expected = baseline.at(*spot)
    y = logs(np.array([value]), np.array(expected))[0]
    share = mixture.shares(belief) / belief.sum()
    below = float(share @ normal_below((y - mixture.centre) / mixture.spread))
    tail = min(below, 1.0 - below)
    if tail >= ODD:
        return None
    low, likely, high = map(float, reading_of(mixed(share, mixture), expected))
    return Odd(
        station=Station(spot[1].value),
        condition=spot[0],
        inlet=name_of(spot[1]),
        inh2o=value,
        likely=likely,
        low=low,
        high=high,
        tail=tail,
    )


def mixed(weight: Floats, mixture: Normals) -> Floats:
    """Ends and median of a mixture with other weights, as `ENDS_90` lists them."""
    kept = weight > FAINT * weight.max()
    return quantiles(weight[kept], mixture.centre[kept], mixture.spread[kept])


def quantiles(
    weight: Floats, centre: Floats, spread: Floats, at: Sequence[float] = ENDS_90
) -> Floats:
    """Where the distribution function of a mixture of normals reaches some shares, by halving."""
    spread = np.maximum(spread, 1e-9)
    low = np.full(len(at), (centre - 6.0 * spread).min())
    high = np.full(len(at), (centre + 6.0 * spread).max())
    wanted = np.array(at) * weight.sum()
    for _ in range(24):
        middle = (low + high) / 2.0
        below = normal_below((middle[:, None] - centre) / spread) @ weight
        low, high = np.where(below < wanted, middle, low), np.where(below < wanted, high, middle)
    return np.asarray((low + high) / 2.0)


def kind_and_stretch(fault: Fault) -> tuple[Kind, str]:
    """What a fault is to the air path, and on which stretch of it."""
    effect = fault.effect
    if fault.mode is Mode.NORMAL:
        return ("none", "system") if effect.kind == "none" else ("label", "unit")
    if fault.mode is Mode.MEASUREMENT:
        return "gauge", "measurement"
    if isinstance(effect, HoleEffect):
        return "leak", _STRETCH.get(effect.at, effect.at)
    if isinstance(effect, ThroatEffect):
        return "throat", _STRETCH.get(effect.at, effect.at)
    if isinstance(effect, LoadingEffect) and effect.times[1] > 1.0:
        return "throat", "unit"
    if isinstance(effect, HoseSizeEffect):
        return "throat", "hose"
    if isinstance(effect, SpeedEffect | MotorDeadEffect):
        return "speed", "unit"
    return "other", fault.place.value


def _along(key: tuple[Kind, str]) -> tuple[Kind, str]:
    """A kind and stretch of loss, with trunk, branch and inlets as one."""
    return (key[0], "tubing") if key[1] in _TUBING else key


def _unit(effect: Effect) -> str:
    """The unit of an effect's size; empty where it has none or two."""
    if isinstance(effect, LoadingEffect):
        return f"times a clean {effect.at}"
    return _UNIT.get(effect.kind, "")


def _stretch(candidates: Sequence[Candidate]) -> str:
    """The one stretch that most of what is wrong lies on."""
    if candidates[0].kind in ("none", "label"):
        return "none"
    shares: dict[str, float] = {}
    for one in candidates:
        if one.kind not in ("none", "label"):
            shares[one.stretch] = shares.get(one.stretch, 0.0) + one.chance
    whole = sum(shares.values())
    shares["tubing"] = sum(shares.get(part, 0.0) for part in ("tubing", *_TUBING))
    return next((name for name, share in shares.items() if share >= 0.8 * whole), "unclear")
