"""Many systems at once, as a structure of arrays.

`Houses` holds one array per number of a `System`, under the same dotted name ("holes.trunk"), so
that an effect is put on one system and on a hundred thousand by the same table. How random houses
are drawn is in `draw`; what a gauge reads in them is in `gauge`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from operator import attrgetter

import numpy as np

from stillflow.engine.airflow.air import Array
from stillflow.engine.airflow.system import Holes, System, Throats
from stillflow.engine.base import InputError, Integers

_HOUSE_NUMBERS = (
    "fan.sealed_inh2o",
    "fan.airflow_cfm",
    "fan.motors",
    "fan.turning",
    "fan.idle_bypass_in",
    "fan.speed",
    *(f"{part}.{name}" for part in ("filter", "screen", "bin")
      for name in ("linear", "quadratic", "loading")),
    "utility_fittings",
    *(f"{tube}.{name}" for tube in ("trunk", "exhaust")
      for name in ("length_ft", "bore_in", "fittings")),
    "hose.length_ft",
    "hose.bore_in",
    "hose.friction_factor",
    "hose.fittings",
    "altitude_ft",
    "temperature_f",
    "orifice_in",
    "gauge.factor",
    "gauge.offset_inh2o",
    *(f"holes.{name}" for name in Holes.model_fields),
)  # fmt: skip
_MAYBE = ("barometer_inhg", *(f"throats.{name}" for name in Throats.model_fields))
_INLET_NUMBERS = ("branch.length_ft", "branch.bore_in", "branch.fittings")

_read_house = attrgetter(*_HOUSE_NUMBERS)
_read_maybe = attrgetter(*_MAYBE)
_read_inlet = attrgetter(*_INLET_NUMBERS)

TAP = "tap_ft"
CORNER_FLOW, CORNER_BEND = "fan.corner_flow", "fan.corner_bend"
PARALLEL = "fan.parallel"
INLET_KEYS = (TAP, *_INLET_NUMBERS)
"""Keys whose arrays have shape (n, inlets); all others (n,), but the fan's corners (n, corners)."""


@dataclass(frozen=True)
class Houses:
    """n systems with the same named inlets.

    Attributes:
        value: arrays by dotted name of the `System` field: shape (n,) for a house's own numbers,
            (n, inlets) for those of `INLET_KEYS`. An absent throat is infinity, an absent
            barometer NaN.
        inlet_names: the inlets, in order.
        damaged: index of the inlet whose branch and neck damage is meant.
        other: index of the other inlet that leaks; None when there is only one.
    """

    value: Mapping[str, Array]
    inlet_names: tuple[str, ...]
    damaged: int
    other: int | None

    @property
    def count(self) -> int:
        """How many houses."""
        return len(self.value["altitude_ft"])

    def __getitem__(self, key: str) -> Array:
        return self.value[key]

    def take(self, rows: slice | Array | Integers) -> Houses:
        """Some of the houses, by slice, index or mask."""
        return replace(self, value={key: array[rows] for key, array in self.value.items()})

    def with_values(self, changed: Mapping[str, Array]) -> Houses:
        """The same houses with some arrays replaced."""
        return replace(self, value={**self.value, **changed})

    def with_fan(self, sealed_inh2o: Array, airflow_cfm: Array) -> Houses:
        """The same houses with straight fan lines, each array of shape (n,)."""
        return self.with_values(
            {
                "fan.sealed_inh2o": sealed_inh2o,
                "fan.airflow_cfm": airflow_cfm,
                CORNER_FLOW: np.zeros((self.count, 1)),
                CORNER_BEND: -(sealed_inh2o / airflow_cfm)[:, None],
            }
        )

    def repeat(self, times: int) -> Houses:
        """Each house `times` over, copies side by side."""
        return replace(
            self, value={key: np.repeat(array, times, axis=0) for key, array in self.value.items()}
        )

    @staticmethod
    def joined(parts: Sequence[Houses]) -> Houses:
        """Houses after houses, all with the inlets of the first."""
        keys = parts[0].value
        return replace(
            parts[0],
            value={key: np.concatenate([part.value[key] for part in parts]) for key in keys},
        )

    @staticmethod
    def of(systems: Sequence[System]) -> Houses:
        """Put systems side by side.

        Raises:
            InputError: none given, or they differ in the names of their inlets or in which inlet
                is damaged.
        """
        if not systems:
            raise InputError("no systems given", right="give at least one")
        first = systems[0]
        shape = (first.inlet_names, first.damaged, first.other)
        if any((s.inlet_names, s.damaged, s.other) != shape for s in systems):
            raise InputError(
                "systems side by side need the same inlets, in the same order, and the same one "
                "damaged"
            )
        numbers = np.array([_numbers(system) for system in systems])
        value = {key: numbers[:, index] for index, key in enumerate(_HOUSE_KEYS)}
        inlets = np.array([_inlets(system) for system in systems])
        value |= {key: inlets[:, index] for index, key in enumerate(INLET_KEYS)}
        value |= _corners(systems)
        return Houses(value, *shape)


_HOUSE_KEYS = (*_HOUSE_NUMBERS, *_MAYBE, PARALLEL)


def _numbers(system: System) -> list[float]:
    """A house's own numbers, in the order of `_HOUSE_KEYS`."""
    barometer, *throats = _read_maybe(system)
    return [
        *_read_house(system),
        math.nan if barometer is None else barometer,
        *(math.inf if size is None else size for size in throats),
        float(system.fan.arrangement == "parallel"),
    ]


def _inlets(system: System) -> list[list[float]]:
    """The numbers of a house's inlets: a list for each of `INLET_KEYS`."""
    end = system.trunk.length_ft
    columns = [(end if i.tap_ft is None else i.tap_ft, *_read_inlet(i)) for i in system.inlets]
    return [list(numbers) for numbers in zip(*columns, strict=True)]


def _corners(systems: Sequence[System]) -> dict[str, Array]:
    """Each fan line as h = h0 + sum of bend max(0, Q - flow), padded to the same length."""
    most = max(len(system.fan.between) for system in systems) + 1
    flow, bend = np.zeros((len(systems), most)), np.zeros((len(systems), most))
    for row, system in enumerate(systems):
        earlier = 0.0
        for corner, ((q1, h1), (q2, h2)) in enumerate(pairwise(system.fan.points)):
            slope = (h2 - h1) / (q2 - q1)
            flow[row, corner], bend[row, corner] = q1, slope - earlier
            earlier = slope
    return {CORNER_FLOW: flow, CORNER_BEND: bend}
