"""How the air path of houses looks from gauge points.

Turns `Houses` and `Columns` into the `LossPath` of `network`: which losses and leaks lie between
the open end and the fan, in which order, and what hangs on the trunk at its own point.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from stillflow.engine.airflow.air import INHG_PA, Array, density_ratio, pressure_at
from stillflow.engine.airflow.chain import Chain, Run, TrunkEvent, farthest_first, smooth_run
from stillflow.engine.airflow.houses import CORNER_BEND, CORNER_FLOW, PARALLEL, TAP, Houses
from stillflow.engine.airflow.network import FanLine, Loss, LossPath
from stillflow.engine.airflow.orifice import Orifice
from stillflow.engine.airflow.points import Columns
from stillflow.engine.airflow.resistance import (
    behind,
    hole_coefficient,
    hose_coefficient,
    throat_coefficient,
    velocity_coefficient,
)
from stillflow.engine.base import INH2O_68F_PA, Integers


class _Finder:
    """House numbers as (n, 1) against the gauge points' masks (columns,)."""

    def __init__(self, houses: Houses, columns: Columns) -> None:
        self.houses = houses
        self.columns = columns
        self.utility = columns.utility.astype(float)
        self.tubing = columns.tubing.astype(float)
        self.at_damaged = (columns.inlet == houses.damaged).astype(float)

    def __getitem__(self, key: str) -> Array:
        return self.houses[key][:, None]

    def hole(self, place: str) -> Array | None:
        """The hole at a place, c; None where no house has one."""
        diameter = self[f"holes.{place}"]
        return hole_coefficient(diameter) if diameter.any() else None

    def throat(self, place: str, bore: Array) -> Array | None:
        """The throat at a place, k; None where no house has one."""
        diameter = self[f"throats.{place}"]
        return throat_coefficient(diameter, bore) if np.isfinite(diameter).any() else None

    def tube(self, name: str) -> Run:
        return smooth_run(
            *(self[f"{name}.{part}"] for part in ("length_ft", "bore_in", "fittings"))
        )

    def branch(self, inlets: Integers) -> Run:
        parts = (f"branch.{part}" for part in ("length_ft", "bore_in", "fittings"))
        return smooth_run(*(self.houses[part][:, inlets] for part in parts))

    def tap(self, inlets: Integers) -> Array:
        """Where inlets' branches leave the trunk, as shares of the trunk from the unit."""
        length = self["trunk.length_ft"]
        some = length > 0.0
        return np.where(some, self.houses[TAP][:, inlets] / np.where(some, length, 1.0), 1.0)

    def hose(self, chain: Chain) -> None:
        bore = self["hose.bore_in"]
        friction = hose_coefficient(self["hose.length_ft"], bore, self["hose.friction_factor"])
        fittings = self["hose.fittings"] * velocity_coefficient(bore)
        run = Run(Loss(friction + fittings), bore)
        self.along(chain, "hose", run, self.columns.hose.astype(float), np.ones(1))

    def inlet_and_branch(self, chain: Chain, measured: Integers) -> None:
        run = self.branch(measured)
        if (hole := self.hole("inlet")) is not None:
            chain.leak(hole * self.at_damaged)
        chain.loss(Loss(self.throat("inlet", run.bore)), self.at_damaged)
        self.along(chain, "branch", run, self.tubing, self.at_damaged)

    def along(self, chain: Chain, name: str, run: Run, where: Array, hurt: Array) -> None:
        """A run with its hole and its throat, each at its own share of the length."""
        hole, throat = self.hole(name), self.throat(name, run.bore)
        if hole is None:
            chain.loss(run.loss, where)
            chain.loss(Loss(throat), where * hurt)
            return
        hole_at = self[f"holes.{name}_along"]
        outside = self[f"throats.{name}_along"] >= hole_at
        chain.loss(run.share(1.0 - hole_at), where)
        chain.loss(Loss(throat), outside * where * hurt)
        chain.leak(hole * where * hurt)
        chain.loss(run.share(hole_at), where)
        chain.loss(Loss(throat), ~outside * where * hurt)

    def on_trunk(self, trunk: Run, tap: Array) -> list[TrunkEvent]:
        """The trunk's throat, then its leaks, each where the path meets it.

        What lies beyond the measured tap meets the path at the tap, through the trunk between.
        """
        attached = ~self.columns.unit
        throat = self.throat("trunk", trunk.bore)
        throat_at = self["throats.trunk_along"]
        beyond = throat_at > tap
        events = []
        if throat is not None:
            events.append(TrunkEvent(throat_at, throat * ~beyond * self.tubing, np.zeros(1)))
        for position, leak in self.trunk_leaks():
            between = np.maximum(position - tap, 0.0) * trunk.as_dead_end
            if throat is not None:
                between = between + throat * (beyond & (throat_at < position))
            met = np.minimum(position, tap)
            events.append(TrunkEvent(met, np.zeros(1), behind(leak * attached, between)))
        return events

    def trunk_leaks(self) -> Iterator[tuple[Array, Array]]:
        """Leaks that hang on the trunk: (share of its length, c), masked to where they do."""
        if (hole := self.hole("trunk")) is not None:
            yield self["holes.trunk_along"], hole
        if self.houses.other is not None and (hole := self.hole("other_inlet")) is not None:
            inlet = np.array([self.houses.other])
            leak = behind(hole, self.branch(inlet).as_dead_end)
            yield self.tap(inlet), leak * (self.columns.inlet != self.houses.other)
        if (own := self.damaged_branch()) is not None:
            yield self.tap(np.array([self.houses.damaged])), own * (1.0 - self.at_damaged)

    def damaged_branch(self) -> Array | None:
        """The damaged inlet's own leaks as one at its tap, when another point is measured."""
        neck, side = self.hole("inlet"), self.hole("branch")
        if neck is None and side is None:
            return None
        run = self.branch(np.array([self.houses.damaged]))
        throats = [self.throat(place, run.bore) for place in ("branch", "inlet")]
        squeeze, at_inlet = (np.zeros(1) if k is None else k for k in throats)
        hole_at = self["holes.branch_along"]
        leak = np.zeros(1)
        if side is not None:
            before = squeeze * (self["throats.branch_along"] < hole_at)
            leak = leak + behind(side, run.as_dead_end * hole_at + before)
        if neck is not None:
            leak = leak + behind(neck, run.as_dead_end + squeeze + at_inlet)
        return leak

    def tubing_to_bin(self, chain: Chain, measured: Integers) -> None:
        """The trunk from the tap to the unit, the intake, and the bin's leaks.

        Seen from the utility inlet the tubing is a dead end: its leaks meet the path at the bin,
        through whatever squeezes the intake.
        """
        trunk = self.tube("trunk")
        attached = ~self.columns.unit
        tap = self.tap(measured) * self.tubing
        leaks: list[Array] = []
        reached = tap
        for event in farthest_first(self.on_trunk(trunk, tap)):
            position = np.minimum(event.position, reached)
            chain.loss(trunk.share(reached - position) + Loss(event.quadratic), self.tubing)
            chain.leak(event.leak * self.tubing)
            leaks.append(event.leak)
            reached = position
        chain.loss(trunk.share(reached), self.tubing)
        if (hole := self.hole("intake")) is not None:
            chain.leak(hole * self.tubing)
            leaks.append(hole * attached)
        throat = self.throat("intake", trunk.bore)
        chain.loss(Loss(throat), 1.0 - self.utility)
        fittings = self["utility_fittings"] * velocity_coefficient(trunk.bore)
        chain.loss(Loss(fittings), self.utility)
        chain.loss(self.restriction("bin"))
        bin_leaks = [hole for place in ("bin", "utility") if (hole := self.hole(place)) is not None]
        if leaks and self.columns.utility.any():
            hanging = sum(leaks, np.zeros(1))
            through = np.zeros(1) if throat is None else throat
            bin_leaks.append(behind(hanging, through) * self.utility)
        chain.leak(sum(bin_leaks, np.zeros(1)))

    def filter_to_fan(self, chain: Chain) -> None:
        chain.loss(self.restriction("filter") + self.restriction("screen"))
        chain.loss(Loss(self.throat("filter", self["trunk.bore_in"])))
        chain.leak(self.hole("motor"))
        idle = self[PARALLEL] * (self["fan.turning"] < self["fan.motors"])
        chain.leak(idle * hole_coefficient(self["fan.idle_bypass_in"]))

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


def find_path(houses: Houses, columns: Columns) -> LossPath:
    """The path from each column's open end to the fan of each house.

    Returns:
        A path whose arrays broadcast to (houses, columns).
    """
    finder = _Finder(houses, columns)
    barometer = finder["barometer_inhg"] * INHG_PA
    pascal = np.where(np.isnan(barometer), pressure_at(finder["altitude_ft"]), barometer)
    density = density_ratio(pascal, finder["temperature_f"])
    chain = Chain(density)
    measured = np.maximum(columns.inlet, 0)
    if columns.hose.any():
        finder.hose(chain)
    if columns.tubing.any():
        finder.inlet_and_branch(chain, measured)
    finder.tubing_to_bin(chain, measured)
    finder.filter_to_fan(chain)
    inh2o = pascal / INH2O_68F_PA
    return LossPath(
        steps=tuple(chain.steps),
        last=chain.pending.scaled(density),
        orifice=Orifice(finder["orifice_in"], inh2o, density),
        working=np.zeros((houses.count, 1)) + columns.working,
        barometer=inh2o,
        fan=finder.fan(density),
    )
