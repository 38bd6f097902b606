"""Random houses for simulated calls, and what the technician is told of each.

Holds how a house, its unit and its paperwork are drawn. What is wrong in a house, and what is
answered there, is in `calls`; the lengths of tubing and hose come from `airflow.draw`. Every
share and range here is assumed or common practice; none is a count of real houses.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np

from stillflow.engine.airflow import (
    CORNER_BEND,
    CORNER_FLOW,
    INLET_KEYS,
    PARALLEL,
    TAP,
    TUBE_BORE_IN,
    Fan,
    Houses,
    Inlet,
    System,
    draw_houses,
    fan_from_pair,
    gauge_noise,
)
from stillflow.engine.base import AirState, Floats, Integers, Station
from stillflow.engine.inference import (
    RATED_TOLERANCE,
    SPOTS,
    Baseline,
    Gauge,
    House,
    NamedInlet,
    Origin,
    Pair,
    Site,
    Unit,
    Visit,
    class_of,
    readings_at_spots,
    standing_facts,
)
from stillflow.engine.ruleset import FactValue, Knowledge

ALTITUDE_FT = (0.0, 7000.0)
OLDEST_YEARS = 35.0
ORIGIN_SHARES: Mapping[Origin, float] = {"rated": 0.55, "class": 0.30, "last-visit": 0.15}
FILTER_SHARES: Mapping[str, float] = {
    "bag": 0.28,
    "cartridge": 0.28,
    "cloth": 0.2,
    "foam": 0.04,
    "hybrid-cloth": 0.05,
    "hybrid-cartridge": 0.05,
    "none": 0.1,
}
TWO_MOTORS, PARALLEL_SHARE = 0.25, 0.5
FILTER_KNOWN, MOTORS_KNOWN, AGE_KNOWN = 0.8, 0.8, 0.7
TUBING_KNOWN, HOSE_KNOWN = 0.5, 0.6
INLETS = (3, 12)
"""How many inlets a house has. The gauge is put on two of them."""

LABEL_SCATTER = {"rated": 0.05, "last-visit": 0.05, "class": 0.15}
"""Standard deviation of the true fan line about the paper's; belief doubts half to two thirds."""

TOO_GOOD, TOO_GOOD_BY = 0.15, (0.08, 0.18)
"""Share of labels that promise more than the unit ever made, and how much more."""

GAUGE_FACTOR, GAUGE_ZERO_INH2O = 0.01, 0.7
"""Standard deviations of a gauge's calibration and of its zero."""

BACKGROUND_HOLE_IN, FILTER_DUST, HOSE_FRICTION, BEND = (0.0, 0.15), (1.0, 5.0), (0.8, 1.25), 0.06
"""Ordinary leaks, ordinary dust (times the clean filter), hoses of all makes, and how far a fan
line bows off the straight one at half flow (standard deviation, share of sealed suction)."""

RATED_SEALED_INH2O, RATED_AIRFLOW_CFM = (85.0, 140.0), (80.0, 120.0)

_LAST_GOOD = (Station.INLET, Station.HOSE)
"""Where the last good visit left its readings."""


FRAME = System(
    fan=Fan(sealed_inh2o=120.0, airflow_cfm=100.0),
    inlets=(Inlet(), Inlet(name="other inlet"), Inlet(name="one of the rest")),
)
"""The house that drawn ones vary: the inlet complained of, the other that the gauge is put on, and
one that stands for all the rest."""

REST = 2
"""Index of the inlet that stands for the rest: the one of them that leaks, if one does."""

ROOMS = (
    "hall", "kitchen", "landing", "study", "den", "living room", "bedroom", "cellar", "garage",
    "attic", "laundry", "guest room",
)  # fmt: skip
LISTED = 0.35
"""Share of visits whose inlets are listed beforehand."""

_TAPS, _BRANCH_FT = (0.2, 1.0), (3.0, 18.0)
"""Where further inlets leave the trunk, as a share of it, and how long their branches are."""


@dataclass(frozen=True)
class UnitPaper:
    """What could be known of one unit, and of how many inlets.

    Attributes:
        origin: where the expected readings come from.
        rated_sealed, rated_airflow: inH2O and cfm on its label.
    """

    origin: Origin
    filter: str
    motors: int
    inlets: int
    age_years: float
    rated_sealed: float
    rated_airflow: float


@dataclass(frozen=True)
class Callers:
    """n houses that call, healthy as yet.

    Attributes:
        houses: their air paths.
        papers: what could be known of each unit.
        truths: the facts of unit and site as they are, told or not.
    """

    houses: Houses
    papers: tuple[UnitPaper, ...]
    truths: tuple[Mapping[str, FactValue], ...]

    def take(self, rows: Integers) -> Callers:
        """Some of them, by index."""
        return Callers(
            self.houses.take(rows),
            tuple(self.papers[row] for row in rows),
            tuple(self.truths[row] for row in rows),
        )

    @staticmethod
    def joined(parts: Sequence[Callers]) -> Callers:
        """Callers after callers."""
        return Callers(
            Houses.joined([part.houses for part in parts]),
            tuple(paper for part in parts for paper in part.papers),
            tuple(truth for part in parts for truth in part.truths),
        )

    def visits(self, generator: np.random.Generator, healthy: Floats) -> list[Visit]:
        """The record of each call as the technician has it on arrival.

        Args:
            generator: where the chance comes from, in what is known and what is not.
            healthy: readings at `SPOTS` with nothing wrong, inH2O, shape (n, 10).
        """
        noted = gauge_noise(generator, healthy, Gauge().tolerance)
        return [
            _told(generator, self.houses, row, paper, noted[row])
            for row, paper in enumerate(self.papers)
        ]


@dataclass(frozen=True)
class NamedInlets:
    """The inlets of one house: their names, and the house with all of them.

    Attributes:
        names: the complaint's, the one that is read first besides, then the rest.
        house: of them all, as a single row, healthy.
        leaks_at: which of them leaks where one does.
    """

    names: tuple[str, ...]
    house: Houses
    leaks_at: str

    def told(self, generator: np.random.Generator) -> Site:
        """What of them is known beforehand, of a house at sea level."""
        listed = generator.random() < LISTED
        inlets = tuple(NamedInlet(name=name) for name in self.names) if listed else ()
        return Site(inlet=self.names[0], inlets=inlets)


def name_inlets(
    generator: np.random.Generator, houses: Houses, row: int, count: int, leaking: int
) -> NamedInlets:
    """Give a house all its inlets and their names.

    Args:
        generator: where the chance comes from.
        houses: with the complaint's inlet, the other one, and one for the rest.
        row: which house.
        count: how many inlets it has, at least 3.
        leaking: index of the one that leaks where one does.
    """
    names = tuple(ROOMS[index] for index in generator.permutation(len(ROOMS))[:count])
    house = houses.take(np.array([row]))
    more = count - len(house.inlet_names)
    drawn = {
        TAP: generator.uniform(*_TAPS, (1, more)) * house["trunk.length_ft"][:, None],
        "branch.length_ft": generator.uniform(*_BRANCH_FT, (1, more)),
        "branch.bore_in": np.full((1, more), TUBE_BORE_IN),
        "branch.fittings": np.ones((1, more)),
    }
    house = house.with_values(
        {key: np.concatenate([house[key], drawn[key]], axis=1) for key in INLET_KEYS}
    )
    house = replace(house, inlet_names=names, other=leaking)
    return NamedInlets(names, house, names[leaking])


def draw_callers(knowledge: Knowledge, generator: np.random.Generator, count: int) -> Callers:
    """Draw houses with their units and paperwork.

    Wider than belief assumes, so that figures do not flatter their own assumptions: see the
    constants above.

    Args:
        knowledge: gives the classes of unit.
        generator: where the chance comes from.
        count: how many, at least 1.
    """
    houses = draw_houses(generator, count, FRAME, altitude_ft=ALTITUDE_FT)
    # Site altitudes are known to the hundred feet, and so is the air.
    houses = houses.with_values({"altitude_ft": houses["altitude_ft"].round(-2)})
    motors = 1.0 + (generator.random(count) < TWO_MOTORS)
    parallel = (motors > 1.0) & (generator.random(count) < PARALLEL_SHARE)
    houses = houses.with_values(
        {
            "fan.motors": motors.astype(np.float64),
            "fan.turning": motors.astype(np.float64),
            PARALLEL: parallel.astype(np.float64),
        }
    )
    papers = tuple(_paper(generator, motors=int(number)) for number in motors)
    lines = {one.id: fan_from_pair(one.sealed, one.working) for one in knowledge.classes.values()}
    drawn = [_fan_line(knowledge, lines, generator, paper) for paper in papers]
    sealed, airflow = np.array(drawn).T
    houses = _as_lived_in(generator, houses.with_fan(sealed, airflow))
    healthy = readings_at_spots(houses, np.full(count, houses.other))
    hose_end = healthy[:, SPOTS.index((AirState.WORKING, Station.HOSE))]
    truths = tuple(
        _truth(paper, altitude, working)
        for paper, altitude, working in zip(papers, houses["altitude_ft"], hose_end, strict=True)
    )
    return Callers(houses, papers, truths)


def _as_lived_in(generator: np.random.Generator, houses: Houses) -> Houses:
    """Small things of an ordinary house that nobody writes down."""
    count = houses.count
    sealed, airflow = houses["fan.sealed_inh2o"], houses["fan.airflow_cfm"]
    # Two straight pieces through half flow, where the line bows up or down.
    bow = np.clip(generator.normal(0.0, BEND, count), -2 * BEND, 2 * BEND) * sealed
    slope = sealed / airflow
    first, second = -slope + 2.0 * bow / airflow, -slope - 2.0 * bow / airflow
    return houses.with_values(
        {
            CORNER_FLOW: np.stack([np.zeros(count), airflow / 2.0], axis=1),
            CORNER_BEND: np.stack([first, second - first], axis=1),
            "gauge.factor": generator.normal(1.0, GAUGE_FACTOR, count),
            "gauge.offset_inh2o": generator.normal(0.0, GAUGE_ZERO_INH2O, count),
            "holes.trunk": generator.uniform(*BACKGROUND_HOLE_IN, count),
            "filter.loading": np.exp(
                generator.uniform(
                    float(np.log(FILTER_DUST[0])), float(np.log(FILTER_DUST[1])), count
                )
            ),
            "hose.friction_factor": houses["hose.friction_factor"]
            * generator.uniform(*HOSE_FRICTION, count),
        }
    )


def _paper(generator: np.random.Generator, motors: int) -> UnitPaper:
    # Drawn in this order, by which a seed gives its houses.
    return UnitPaper(
        origin=cast(
            Origin, str(generator.choice(list(ORIGIN_SHARES), p=list(ORIGIN_SHARES.values())))
        ),
        filter=str(generator.choice(list(FILTER_SHARES), p=list(FILTER_SHARES.values()))),
        motors=motors,
        inlets=int(generator.integers(INLETS[0], INLETS[1] + 1)),
        age_years=round(float(generator.uniform(0.0, OLDEST_YEARS)), 1),
        rated_sealed=round(float(generator.uniform(*RATED_SEALED_INH2O))),
        rated_airflow=round(float(generator.uniform(*RATED_AIRFLOW_CFM))),
    )


def _fan_line(
    knowledge: Knowledge,
    lines: Mapping[str, Fan],
    generator: np.random.Generator,
    paper: UnitPaper,
) -> tuple[float, float]:
    """True sealed suction (inH2O) and airflow (cfm) of a unit in good order."""
    if paper.origin == "class":
        unit_class = class_of(Visit(unit=Unit(age_years=paper.age_years)), knowledge)
        line = lines[unit_class.id]
        sealed, airflow = line.sealed_inh2o, line.airflow_cfm
    else:
        sealed, airflow = paper.rated_sealed, paper.rated_airflow
    spread = LABEL_SCATTER[paper.origin]
    both, alone = generator.normal(0.0, spread * 0.8), generator.normal(0.0, spread * 0.6, 2)
    if paper.origin != "class" and generator.random() < TOO_GOOD:
        both = np.log1p(-generator.uniform(*TOO_GOOD_BY))
    return sealed * np.exp(both + alone[0] / 2), airflow * np.exp(both / 2 + alone[1])


def _told(
    generator: np.random.Generator,
    houses: Houses,
    row: int,
    paper: UnitPaper,
    noted: Floats,
) -> Visit:
    unit: dict[str, object] = {}
    last_good: dict[Station, Pair] = {}
    # The class of a unit goes by its age, so without a rating the age is known.
    if paper.origin == "class" or generator.random() < AGE_KNOWN:
        unit["age_years"] = paper.age_years
    if paper.origin != "class":
        unit |= {name: getattr(paper, name) for name in ("rated_sealed", "rated_airflow")}
    if paper.origin == "last-visit":
        for station in _LAST_GOOD:
            sealed, working = (
                round(float(noted[SPOTS.index((state, station))]), 1) for state in AirState
            )
            last_good[station] = Pair(sealed=sealed, working=working)
    unit |= {
        name: getattr(paper, name)
        for name, share in (("filter", FILTER_KNOWN), ("motors", MOTORS_KNOWN))
        if generator.random() < share
    }
    house: dict[str, float] = {}
    if generator.random() < TUBING_KNOWN:
        run = houses["trunk.length_ft"][row] + houses["branch.length_ft"][row, houses.damaged]
        house["tubing_ft"] = 5.0 * round(float(run) / 5.0)
    if generator.random() < HOSE_KNOWN:
        house["hose_ft"] = float(round(houses["hose.length_ft"][row]))
    return Visit(
        site=Site(altitude_ft=float(houses["altitude_ft"][row])),
        unit=Unit(**unit),
        house=House(**house),
        last_good=last_good,
    )


def _truth(paper: UnitPaper, altitude_ft: float, hose_end: float) -> Mapping[str, FactValue]:
    """The standing facts of a visit on which everything about the unit is known."""
    unit = Unit(**{name: getattr(paper, name) for name in ("age_years", "motors", "filter")})
    visit = Visit(unit=unit, site=Site(altitude_ft=float(altitude_ft)))
    # Of what is expected only the hose end is a standing fact.
    origin = Baseline.model_construct(
        origin=paper.origin,
        tolerance=RATED_TOLERANCE,
        expected={Station.HOSE: Pair(working=float(hose_end))},
        note="",
        system=FRAME,
    )
    return standing_facts(visit, origin)
