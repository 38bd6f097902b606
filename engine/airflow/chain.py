"""The pieces a path is put together from: runs of tube, events on the trunk, a chain of losses.

How the pieces of a house follow each other is in `path`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from stillflow.engine.airflow.air import Array
from stillflow.engine.airflow.network import Loss
from stillflow.engine.airflow.resistance import (
    as_quadratic,
    tube_coefficients,
    velocity_coefficient,
)


@dataclass
class Chain:
    """Losses gathered until the next leak; what is zero everywhere is left out."""

    density: Array
    steps: list[tuple[Loss, Array]] = field(default_factory=list)
    pending: Loss = field(default_factory=Loss)

    def loss(self, loss: Loss, where: Array | None = None) -> None:
        """Add a loss, in the columns where `where` is 1."""
        self.pending = self.pending + (loss if where is None else loss.times(where))

    def leak(self, coefficient: Array | None) -> None:
        """Add a leak, c in cfm/sqrt(inH2O)."""
        if coefficient is not None and coefficient.any():
            thin = coefficient / np.sqrt(self.density)
            self.steps.append((self.pending.scaled(self.density), thin))
            self.pending = Loss()


@dataclass(frozen=True)
class Run:
    """A run of tube or hose: its whole friction."""

    loss: Loss
    bore: Array

    def share(self, share: Array) -> Loss:
        """The loss of a share of the run."""
        return self.loss.times(share)

    @property
    def as_dead_end(self) -> Array:
        """Its resistance as if quadratic, for the small flow of a leak behind it."""
        quadratic = np.asarray(self.loss.quadratic)
        turbulent = self.loss.turbulent
        return quadratic if turbulent is None else quadratic + as_quadratic(turbulent)


@dataclass(frozen=True)
class TrunkEvent:
    """A throat or a leak on the trunk at a share of its length from the unit."""

    position: Array
    quadratic: Array
    leak: Array


def smooth_run(length: Array, bore: Array, fittings: Array) -> Run:
    """A run of smooth tubing: length ft, bore in, fittings as a sum of K; broadcast."""
    turbulent, quadratic = tube_coefficients(length, bore)
    return Run(Loss(quadratic + fittings * velocity_coefficient(bore), turbulent), bore)


def farthest_first(events: list[TrunkEvent]) -> Iterator[TrunkEvent]:
    """Events ordered along the path, row by row; at one spot in the order given."""
    if len(events) < 2:
        yield from events
        return
    parts = [(event.position, event.quadratic, event.leak) for event in events]
    # Filled in place, and taken by plain index: for one house, stacking and broadcasting take
    # longer than the sorting.
    shape = np.broadcast(*(part for event in parts for part in event)).shape
    table = np.empty((len(events), 3, *shape))
    for row, event in zip(table, parts, strict=True):
        for into, part in zip(row, event, strict=True):
            into[...] = part
    order = np.argsort(-table[:, 0], axis=0, kind="stable")
    house, column = np.arange(shape[0])[:, None], np.arange(shape[1])
    for which in order:
        yield TrunkEvent(*(table[which, part, house, column] for part in range(3)))
