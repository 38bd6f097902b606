"""What this very system should read: the baseline, and where it comes from.

In order of trust: the after-fix readings of the last good visit, the unit's rating, the class of
unit by age. All rest on the airflow model for altitude, tubing, hose and orifice.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from stillflow.engine.airflow import (
    Fan,
    GaugePoint,
    Hose,
    Houses,
    Inlet,
    System,
    Tube,
    fan_from_pair,
    fan_from_rating,
    readings_table,
)
from stillflow.engine.base import AirState, InputError, Model, Place, Station, nearest
from stillflow.engine.inference.earlier import Comparable, comparable
from stillflow.engine.inference.inlets import At, key_of
from stillflow.engine.inference.visit import Pair, Visit
from stillflow.engine.ruleset import Knowledge, UnitClass

Origin = Literal["last-visit", "rated", "class"]

RATED_TOLERANCE = 0.05
LAST_VISIT_TOLERANCE = 0.04
"""Shares of expected, common practice: one's own earlier reading holds better than a rating."""

HOUSE_TOLERANCE = 0.01
"""Share of a reading that rests on how well a rated house is known (assumed)."""

_TRUST = (Station.INLET, Station.HOSE, Station.UTILITY, Station.UNIT, Station.OTHER)
"""Which station of an earlier visit the fan is matched to first."""


class Baseline(Model):
    """Expected readings in inH2O per station, how far to trust them, the air path behind them.

    Attributes:
        further: expected at inlets that have no station, where they were read before, by `key_of`.
        gauge: tolerance of the gauge that the earlier readings were taken with, if it was another
            one than today's; its share of a reading comes on top.
    """

    origin: Origin = Field(alias="from")
    tolerance: float
    expected: dict[Station, Pair]
    note: str
    system: System = Field(exclude=True, repr=False)
    further: dict[str, Pair] = Field(default_factory=dict, exclude=True)
    gauge: float = Field(0.0, exclude=True)

    @property
    def wide(self) -> bool:
        """Only a class of unit stands behind it, so its levels have wider edges."""
        return self.origin == "class"

    def at(self, state: AirState, at: At) -> float:
        """The expected reading, inH2O.

        At a further inlet what it read before, or what is expected at the other one.
        """
        if not isinstance(at, Station):
            before = getattr(self.further.get(key_of(at.name), Pair()), state.value)
            if before:
                return float(before)
            at = Station.OTHER
        value = getattr(self.expected[at], state.value)
        assert value is not None
        return float(value)


def baseline_for(visit: Visit, knowledge: Knowledge) -> Baseline:
    """The best baseline a visit allows.

    Raises:
        InputError: the unit's class is not known.
    """
    unit_class = class_of(visit, knowledge)
    system = system_for(visit, unit_class)
    before = comparable(visit)
    recorded = {s: pair for s, pair in visit.last_good.items() if pair.sealed or pair.working}
    gauge = 0.0
    origin: Origin
    if not recorded and before.pairs:
        recorded, gauge = dict(before.pairs), before.gauge
    if recorded:
        origin, tolerance, note = "last-visit", LAST_VISIT_TOLERANCE + gauge, _last_visit(before)
        system = _matched(system, recorded)
    elif visit.unit.rated_sealed is not None and visit.unit.rated_airflow is not None:
        origin, tolerance, note = "rated", RATED_TOLERANCE, "the unit's rating"
    else:
        origin, tolerance, note = "class", unit_class.tolerance, unit_class.title.lower()
    expected = _expected(system)
    for station, pair in recorded.items():
        expected[station] = expected[station].model_copy(update=pair.model_dump(exclude_none=True))
    if visit.site.altitude_ft and origin != "last-visit":
        note += f", corrected for {visit.site.altitude_ft:,.0f} ft"
    return Baseline(
        origin=origin,
        tolerance=tolerance,
        expected=expected,
        note=note,
        system=system,
        further=dict(before.further) if origin == "last-visit" else {},
        gauge=gauge,
    )


def _last_visit(before: Comparable) -> str:
    if not before.pairs:
        return "the last good visit here"
    when = f" on {before.at:%Y-%m-%d}" if before.at else ""
    return f"the last good visit here{when}{', with another gauge' if before.gauge else ''}"


def tolerance_of(baseline: Baseline, gauge_tolerance: float) -> float:
    """How far a reading may be from what was expected without anything wrong, as a share of it.

    Args:
        baseline: what this system should read, and how well that is known.
        gauge_tolerance: share of the reading.
    """
    house = baseline.tolerance if baseline.wide else HOUSE_TOLERANCE
    return gauge_tolerance + baseline.gauge + house


def class_of(visit: Visit, knowledge: Knowledge) -> UnitClass:
    """The class of unit: as named, else by age, else that of a new unit.

    Raises:
        InputError: the class named is not known.
    """
    named = visit.unit.class_
    if named is not None:
        if named not in knowledge.classes:
            right = nearest(named, knowledge.classes)
            raise InputError(f"there is no class of unit '{named}'", Place(key="unit.class"), right)
        return knowledge.classes[named]
    age = visit.unit.age_years or 0.0
    return min(
        knowledge.classes.values(),
        key=lambda one: (not one.age_from <= age < (one.age_below or age + 1), one.age_from),
    )


def system_for(visit: Visit, unit_class: UnitClass) -> System:
    """The healthy air path of this house, as far as the visit describes it."""
    house = visit.house
    parts: dict[str, Tube | tuple[Inlet, ...]] = {}
    if house.tubing_ft is not None:
        # A sixth of a run is the branch to the inlet, the rest the trunk (assumed).
        trunk_ft, branch_ft = house.tubing_ft * 5 / 6, house.tubing_ft / 6
        branch = Tube(length_ft=branch_ft, fittings=1.0)
        other = Inlet(name="other inlet", tap_ft=trunk_ft / 2, branch=branch)
        parts["trunk"] = Tube(length_ft=trunk_ft, fittings=1.5)
        parts["inlets"] = (Inlet(branch=branch), other)
    hose = {"length_ft": house.hose_ft, "bore_in": house.hose_bore_in}
    return System(
        fan=_fan(visit, unit_class),
        hose=Hose(**{name: value for name, value in hose.items() if value is not None}),
        altitude_ft=visit.site.altitude_ft,
        orifice_in=visit.gauge.orifice_in,
        **parts,
    )


def _fan(visit: Visit, unit_class: UnitClass) -> Fan:
    """The fan line from the rating as far as it goes, the class for what it leaves open."""
    sealed = visit.unit.rated_sealed or unit_class.sealed
    if visit.unit.rated_airflow is not None:
        return fan_from_rating(sealed, visit.unit.rated_airflow)
    return fan_from_pair(sealed, sealed * unit_class.working / unit_class.sealed)


def _matched(system: System, recorded: dict[Station, Pair]) -> System:
    """The system with the fan that gives what was recorded at the station trusted most."""
    station = min(recorded, key=lambda one: (not _whole(recorded[one]), _TRUST.index(one)))
    healthy = _expected(system)[station]
    assert healthy.sealed is not None and healthy.working is not None
    pair = recorded[station]
    if pair.sealed is None:
        assert pair.working is not None
        sealed, working = healthy.sealed * pair.working / healthy.working, pair.working
    else:
        sealed = pair.sealed
        working = pair.working or healthy.working * sealed / healthy.sealed
    fan = fan_from_pair(sealed, working, house=system, station=station)
    return system.model_copy(update={"fan": fan})


def _whole(pair: Pair) -> bool:
    return bool(pair.sealed and pair.working)


def _expected(system: System) -> dict[Station, Pair]:
    """What the system reads at every station, solved in one go."""
    points = [GaugePoint(station, state) for station in Station for state in AirState]
    row = readings_table(Houses.of([system]), points)[0]
    values = {(p.station, p.condition): float(value) for p, value in zip(points, row, strict=True)}
    return {
        station: Pair(**{state.value: values[station, state] for state in AirState})
        for station in Station
    }
