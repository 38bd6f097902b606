"""What a fault does to the air path: effects with a range of sizes.

Holds the effect models (the shape a rule file writes them in) and how sizes are drawn from their
ranges. Putting an effect on a system is in `faulty`; the air path itself is in `system`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, ClassVar, Literal

import numpy as np
from pydantic import AfterValidator, BeforeValidator, Field

from stillflow.engine.base import Floats, Model

HolePlace = Literal[
    "motor", "bin", "utility", "intake", "trunk", "branch", "inlet", "other-inlet", "hose"
]
ThroatPlace = Literal["intake", "trunk", "branch", "inlet", "hose", "tool", "exhaust"]
LoadingPlace = Literal["filter", "screen"]


def _two_numbers(value: object) -> tuple[object, ...]:
    if isinstance(value, str | bytes) or not isinstance(value, Sequence) or len(value) != 2:
        raise ValueError(
            "needs two numbers, [lowest, highest]; write such as [0.2, 0.6], decimals with a point"
        )
    return tuple(value)


def _low_before_high(value: tuple[float, float]) -> tuple[float, float]:
    low, high = value
    if low > high:
        raise ValueError(f"lowest {low:g} is above highest {high:g}; write [{high:g}, {low:g}]")
    return value


def _within(floor: float, ceiling: float, unit: str) -> AfterValidator:
    def check(value: tuple[float, float]) -> tuple[float, float]:
        if value[0] < floor or value[1] > ceiling:
            raise ValueError(
                f"[{value[0]:g}, {value[1]:g}] cannot be; write numbers from {floor:g} to "
                f"{ceiling:g}, {unit}"
            )
        return value

    return AfterValidator(check)


_Number = Annotated[float, Field(allow_inf_nan=False)]
_Pair = Annotated[
    tuple[_Number, _Number],
    BeforeValidator(_two_numbers),
    AfterValidator(_low_before_high),
]
HoleRange = Annotated[_Pair, _within(0.01, 3.0, "in")]
ThroatRange = Annotated[_Pair, _within(0.05, 3.0, "in")]
TimesRange = Annotated[_Pair, _within(0.0, 1000.0, "times")]
SpeedRange = Annotated[_Pair, _within(0.05, 1.2, "of full speed")]
LengthRange = Annotated[_Pair, _within(1.0, 100.0, "ft")]
BoreRange = Annotated[_Pair, _within(0.5, 3.0, "in")]
OffsetRange = Annotated[_Pair, _within(-50.0, 50.0, "inH2O")]
FactorRange = Annotated[_Pair, _within(0.0, 2.0, "of the true suction")]
OrificeRange = Annotated[_Pair, _within(0.1, 2.0, "in")]


class _Effect(Model):
    SAYS: ClassVar[str] = "nothing in the air changes"
    """What it does to the air, in words, with room for its sizes in order and for its `at`."""

    def sizes(self) -> dict[str, tuple[float, float]]:
        """The same by key, as the rules write them."""
        given = {key: getattr(self, key) for key in type(self).model_fields}
        return {key: value for key, value in given.items() if isinstance(value, tuple)}

    def ranges(self) -> tuple[tuple[float, float], ...]:
        """The [lowest, highest] of each size, in the order `apply` wants them; () if none."""
        return tuple(self.sizes().values())


class HoleEffect(_Effect):
    """Air gets in: a round hole of this diameter (in) at this place.

    `intake` is the joint between unit and tubing, which comes apart when the tubing is taken off,
    so a reading at the unit does not see it. `inlet` leaks around the neck of the inlet that is
    measured, `other-inlet` at another one of the house (face or wall gasket, door held open).
    """

    SAYS = "air gets in as through a hole of {0} in at the {at}"

    kind: Literal["hole"]
    at: HolePlace
    diameter_in: HoleRange


class ThroatEffect(_Effect):
    """Air is held back: the way is squeezed to a round throat of this diameter (in).

    `intake` stays with the unit when the tubing is off. `tool` is beyond the hose end, so no
    reading at the four stations sees it.
    """

    SAYS = "the way is squeezed to {0} in at the {at}"

    kind: Literal["throat"]
    at: ThroatPlace
    diameter_in: ThroatRange


class LoadingEffect(_Effect):
    """Dirt on the filter or the screen: its healthy resistance times this."""

    SAYS = "the {at} resists {0} times as much as a clean one"

    kind: Literal["loading"]
    at: LoadingPlace
    times: TimesRange


class SpeedEffect(_Effect):
    """The motor runs at this share of its full speed (worn brushes, bearings, low voltage)."""

    SAYS = "the motor runs at {0} of its speed"

    kind: Literal["speed"]
    factor: SpeedRange


class MotorDeadEffect(_Effect):
    """One of two motors stands still."""

    SAYS = "one of two motors stands still"

    kind: Literal["motor-dead"]


class HoseSizeEffect(_Effect):
    """Another hose than this system should have: its length (ft) and bore (in)."""

    SAYS = "the hose is {0} ft long with a bore of {1} in"

    kind: Literal["hose-size"]
    length_ft: LengthRange
    bore_in: BoreRange


class GaugeOffsetEffect(_Effect):
    """The gauge reads this much (inH2O) with nothing connected."""

    SAYS = "the gauge stands {0} inH2O from zero"

    kind: Literal["gauge-offset"]
    inh2o: OffsetRange


class GaugeFactorEffect(_Effect):
    """The gauge shows this share of the true suction (its own small hose leaks)."""

    SAYS = "the gauge shows {0} of the truth"

    kind: Literal["gauge-factor"]
    factor: FactorRange


class OrificeEffect(_Effect):
    """Working readings were taken through an orifice of this diameter (in), not the standard."""

    SAYS = "working is read through an orifice of {0} in"

    kind: Literal["orifice"]
    diameter_in: OrificeRange


class NoEffect(_Effect):
    """Nothing in the air path: a setting, a habit, or as good as this system gets."""

    kind: Literal["none"]


Effect = Annotated[
    HoleEffect
    | ThroatEffect
    | LoadingEffect
    | SpeedEffect
    | MotorDeadEffect
    | HoseSizeEffect
    | GaugeOffsetEffect
    | GaugeFactorEffect
    | OrificeEffect
    | NoEffect,
    Field(discriminator="kind"),
]
"""Any effect; the key `kind` says which."""


def draw_sizes(effect: Effect, generator: np.random.Generator, count: int) -> Floats:
    """Draw sizes of an effect from its ranges.

    Filter loading is drawn evenly on a log scale, since it multiplies; all else evenly.

    Args:
        effect: the effect.
        generator: where the chance comes from.
        count: how many to draw.

    Returns:
        Sizes of shape (count, k), k = 1 for most kinds, 2 for hose-size (ft, in), 0 for
        motor-dead and none; in the order `effect.ranges()` gives.
    """
    sizes = np.empty((count, len(effect.ranges())))
    for column, (low, high) in zip(sizes.T, effect.ranges(), strict=True):
        if isinstance(effect, LoadingEffect) and low > 0.0:
            column[:] = np.exp(generator.uniform(np.log(low), np.log(high), count))
        else:
            column[:] = generator.uniform(low, high, count)
    return sizes
