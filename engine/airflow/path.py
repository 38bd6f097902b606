"""How the air path of houses looks from gauge points.

Turns `Houses` and `Columns` into the `Path` of `network`: which losses and leaks lie between the
open end and the fan, in which order, and what hangs on the trunk at its own point.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from stillflow.engine.airflow.air import INH2O_PA, INHG_PA, Array, density_ratio, pressure_at
from stillflow.engine.airflow.houses import CORNER_BEND, CORNER_FLOW, PARALLEL, TAP, Houses
from stillflow.engine.airflow.network import FanLine, Loss, Path
from stillflow.engine.airflow.orifice import Orifice
from stillflow.engine.airflow.points import Columns
from stillflow.engine.airflow.resistance import (
    as_quadratic,
    behind,
    hole_coefficient,
    hose_coefficient,
    throat_coefficient,
    tube_coefficients,
    velocity_coefficient,
)


@dataclass
class _Chain:
    """Losses gathered until the next leak; what is zero everywhere is left out."""

    density: Array
    steps: list[tuple[Loss, Array]] = field(default_factory=list)
    pending: Loss = field(default_factory=Loss)

    def loss(self, loss: Loss, where: Array) -> None:
        """Add a loss in the columns where `where` is 1."""
        parts = (
            None if part is None or not (masked := part * where).any() else masked
            for part in (loss.quadratic, loss.turbulent, loss.linear)
        )
        self.pending = self.pending + Loss(*parts)

    def leak(self, coefficient: Array) -> None:
        """Add a leak, c in cfm/sqrt(inH2O)."""
        if coefficient.any():
            thin = coefficient / np.sqrt(self.density)
            self.steps.append((self.pending.scaled(self.density), thin))
            self.pending = Loss()


@dataclass(frozen=True)
class _Run:
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
class _TrunkEvent:
    """A throat or a leak on the trunk at a share of its length from the unit."""

    position: Array
    quadratic: Array
    leak: Array


class _Finder:
    """House numbers as (n, 1) against the gauge points' masks (columns,)."""

    def __init__(self, houses: Houses, columns: Columns) -> None:
        self.houses = houses
        self.columns = columns
        self.utility = columns.utility.astype(float)
        self.tubing = columns.tubing.astype(float)
        self.at_damaged = (columns.inlet == houses.damaged).astype(float)
        self.damaged_aside = (1.0 - columns.unit) * (1.0 - self.at_damaged)
        self.other_aside = (1.0 - columns.unit) * (columns.inlet != houses.other)

    def __getitem__(self, key: str) -> Array:
        return self.houses[key][:, None]

    def hole(self, place: str) -> Array:
        return hole_coefficient(self[f"holes.{place}"])

    def throat(self, place: str, bore: Array) -> Array:
        return throat_coefficient(self[f"throats.{place}"], bore)

    def tube(self, name: str) -> _Run:
        return _tube(*(self[f"{name}.{part}"] for part in ("length_ft", "bore_in", "fittings")))

    def branch(self, inlets: NDArray[np.intp]) -> _Run:
        parts = (f"branch.{part}" for part in ("length_ft", "bore_in", "fittings"))
        return _tube(*(self.houses[part][:, inlets] for part in parts))

    def tap(self, inlets: NDArray[np.intp]) -> Array:
        """Where inlets' branches leave the trunk, as shares of the trunk from the unit."""
        length = self["trunk.length_ft"]
        some = length > 0.0
        return np.where(some, self.houses[TAP][:, inlets] / np.where(some, length, 1.0), 1.0)

    @cached_property
    def trunk(self) -> _Run:
        return self.tube("trunk")

    @cached_property
    def measured(self) -> NDArray[np.intp]:
        """Each column's inlet; any, where it is masked out anyway."""
        return np.maximum(self.columns.inlet, 0)

    def hose(self, chain: _Chain) -> None:
        if not self.columns.hose.any():
            return
        bore = self["hose.bore_in"]
        friction = hose_coefficient(self["hose.length_ft"], bore, self["hose.friction_factor"])
        fittings = self["hose.fittings"] * velocity_coefficient(bore)
        run = _Run(Loss(friction + fittings), bore)
        self.along(chain, "hose", run, self.columns.hose.astype(float), 1.0)

    def inlet_and_branch(self, chain: _Chain) -> None:
        if not self.columns.tubing.any():
            return
        run = self.branch(self.measured)
        chain.leak(self.hole("inlet") * self.at_damaged)
        chain.loss(Loss(self.throat("inlet", run.bore)), self.at_damaged)
        self.along(chain, "branch", run, self.tubing, self.at_damaged)

    def along(self, chain: _Chain, name: str, run: _Run, where: Array, hurt: Array | float) -> None:
        """A run with its hole and its throat, each at its own share of the length."""
        hole_at, throat_at = self[f"holes.{name}_along"], self[f"throats.{name}_along"]
        throat = self.throat(name, run.bore) * hurt
        outside = throat_at >= hole_at
        chain.loss(run.share(1.0 - hole_at) + Loss(throat * outside), where)
        chain.leak(self.hole(name) * where * hurt)
        chain.loss(run.share(hole_at) + Loss(throat * ~outside), where)

    def on_trunk(self, tap: Array) -> list[_TrunkEvent]:
        """The trunk's throat, then its leaks, each where the path meets it.

        What lies beyond the measured tap meets the path at the tap, through the trunk between.
        """
        throat_at = self["throats.trunk_along"]
        throat = self.throat("trunk", self.trunk.bore)
        beyond = throat_at > tap
        events = [_TrunkEvent(throat_at, throat * ~beyond * self.tubing, np.zeros(1))]

        def leak(position: Array, coefficient: Array) -> None:
            between = np.maximum(position - tap, 0.0) * self.trunk.as_dead_end
            between = between + throat * (beyond & (throat_at < position))
            met = np.minimum(position, tap)
            events.append(_TrunkEvent(met, np.zeros(1), behind(coefficient, between)))

        if self.houses["holes.trunk"].any():
            leak(self["holes.trunk_along"], self.hole("trunk") * ~self.columns.unit)
        if self.houses.other is not None and self.houses["holes.other_inlet"].any():
            inlet = np.array([self.houses.other])
            run = self.branch(inlet)
            hole = behind(self.hole("other_inlet"), run.as_dead_end)
            leak(self.tap(inlet), hole * self.other_aside)
        if self.houses["holes.inlet"].any() or self.houses["holes.branch"].any():
            inlet = np.array([self.houses.damaged])
            leak(self.tap(inlet), self.damaged_branch(self.branch(inlet)) * self.damaged_aside)
        return events

    def damaged_branch(self, run: _Run) -> Array:
        """The damaged inlet's own leaks as one at its tap, when another point is measured."""
        throat = self.throat("branch", run.bore)
        hole_at = self["holes.branch_along"]
        before = run.as_dead_end * hole_at + throat * (self["throats.branch_along"] < hole_at)
        whole = run.as_dead_end + throat + self.throat("inlet", run.bore)
        return behind(self.hole("branch"), before) + behind(self.hole("inlet"), whole)

    def tubing_and_intake(self, chain: _Chain) -> None:
        """The trunk from the tap to the unit, and the intake."""
        tap = self.tap(self.measured) * self.tubing
        hanging: Array = self.hole("intake") * ~self.columns.unit
        if not self.columns.unit.all():
            reached = tap
            for event in _farthest_first(self.on_trunk(tap)):
                run = self.trunk.share(reached - np.minimum(event.position, reached))
                chain.loss(run + Loss(event.quadratic), self.tubing)
                chain.leak(event.leak * self.tubing)
                reached = np.minimum(event.position, reached)
                hanging = hanging + event.leak * self.utility
            chain.loss(self.trunk.share(reached), self.tubing)
        chain.leak(hanging * self.tubing)
        throat = self.throat("intake", self.trunk.bore)
        chain.loss(Loss(throat), 1.0 - self.utility)
        chain.loss(
            Loss(self["utility_fittings"] * velocity_coefficient(self.trunk.bore)), self.utility
        )
        self.unit(chain, behind(hanging, throat) * self.utility)

    def unit(self, chain: _Chain, hanging: Array) -> None:
        """Bin, filter, screen and motor chamber; `hanging` is the tubing's leak at the bin."""
        everywhere = np.ones(len(self.utility))
        chain.loss(self.restriction("bin"), everywhere)
        chain.leak(self.hole("bin") + self.hole("utility") + hanging)
        chain.loss(self.restriction("filter") + self.restriction("screen"), everywhere)
        idle = self[PARALLEL] * (self["fan.turning"] < self["fan.motors"])
        chain.leak(self.hole("motor") + idle * hole_coefficient(self["fan.idle_bypass_in"]))

    def restriction(self, name: str) -> Loss:
        return Loss(quadratic=self[f"{name}.quadratic"], linear=self[f"{name}.linear"]).times(
            self[f"{name}.loading"]
        )

    def fan(self, density: Array) -> FanLine:
        share = self["fan.turning"] / self["fan.motors"]
        parallel = self[PARALLEL] > 0.0
        speed = self["fan.speed"]
        exhaust = self.tube("exhaust")
        loss = exhaust.loss + Loss(self.throat("exhaust", exhaust.bore))
        return FanLine(
            sealed=self["fan.sealed_inh2o"],
            corner_flow=self[CORNER_FLOW],
            corner_bend=self[CORNER_BEND],
            head=speed**2 * density ** (2.0 / 3.0) * np.where(parallel, 1.0, share),
            stretch=speed * density ** (-1.0 / 6.0) * np.where(parallel, share, 1.0),
            exhaust=loss.scaled(density),
        )


def _tube(length: Array, bore: Array, fittings: Array) -> _Run:
    turbulent, quadratic = tube_coefficients(length, bore)
    return _Run(Loss(quadratic + fittings * velocity_coefficient(bore), turbulent), bore)


def _farthest_first(events: list[_TrunkEvent]) -> Iterator[_TrunkEvent]:
    """Events ordered along the path, row by row; at one spot in the order given."""
    events = [event for event in events if event.quadratic.any() or event.leak.any()]
    if len(events) < 2:
        yield from events
        return
    parts = ("position", "quadratic", "leak")
    table = {
        part: np.stack(np.broadcast_arrays(*(getattr(event, part) for event in events)))
        for part in parts
    }
    shape = np.broadcast_shapes(*(array.shape for array in table.values()))
    table = {part: np.broadcast_to(array, shape) for part, array in table.items()}
    order = np.argsort(-table["position"], axis=0, kind="stable")
    ordered = {part: np.take_along_axis(array, order, axis=0) for part, array in table.items()}
    for index in range(len(events)):
        yield _TrunkEvent(*(ordered[part][index] for part in parts))


def find_path(houses: Houses, columns: Columns) -> Path:
    """The path from each column's open end to the fan of each house.

    Returns:
        A path whose arrays broadcast to (houses, columns).
    """
    finder = _Finder(houses, columns)
    barometer = finder["barometer_inhg"] * INHG_PA
    pascal = np.where(np.isnan(barometer), pressure_at(finder["altitude_ft"]), barometer)
    density = density_ratio(pascal, finder["temperature_f"])
    chain = _Chain(density)
    finder.hose(chain)
    finder.inlet_and_branch(chain)
    finder.tubing_and_intake(chain)
    inh2o = pascal / INH2O_PA
    return Path(
        steps=tuple(chain.steps),
        last=chain.pending.scaled(density),
        orifice=Orifice(finder["orifice_in"], inh2o, density),
        working=np.broadcast_to(
            columns.working.astype(float), (houses.count, len(columns.working))
        ),
        barometer=inh2o,
        fan=finder.fan(density),
    )
