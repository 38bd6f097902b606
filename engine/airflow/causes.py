"""The causes readings can be explained by, their sizes, and their trade words.

Which of them explain given readings is worked out in `atlas` and `estimate`.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np

from stillflow.engine.airflow.air import Array
from stillflow.engine.airflow.faulty import areas_add, instead, losses_add, times, with_number
from stillflow.engine.airflow.houses import TAP, Houses
from stillflow.engine.airflow.system import System

AS_EXPECTED = "as-expected"
"""Named as best when the readings are what the system should give."""

Kind = Literal["leak", "throat", "speed"]

STRETCHES = ("unit", "trunk", "branch", "hose")
"""What a gauge can be put between."""

SIZES = 48
SMALLEST_HOLE_IN, LARGEST_HOLE_IN = 0.04, 1.5
SMALLEST_THROAT_IN = 0.15
SLOWEST, FASTEST = 0.35, 1.15


class AirflowCause(NamedTuple):
    """A leak or a squeeze in one stretch of the air path, or the motor's speed.

    Attributes:
        name: kebab-case, such as `leak-trunk`.
        kind: `leak` (size: hole, in), `throat` (size: throat, in), `speed` (size: factor).
        stretch: `unit`, `trunk`, `branch`, `hose`.
        fact: the fact that holds its size.
    """

    name: str
    kind: Kind
    stretch: str
    fact: str


CAUSES: tuple[AirflowCause, ...] = (
    *(
        AirflowCause(f"leak-{stretch}", "leak", stretch, f"estimate.leak.{stretch}.hole_in")
        for stretch in STRETCHES
    ),
    *(
        AirflowCause(f"throat-{stretch}", "throat", stretch, f"estimate.throat.{stretch}.throat_in")
        for stretch in STRETCHES
    ),
    AirflowCause("speed", "speed", "unit", "estimate.speed.factor"),
)


class Variant(NamedTuple):
    """One spot a cause can sit in: the number of a system it changes, and where along a run.

    Where along the trunk is a share of the way to the nearest tap (`before`), or midway between
    the nearest and the farthest (`between`); along the hose a plain share.
    """

    cause: str
    key: str
    along: float | Literal["before", "between"] | None = None

    @property
    def kind(self) -> str:
        """The part of a system the number belongs to: `holes`, `throats` or `fan`."""
        return self.key.partition(".")[0]


VARIANTS: tuple[Variant, ...] = (
    Variant("leak-unit", "holes.bin"),
    Variant("leak-trunk", "holes.trunk", "before"),
    Variant("leak-trunk", "holes.trunk", "between"),
    Variant("leak-branch", "holes.branch", 0.5),
    Variant("leak-hose", "holes.hose", 0.5),
    Variant("leak-hose", "holes.hose", 0.1),
    Variant("leak-hose", "holes.hose", 0.9),
    Variant("throat-unit", "throats.filter"),
    Variant("throat-unit", "throats.intake"),
    Variant("throat-trunk", "throats.trunk", "before"),
    Variant("throat-trunk", "throats.trunk", "between"),
    Variant("throat-branch", "throats.branch", 0.5),
    Variant("throat-hose", "throats.hose", 0.5),
    Variant("speed", "fan.speed"),
)
"""In the order of `CAUSES`. Where a cause sits within its stretch is not known, so each is tried
where it makes a difference to readings; where it makes none, the first of a cause stands."""

VARIANT_CAUSE: tuple[int, ...] = tuple(
    [cause.name for cause in CAUSES].index(variant.cause) for variant in VARIANTS
)
"""Index into `CAUSES` of each variant."""

FIRST_VARIANT: tuple[int, ...] = tuple(VARIANT_CAUSE.index(index) for index in range(len(CAUSES)))
"""Index into `VARIANTS` of the first of each cause."""


def sizes(cause: AirflowCause, house: Houses) -> Array:
    """The sizes a cause is tabled at in one house, shape (SIZES,).

    Leaks and throats start with no fault at all: a hole of 0, a throat of the full bore. Speeds
    rise, with 1 among them.
    """
    if cause.kind == "leak":
        holes = np.geomspace(SMALLEST_HOLE_IN, LARGEST_HOLE_IN, SIZES - 1)
        return np.concatenate([[0.0], holes])
    if cause.kind == "throat":
        return np.geomspace(_bore(cause.stretch, house), SMALLEST_THROAT_IN, SIZES)
    below = SIZES * 3 // 4
    slow = np.linspace(SLOWEST, 1.0, below, endpoint=False)
    return np.concatenate([slow, np.linspace(1.0, FASTEST, SIZES - below)])


def _bore(stretch: str, house: Houses) -> float:
    if stretch == "hose":
        return float(house["hose.bore_in"][0])
    if stretch == "branch":
        return float(house["branch.bore_in"][0, house.damaged])
    return float(house["trunk.bore_in"][0])


def put(houses: Houses, variant: Variant, size: Array) -> Houses:
    """The houses with a variant put in at a size each (shape (n,)), on top of what is there."""
    changed = {variant.key: _COMBINE[variant.kind](houses[variant.key], size)}
    if variant.along is not None:
        changed[f"{variant.key}_along"] = along(houses, variant)
    return houses.with_values(changed)


def put_in_system(system: System, key: str, size: float, share: float | None) -> System:
    """One system with a cause put in at a size, as `put` does to houses.

    Args:
        system: as it is.
        key: the number it changes, as `Variant.key`.
        size: in the cause's own unit.
        share: where along its run, from the unit's end; None where that has no meaning.
    """
    changed = with_number(system, key, _COMBINE[key.partition(".")[0]], size)
    return changed if share is None else with_number(changed, f"{key}_along", instead, share)


def along(houses: Houses, variant: Variant) -> Array:
    """Where along its run a variant sits in each house, as a share from the unit's end."""
    if isinstance(variant.along, float):
        return np.full(houses.count, variant.along)
    length = houses["trunk.length_ft"]
    taps = houses[TAP] / np.where(length > 0.0, length, 1.0)[:, None]
    near, far = np.minimum(taps.min(axis=1), 1.0), np.minimum(taps.max(axis=1), 1.0)
    return np.asarray(near / 2.0 if variant.along == "before" else (near + far) / 2.0)


NO_SIZE = {"holes": 0.0, "throats": np.inf, "fan": 1.0}
"""The size that changes nothing, by `Variant.kind`."""

_COMBINE = {"holes": areas_add, "throats": losses_add, "fan": times}
