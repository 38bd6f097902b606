"""The air path of one house: unit, tubing, inlets, hose, and what is damaged in it.

Holds the description only, with defaults of an ordinary healthy house, so that `System(fan=...)`
is useful as it stands. Defaults are common practice or assumed, and say which. What a gauge would
read is in `gauge`; many houses at once are in `houses`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from stillflow.engine.airflow.air import HIGHEST_FT, LOWEST_FT
from stillflow.engine.airflow.fan import Fan
from stillflow.engine.airflow.orifice import STANDARD_ORIFICE_IN
from stillflow.engine.base import FiniteModel

HoleSize = Annotated[float, Field(ge=0, le=6)]
ThroatSize = Annotated[float, Field(gt=0, le=4)] | None
Along = Annotated[float, Field(ge=0, le=1)]
Bore = Annotated[float, Field(ge=0.3, le=4)]

TUBE_BORE_IN = 1.87
"""Bore of tubing sold as 2 in (outside diameter; common practice)."""

LONGEST_TUBE_FT = 500.0
SHORTEST_HOSE_FT, LONGEST_HOSE_FT = 1.0, 120.0
"""What the model is for; a visit takes no other."""


class Restriction(FiniteModel):
    """A filter, screen or bin: drop = loading (linear w + quadratic w^2), inH2O, w in cfm."""

    linear: float = Field(default=0.0, ge=0, le=10, description="inH2O per cfm")
    quadratic: float = Field(default=0.0, ge=0, le=1, description="inH2O per cfm squared")
    loading: float = Field(default=1.0, ge=0, le=1e5, description="times its healthy resistance")


class Tube(FiniteModel):
    """A run of smooth tubing."""

    length_ft: float = Field(ge=0, le=LONGEST_TUBE_FT)
    bore_in: Bore = TUBE_BORE_IN
    fittings: float = Field(default=0.0, ge=0, le=500, description="sum of loss factors K")


class Inlet(FiniteModel):
    """A wall inlet on its branch."""

    name: str = Field(default="inlet", min_length=1, max_length=60)
    tap_ft: float | None = Field(
        default=None, ge=0, le=500, description="where its branch leaves the trunk, ft from unit"
    )
    branch: Tube = Tube(length_ft=8.0, fittings=1.0)


class Hose(FiniteModel):
    """A corrugated hose. Its Darcy friction factor is assumed: 0.04, rough and constant."""

    length_ft: float = Field(default=30.0, gt=0, le=LONGEST_HOSE_FT)
    bore_in: Bore = 1.25
    friction_factor: float = Field(default=0.04, gt=0, le=0.5)
    fittings: float = Field(default=0.5, ge=0, le=100)


class GaugeBias(FiniteModel):
    """How far the gauge is from the truth: it shows factor x suction + offset, never below 0."""

    factor: float = Field(default=1.0, ge=0, le=2)
    offset_inh2o: float = Field(default=0.0, ge=-100, le=100)


class Holes(FiniteModel):
    """Diameters (in) of round holes that let air in, 0 for none.

    `branch` and `inlet` are on the damaged inlet's branch and neck, `other_inlet` on the other.
    `along` values are shares of a run's length, from the unit's end.
    """

    motor: HoleSize = 0.0
    bin: HoleSize = 0.0
    utility: HoleSize = 0.0
    intake: HoleSize = 0.0
    trunk: HoleSize = 0.0
    branch: HoleSize = 0.0
    inlet: HoleSize = 0.0
    other_inlet: HoleSize = 0.0
    hose: HoleSize = 0.0
    trunk_along: Along = 0.5
    branch_along: Along = 0.5
    hose_along: Along = 0.5


class Throats(FiniteModel):
    """Diameters (in) of round throats the way is squeezed to, None for none.

    `filter` is anywhere between bin and motor. `along` values as for holes; where both fall on
    one spot the throat is the farther one.
    """

    filter: ThroatSize = None
    intake: ThroatSize = None
    trunk: ThroatSize = None
    branch: ThroatSize = None
    inlet: ThroatSize = None
    hose: ThroatSize = None
    tool: ThroatSize = None
    exhaust: ThroatSize = None
    trunk_along: Along = 0.5
    branch_along: Along = 0.5
    hose_along: Along = 0.5


class System(FiniteModel):
    """One house's air path. Only the fan must be given; lengths in ft, bores in in."""

    fan: Fan
    filter: Restriction = Restriction(linear=0.01, quadratic=0.0001)
    screen: Restriction = Restriction(quadratic=0.0001)
    bin: Restriction = Restriction(quadratic=0.0001)
    utility_fittings: float = Field(default=0.5, ge=0, le=100)
    trunk: Tube = Tube(length_ft=40.0, fittings=1.5)
    inlets: tuple[Inlet, ...] = Field(
        default=(Inlet(), Inlet(name="other inlet", tap_ft=20.0)), min_length=1, max_length=60
    )
    hose: Hose = Hose()
    exhaust: Tube = Tube(length_ft=6.0, fittings=1.0)
    altitude_ft: float = Field(default=0.0, ge=LOWEST_FT, le=HIGHEST_FT)
    barometer_inhg: float | None = Field(
        default=None, ge=15, le=33, description="station pressure, used instead of the altitude"
    )
    temperature_f: float = Field(default=70.0, ge=-40, le=150)
    orifice_in: float = Field(default=STANDARD_ORIFICE_IN, ge=0.05, le=2)
    gauge: GaugeBias = GaugeBias()
    holes: Holes = Holes()
    throats: Throats = Throats()
    damaged_inlet: str | None = Field(
        default=None, description="whose branch and neck `holes` and `throats` mean; else the first"
    )
    other_inlet: str | None = Field(
        default=None, description="whose gaskets `holes.other_inlet` means; else the next one"
    )

    @model_validator(mode="after")
    def _hangs_together(self) -> System:
        names = self.inlet_names
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"two inlets are named {twice[0]!r}; give each its own name")
        for inlet in self.inlets:
            if inlet.tap_ft is not None and inlet.tap_ft > self.trunk.length_ft:
                raise ValueError(
                    f"inlet {inlet.name!r} leaves the trunk at {inlet.tap_ft:g} ft, but the trunk "
                    f"is {self.trunk.length_ft:g} ft long"
                )
        for role in (self.damaged_inlet, self.other_inlet):
            if role is not None and role not in names:
                raise ValueError(f"no inlet named {role!r}; there are {', '.join(names)}")
        if self.other_inlet is not None and self.other_inlet == names[self.damaged]:
            raise ValueError(f"{self.other_inlet!r} cannot be the other inlet as well")
        if self.holes.other_inlet > 0 and self.other is None:
            raise ValueError("a hole at another inlet needs a second inlet")
        return self

    @property
    def inlet_names(self) -> tuple[str, ...]:
        """Names of the inlets, in order."""
        return tuple(inlet.name for inlet in self.inlets)

    @property
    def damaged(self) -> int:
        """Index of the inlet whose branch and neck damage is meant."""
        return 0 if self.damaged_inlet is None else self.inlet_names.index(self.damaged_inlet)

    @property
    def other(self) -> int | None:
        """Index of the inlet that `holes.other_inlet` means; None when there is only one."""
        if self.other_inlet is not None:
            return self.inlet_names.index(self.other_inlet)
        rest = [index for index in range(len(self.inlets)) if index != self.damaged]
        return rest[0] if rest else None
