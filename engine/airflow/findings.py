"""What an estimate says: readings in, causes with their sizes, explanations, air power.

The models only, and their sentences; how they are worked out is in `estimate`.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from stillflow.engine.airflow import words
from stillflow.engine.airflow.causes import AS_EXPECTED, Kind
from stillflow.engine.airflow.points import GaugePoint
from stillflow.engine.base import in_percent


class _Result(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Reading(_Result):
    """One reading: where, sealed or working, at which inlet if it has a name, and inH2O."""

    station: Literal["unit", "utility", "inlet", "other", "hose"]
    condition: Literal["sealed", "working"]
    inlet: str | None = None
    inh2o: float = Field(ge=0, le=400, allow_inf_nan=False)

    @property
    def point(self) -> GaugePoint:
        """Where and how it was taken."""
        return GaugePoint(self.station, self.condition, self.inlet)


class SizedCause(_Result):
    """A cause with the size that fits the readings best, and its 90 % interval.

    `key` and `along` say where in a `System` that size is put (see `causes.put_in_system`).
    """

    cause: str
    kind: Kind
    stretch: str
    size: float
    low: float
    high: float
    unit: str
    key: str
    along: float | None


class Candidate(SizedCause):
    """How one cause alone explains the readings.

    Attributes:
        misfit: farthest reading from what it gives, in tolerances.
        chi_square: weighted squared misfit.
        fits: whether all readings are within tolerance of what it gives.
        seen: whether the readings taken say anything about its size.
    """

    misfit: float
    chi_square: float
    fits: bool
    seen: bool


class Explanation(_Result):
    """Causes that together explain all readings; none when all is as expected.

    Attributes:
        causes: one or two.
        in_tubing: whether the readings leave open if it is in the trunk or in the branch.
        misfit: farthest reading from what they give, in tolerances.
        chi_square: weighted squared misfit.
        explained: what they give at each reading, inH2O.
        words: the explanation in trade words, without a full stop.
    """

    causes: tuple[SizedCause, ...]
    in_tubing: bool = False
    misfit: float
    chi_square: float
    explained: tuple[float, ...]
    words: str

    @property
    def name(self) -> str:
        """Kebab-case name of the cause, two joined by +, `as-expected` for none."""
        return "+".join(part.cause for part in self.causes) or AS_EXPECTED


class Opening(_Result):
    """What comes in at the opening of one station while it works.

    Attributes:
        station: where.
        inlet: which inlet, if it has a name.
        suction_inh2o: suction left there.
        airflow_cfm: airflow through the orifice, cfm of room air.
        airflow_ls: the same, L/s.
        air_watts: air power there.
        supposed: nothing was read there: it holds if all beyond the last station read is sound.
    """

    station: str
    inlet: str | None
    suction_inh2o: float
    airflow_cfm: float
    airflow_ls: float
    air_watts: float
    supposed: bool = False


class Estimate(_Result):
    """What readings say is wrong, and how much.

    Attributes:
        readings: as given.
        expected: what the system should read at each, inH2O.
        tolerance: share of the reading.
        candidates: each single cause, in the order of `causes.CAUSES`.
        explanations: the fewest faults that fit within tolerance, the best first, then those that
            fit nearly as well; empty when neither none, one nor two do.
        nearest: the best single cause, whether it fits or not.
        stretch: where the trouble is as far as told: `none`, `unit`, `trunk`, `branch`, `hose`,
            `tubing` (trunk or branch), `unclear`.
        ambiguous_with: what else fits the readings nearly as well as the best explanation, or as
            the nearest cause when nothing fits.
        openings: each station read working, and the hose end as the best explanation leaves it.
        possible_watts: the greatest air power the healthy unit can make.
        share_at_hose: of it, what is left at the hose end.
        share_at_hose_supposed: whether that was not read there but holds only if all beyond the
            last station read is sound.
        healthy_share_at_hose: what should be left there.
    """

    readings: tuple[Reading, ...]
    expected: tuple[float, ...]
    tolerance: float
    candidates: tuple[Candidate, ...]
    explanations: tuple[Explanation, ...]
    nearest: Explanation
    stretch: str
    ambiguous_with: tuple[str, ...]
    openings: tuple[Opening, ...]
    possible_watts: float
    share_at_hose: float
    share_at_hose_supposed: bool
    healthy_share_at_hose: float
    fact_values: dict[str, float | str | bool] = Field(repr=False)

    @property
    def fits(self) -> bool:
        """Whether none, one or two faults explain the readings within tolerance."""
        return bool(self.explanations)

    @property
    def best(self) -> Explanation:
        """The first explanation, or the nearest where none fits."""
        return self.explanations[0] if self.explanations else self.nearest

    def facts(self) -> dict[str, float | str | bool]:
        """Values by fact name, all in `FACT_NAMES`; those not known are left out."""
        return dict(self.fact_values)

    def sentences(self) -> list[str]:
        """The estimate as a technician would say it: what is wrong, then what is left."""
        return [*self.cause_sentences(), *self._left_at_hose()]

    def cause_sentences(self) -> list[str]:
        """What the readings are like; where causes tie that comes first, with sizes as "if"."""
        names = [name.split("+") for name in (self.best.name, *self.ambiguous_with)]
        parts = {part for name in names for part in name}
        in_tubing = any({f"{kind}-trunk", f"{kind}-branch"} <= parts for kind in ("leak", "throat"))
        told = dict.fromkeys(words.named(name, in_tubing) for name in names if self.best.causes)
        if not self.best.causes:
            said = ["The readings are what this system should give, within tolerance."]
        elif len(told) > 1:
            said = [words.cannot_tell(list(told))]
            sized = {
                words.named(one.name.split("+"), in_tubing): one.words for one in self.explanations
            }
            said += [words.sentence(f"if {name}: {size}") for name, size in sized.items()]
        else:
            said = [words.sentence(self.best.words)]
        if not self.fits:
            said.append(self._farthest())
        return said

    def _left_at_hose(self) -> list[str]:
        """Air power at the hose end: as read there, else as a supposition, else nothing."""
        at_hose = [one for one in self.openings[:-1] if one.station == "hose"]
        if not at_hose and not self.fits:
            return []
        read = {one.station for one in self.readings}
        if at_hose:
            start = "At the hose end"
        elif "hose" in read:
            start = "If nothing is in the way in the hose, at its end about"
        elif "inlet" in read:
            start = "If the hose is sound, at its end about"
        else:
            start = "If tubing and hose are sound, at the hose end about"
        hose = (at_hose or self.openings)[-1]
        share = in_percent(hose.air_watts / self.possible_watts)
        return [
            f"{start} {hose.airflow_cfm:.0f} cfm ({hose.airflow_ls:.0f} L/s) and "
            f"{hose.air_watts:.0f} air watts are left: {share} of the "
            f"most this unit can make, where {in_percent(self.healthy_share_at_hose)} is healthy."
        ]

    def _farthest(self) -> str:
        explained = self.nearest.explained
        off = [
            abs(reading.inh2o - should) / max(reading.inh2o, 1.0)
            for reading, should in zip(self.readings, explained, strict=True)
        ]
        index = off.index(max(off))
        reading = self.readings[index]
        return (
            f"No one or two faults explain all readings within {100 * self.tolerance:g} %: "
            f"{reading.point} reads {reading.inh2o:.0f}, where that would give "
            f"{explained[index]:.0f}. Take it again."
        )
