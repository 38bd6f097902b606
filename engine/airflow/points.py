"""Where the gauge is put and whether air flows: the points readings are taken at.

Holds the words and their meaning as masks over columns of a table. What is read there is in
`gauge`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np
from pydantic import Field

from stillflow.engine.airflow.houses import Houses
from stillflow.engine.base import AirState, Flags, InputError, Integers, Model, Station

Mask = Flags


class GaugePoint(NamedTuple):
    """A station (`unit`, `utility`, `inlet`, `other`, `hose`), a condition, and the inlet meant.

    Without a name, `inlet` and `hose` mean the house's first inlet (or its damaged one) and
    `other` its other one.
    """

    station: str
    condition: str
    inlet: str | None = None

    def __str__(self) -> str:
        inlet = "" if self.inlet is None else f" ({self.inlet})"
        return f"{self.condition} at {Station(self.station).words}{inlet}"


class Reading(Model):
    """One reading: where, sealed or working, at which inlet if it has a name, and inH2O."""

    station: Literal["unit", "utility", "inlet", "other", "hose"]
    condition: Literal["sealed", "working"]
    inlet: str | None = None
    inh2o: float = Field(ge=0, le=400, allow_inf_nan=False)


EVERY_POINT = tuple(
    GaugePoint(station.value, condition.value)
    for station in (Station.UNIT, Station.UTILITY, Station.INLET, Station.HOSE)
    for condition in AirState
)
"""The eight points of one house with one inlet measured."""


@dataclass(frozen=True)
class Columns:
    """Gauge points as masks of shape (columns,).

    Attributes:
        working: air enters through the orifice.
        utility: the utility inlet is open to the gauge; the tubing hangs on.
        unit: the tubing is off.
        hose: the hose is on the path.
        inlet: index of the inlet measured, -1 at the unit and the utility inlet.
    """

    working: Mask
    utility: Mask
    unit: Mask
    hose: Mask
    inlet: Integers

    @property
    def tubing(self) -> Mask:
        """An inlet is measured, so air comes through the tubing."""
        return self.inlet >= 0

    def one(self, index: int) -> Columns:
        """One column alone."""
        pick = slice(index, index + 1)
        return Columns(
            self.working[pick],
            self.utility[pick],
            self.unit[pick],
            self.hose[pick],
            self.inlet[pick],
        )


def columns(points: Sequence[GaugePoint], houses: Houses) -> Columns:
    """Look the points up in houses.

    Raises:
        InputError: a word or inlet name is not known, or the houses have no other inlet.
    """
    return _columns(tuple(points), houses.inlet_names, houses.damaged, houses.other)


@lru_cache(maxsize=256)
def _columns(
    points: tuple[GaugePoint, ...], names: tuple[str, ...], damaged: int, other: int | None
) -> Columns:
    stations = np.array([_word(Station, point.station, "station") for point in points])
    inlets = [_inlet(point, names, damaged, other) for point in points]
    return Columns(
        working=np.array(
            [_word(AirState, point.condition, "condition") == AirState.WORKING for point in points]
        ),
        utility=stations == Station.UTILITY,
        unit=stations == Station.UNIT,
        hose=stations == Station.HOSE,
        inlet=np.array(inlets, dtype=np.intp),
    )


def _word(known: type[Station] | type[AirState], word: str, what: str) -> str:
    if word not in list(known):
        raise InputError(f"no {what} {word!r}", right=f"one of {', '.join(known)}")
    return str(word)


def _inlet(point: GaugePoint, names: tuple[str, ...], damaged: int, other: int | None) -> int:
    if point.station in (Station.UNIT, Station.UTILITY):
        return -1
    if point.inlet is not None:
        if point.inlet not in names:
            raise InputError(f"no inlet named {point.inlet!r}", right=f"one of {', '.join(names)}")
        return names.index(point.inlet)
    if point.station == Station.OTHER:
        if other is None:
            raise InputError(
                "the system has only one inlet, so there is no other to read",
                right="name a second inlet",
            )
        return other
    return damaged
