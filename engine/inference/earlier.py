"""What the last good visits to a house left behind, as far as this visit may be judged by it.

A reading stands for the same station at the same inlet, in air as thin, through an orifice as wide;
one that was taken with another gauge stands for less. Air is as thin where the gauge cannot tell it
apart, and where an altitude was never given: a house does not move.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from itertools import groupby
from math import isclose, log

from stillflow.engine.airflow import density_at
from stillflow.engine.base import AirState, Station, counted
from stillflow.engine.inference.inlets import key_of
from stillflow.engine.inference.visit import GoodReading, Pair, Visit
from stillflow.engine.ruleset import Fault

_ORIFICE_IN = 1e-3
"""How far apart two numbers may be that say the same."""

_THINNED = 2.0 / 3.0
"""Suction goes as this power of the air's density, as in the airflow model."""

_MONTH_DAYS = 30.44


@dataclass(frozen=True)
class Comparable:
    """Earlier readings that this visit may be judged by.

    Attributes:
        pairs: by station.
        further: by what makes names of inlets the same, at inlets that have no station.
        gauge: tolerance of the gauge they were taken with, where that is another one; else zero.
        at: when the newest was taken.
    """

    pairs: Mapping[Station, Pair]
    further: Mapping[str, Pair]
    gauge: float
    at: datetime | None


def comparable(visit: Visit) -> Comparable:
    """What of `visit.earlier` holds here, by where it would be read today."""
    found: dict[Station | str, dict[str, float]] = {}
    taken = []
    for one in visit.earlier:
        if not unlike(one, visit.site.altitude_ft, visit.gauge.orifice_in):
            place = _place(one, visit)
            if place is not None:
                found.setdefault(place, {})[one.state.value] = one.suction
                taken.append(one)
    apart = [one.tolerance for one in taken if one.gauge != visit.gauge.name]
    pairs = {place: Pair(**values) for place, values in found.items()}
    return Comparable(
        pairs={place: pair for place, pair in pairs.items() if isinstance(place, Station)},
        further={place: pair for place, pair in pairs.items() if not isinstance(place, Station)},
        gauge=max(apart, default=0.0),
        at=max((one.at for one in taken if one.at is not None), default=None),
    )


def unlike(one: GoodReading, altitude_ft: float, orifice_in: float) -> str:
    """Why a reading may not be held against one at an altitude through an orifice, or nothing.

    A sealed one needs no orifice.
    """
    both = one.altitude_ft and altitude_ft
    if both and abs(_THINNED * log(density_at(both) / density_at(one.altitude_ft))) > one.tolerance:
        return f"read at {one.altitude_ft:,.0f} ft, now {altitude_ft:,.0f} ft"
    through = isclose(one.orifice_in, orifice_in, abs_tol=_ORIFICE_IN)
    if one.state is AirState.WORKING and not through:
        return f"read through {inches(one.orifice_in)}, now {inches(orifice_in)}"
    return ""


def unused_words(visit: Visit) -> str:
    """Which earlier readings this visit is not judged by, and why; empty if there are none."""
    why: dict[str, list[str]] = {}
    for one in visit.earlier:
        if reason := unlike(one, visit.site.altitude_ft, visit.gauge.orifice_in):
            why.setdefault(reason, []).append(f"{one.suction:.0f} {one.state.value}")
    said = "; ".join(f"{', '.join(those)}: {reason}" for reason, those in why.items())
    return said and f"Not judged by earlier readings that are not comparable ({said})."


def earlier_words(visit: Visit, faults: Mapping[str, Fault], today: datetime) -> tuple[str, ...]:
    """Each earlier visit's readings in a sentence, the newest first.

    Args:
        visit: with what earlier visits left behind.
        faults: by id; one that the rules do not have any more is not named.
        today: for how long ago.
    """

    def occasion(one: GoodReading) -> tuple[str, str]:
        when = "" if one.at is None else f"{ago(one.at, today)} ({one.at:%Y-%m-%d})"
        return when, one.after

    said = []
    kept = sorted(visit.earlier, key=lambda one: (-_stamp(one.at), one.after))
    for (when, after), group in groupby(kept, occasion):
        cause = f', after "{faults[after].title}" was put right' if after in faults else ""
        begin = f"{when or 'Some time ago'}{cause}"
        said.append(f"{begin}: {'; '.join(_at_places(list(group)))}.")
    return tuple(said)


def ago(at: datetime, today: datetime) -> str:
    """How long ago, in the words people use."""
    days = (today.date() - at.date()).days
    if days < 1:
        return "Today"
    if days < 60:
        return f"{counted(days, 'day')} ago"
    months = round(days / _MONTH_DAYS)
    return f"{months} months ago" if months < 36 else f"{counted(months // 12, 'year')} ago"


def inches(value: float) -> str:
    """A diameter as it is stamped, such as 5/8 in."""
    part = Fraction(round(value * 16), 16)
    plain = isclose(float(part), value, abs_tol=_ORIFICE_IN) and part.denominator > 1
    if not plain:
        return f"{value:g} in"
    whole, rest = divmod(part, 1)
    return f"{f'{whole} ' if whole else ''}{rest} in"


def _at_places(readings: list[GoodReading]) -> Iterator[str]:
    def where(one: GoodReading) -> tuple[str, str]:
        return one.station.value, one.inlet

    for (station, inlet), group in groupby(sorted(readings, key=where), where):
        taken = sorted(group, key=lambda one: one.state.value)
        place = Station(station).words
        if inlet:
            place = f"the {inlet} inlet"
            place = f"the hose end on {place}" if station == Station.HOSE else place
        hole = next((one.orifice_in for one in taken if one.state is AirState.WORKING), None)
        values = ", ".join(f"{one.suction:.0f} {one.state.value}" for one in taken)
        yield f"{values} at {place}{f', {inches(hole)}' if hole else ''}"


def _place(one: GoodReading, visit: Visit) -> Station | str | None:
    """Where a reading would be taken today; None where it is at no inlet that is known here."""
    if one.station in (Station.UNIT, Station.UTILITY):
        return one.station
    read, here, other = (
        key_of(name) for name in (one.inlet, visit.site.inlet, visit.site.other_inlet)
    )
    if one.station is Station.HOSE:
        return Station.HOSE if read == here else None
    if read == here and (read or one.station is Station.INLET):
        return Station.INLET
    if read == other and (read or one.station is Station.OTHER):
        return Station.OTHER
    return read or None


def _stamp(at: datetime | None) -> float:
    return at.timestamp() if at is not None else 0.0
