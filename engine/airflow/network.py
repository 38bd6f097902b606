"""From the open end to the fan: the path of losses and leaks, and the suction that balances it.

One unknown, the suction at the open end, is marched to the fan: at each loss s grows, at each leak
w grows. At the fan the suction arrived at must be what the fan makes at the airflow arrived at.
How the path of a house looks from a gauge point is in `path`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from stillflow.engine.airflow.air import Array
from stillflow.engine.airflow.orifice import Orifice

TOLERANCE_INH2O = 1e-6
MOST_STEPS = 80


@dataclass(frozen=True, slots=True)
class Loss:
    """A loss: s grows by quadratic w^2 + turbulent w^1.75 + linear w. None where there is none."""

    quadratic: Array | None = None
    turbulent: Array | None = None
    linear: Array | None = None

    def __add__(self, other: Loss) -> Loss:
        return Loss(
            _sum(self.quadratic, other.quadratic),
            _sum(self.turbulent, other.turbulent),
            _sum(self.linear, other.linear),
        )

    def times(self, factor: Array) -> Loss:
        """The loss of a share of it, or of several."""
        return Loss(
            None if self.quadratic is None else self.quadratic * factor,
            None if self.turbulent is None else self.turbulent * factor,
            None if self.linear is None else self.linear * factor,
        )

    def drop(self, w: Array) -> Array | float:
        """How much s grows (inH2O) at flow w (cfm)."""
        slope: Array | float = 0.0
        if self.quadratic is not None:
            slope = self.quadratic * w
        if self.turbulent is not None:
            root = np.sqrt(w)
            slope = slope + self.turbulent * (root * np.sqrt(root))
        if self.linear is not None:
            slope = slope + self.linear
        return slope * w

    def scaled(self, density: Array) -> Loss:
        """The same in thinner air: w^2 with density, w^1.75 with its 3/4 power, w not at all."""
        return Loss(
            None if self.quadratic is None else self.quadratic * density,
            None if self.turbulent is None else self.turbulent * density**0.75,
            self.linear,
        )


def _sum(left: Array | None, right: Array | None) -> Array | None:
    if left is None:
        return right
    return left if right is None else left + right


@dataclass(frozen=True)
class FanLine:
    """Fan lines as corners, each (..., corners) or (...): see `Fan`.

    h = head (sealed + sum of bend max(0, w / stretch - flow)), less the exhaust's loss. For speed
    n and density ratio D of a series motor, which speeds up in thin air as D^(-1/6),
    head = n^2 D^(2/3) and stretch = n D^(-1/6).
    """

    sealed: Array
    corner_flow: Array
    corner_bend: Array
    head: Array
    stretch: Array
    exhaust: Loss

    @property
    def top(self) -> Array:
        """Suction with no flow, inH2O."""
        return self.head * self.sealed

    def suction(self, w: Array) -> Array:
        """Suction the fan makes at its inlet at flow w (cfm), inH2O; negative past its end."""
        q = w / self.stretch
        made = self.sealed + self.corner_bend[..., 0] * q
        for corner in range(1, self.corner_flow.shape[-1]):
            made = made + self.corner_bend[..., corner] * np.maximum(
                q - self.corner_flow[..., corner], 0.0
            )
        return np.asarray(self.head * made - self.exhaust.drop(w))


@dataclass(frozen=True)
class LossPath:
    """Losses and leaks in order from the open end, the fan at the other.

    Attributes:
        steps: (loss, leak), leak c in cfm/sqrt(inH2O) right after its loss.
        last: the loss between the last leak and the fan.
        orifice: at the open end, for the columns where air flows.
        working: 1 where air enters through the orifice, 0 where the end is sealed.
        barometer: inH2O.
    """

    steps: tuple[tuple[Loss, Array], ...]
    last: Loss
    orifice: Orifice
    working: Array
    barometer: Array
    fan: FanLine

    @cached_property
    def _thinning(self) -> Array:
        return 0.5 / self.barometer

    def quasi_pressure(self, h: Array) -> Array:
        """Return s = h - h^2 / (2 B) of a suction (inH2O); see `air`."""
        return h - h * h * self._thinning

    def march(self, root: Array) -> tuple[Array, Array]:
        """Go from the open end to the fan.

        Args:
            root: square root of the suction at the open end, sqrt(inH2O).

        Returns:
            Flow w (cfm) and quasi-pressure s (inH2O) where they reach the fan.
        """
        suction = root * root
        s = self.quasi_pressure(suction)
        w = self.orifice.coefficient(suction) * root * self.working
        for loss, leak in self.steps:
            s = s + loss.drop(w)
            w = w + leak * np.sqrt(s)
        return w, s + self.last.drop(w)

    def flow_in(self, suction: Array) -> Array:
        """Airflow through the opening at a suction there, cfm of room air."""
        return self.orifice.coefficient(suction) * np.sqrt(suction) * self.working

    def balance(self) -> Array:
        """Suction at the open end, inH2O.

        The quasi-pressure the fan makes, less the one arrived at, falls as the suction at the end
        rises. Flow and suction at the fan grow nearly as root and root^2, which gives the first
        step; then the secant, kept inside a bracket, whose middle is taken where a step hardly
        closed the gap: far from the balance the line of the fan is so steep that the secant creeps.
        """
        high = 1.001 * np.sqrt(self.fan.top) + np.zeros_like(self.working)
        low = np.zeros_like(high)
        # Sealed, nearly all of the fan's suction reaches the end; working, usually some 0.6 of it.
        root = (0.95 - 0.2 * self.working) * high
        earlier: tuple[Array, Array] | None = None
        for _ in range(MOST_STEPS):
            w, s = self.march(root)
            made = self.fan.suction(w)
            gap = self.quasi_pressure(made) - s
            if np.abs(gap).max() <= TOLERANCE_INH2O:
                break
            short = gap > 0.0
            low = np.where(short, root, low)
            high = np.where(short, high, root)
            if earlier is None:
                guess = root * self._stretch(w, s, made)
                creeps = np.zeros_like(short)
            else:
                rise = gap - earlier[1]
                guess = root - gap * (root - earlier[0]) / np.where(rise == 0.0, 1.0, rise)
                creeps = gap * earlier[1] > np.maximum(0.9 * earlier[1] ** 2, TOLERANCE_INH2O**2)
            earlier = root, gap
            inside = (guess >= low) & (guess <= high) & ~creeps
            root = np.where(inside, guess, 0.5 * (low + high))
        return root * root

    def _stretch(self, w: Array, s: Array, made: Array) -> Array:
        """The t for which s t^2 is what a straight fan makes at w t (see `balance`)."""
        full = self.quasi_pressure(self.fan.top)
        lost = np.maximum(full - self.quasi_pressure(made), 0.0)
        return (np.sqrt(lost * lost + 4.0 * s * full) - lost) / (2.0 * s)
