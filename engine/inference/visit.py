"""The record of one call, as a model: site, unit, gauge, and every event in order.

What the events mean is worked out in `session`; how visits are kept is the casebook's business.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import core_schema

from stillflow.engine.airflow import (
    HIGHEST_FT,
    LONGEST_HOSE_FT,
    LONGEST_TUBE_FT,
    LOWEST_FT,
    SHORTEST_HOSE_FT,
)
from stillflow.engine.base import MOST_SUCTION_INH2O, AirState, InputError, Model, Station, quantity
from stillflow.engine.ruleset import NONE_HERE

CANT_TELL = "can't tell"
CANT_DO = "can't do here"
SKIPPED = "skipped"
NO_ANSWER = (CANT_TELL, CANT_DO, SKIPPED, NONE_HERE)
"""Answers that say nothing by evidence. `skipped` comes back when nothing else is left; that there
is none of what a check looks at takes what is about it off the list."""


@dataclass(frozen=True)
class _Read:
    """A quantity as people write it: a number in `unit`, or text with a unit of its kind."""

    unit: str
    low: float
    high: float

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(self._convert, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return {"type": ["number", "string"], "minimum": self.low, "maximum": self.high}

    def _convert(self, value: object) -> object:
        if not isinstance(value, str | int | float):
            return value
        try:
            return quantity(value, self.unit, "", self.low, self.high)
        except InputError as problem:
            raise ValueError(f"{problem.what}; {problem.right}") from None


LIMITS: Mapping[str, tuple[str, float, float]] = {
    "suction": ("inH2O", 0.0, MOST_SUCTION_INH2O),
    "rated_sealed": ("inH2O", 20.0, 250.0),
    "rated_airflow": ("cfm", 10.0, 500.0),
    "tubing_ft": ("foot", 0.0, LONGEST_TUBE_FT),
    "hose_ft": ("foot", SHORTEST_HOSE_FT, LONGEST_HOSE_FT),
    "hose_bore_in": ("inch", 0.5, 4.0),
    "altitude_ft": ("foot", LOWEST_FT, HIGHEST_FT),
    "age_years": ("year", 0.0, 100.0),
    "orifice_in": ("inch", 0.25, 1.5),
    "zero": ("inH2O", -20.0, 20.0),
}
"""Unit, least and most of every quantity of a visit: the one place that says so. Options, prompts
and files take what the airflow model can work with, and nothing else."""

ASIDE = "aside"
"""How a visit ended that was set aside, such as one of two versions of a visit: nothing of it
counts, and all of it is kept."""

MOST_EVENTS = 500
"""Of one visit. A long one has sixty; to take in 500 readings takes two seconds."""

Suction = Annotated[float, _Read(*LIMITS["suction"])]
RatedSuction = Annotated[float, _Read(*LIMITS["rated_sealed"])]
Airflow = Annotated[float, _Read(*LIMITS["rated_airflow"])]
TubeFeet = Annotated[float, _Read(*LIMITS["tubing_ft"])]
HoseFeet = Annotated[float, _Read(*LIMITS["hose_ft"])]
Altitude = Annotated[float, _Read(*LIMITS["altitude_ft"])]
Bore = Annotated[float, _Read(*LIMITS["hose_bore_in"])]
Orifice = Annotated[float, _Read(*LIMITS["orifice_in"])]
Zero = Annotated[float, _Read(*LIMITS["zero"])]
Name = Annotated[str, Field(max_length=200)]


class NamedInlet(Model):
    """An inlet in the wall or floor, and the branch it hangs on as far as that is known."""

    name: Annotated[str, Field(min_length=1, max_length=200, pattern=r"\S")] = Field(
        description="what the house calls it, such as landing"
    )
    branch: Name = Field("", description="a name for the branch it shares with others, if known")


def _named(value: object) -> object:
    return {"name": value} if isinstance(value, str) else value


class Site(Model):
    """The house: who and where, how high, what its inlets are called."""

    id: Annotated[str, Field(max_length=80)] = Field("", description="given by the casebook")
    name: Name = Field("", description="the house or job, as it is listed")
    address: Name = Field("", description="where it is")
    customer: Name = Field("", description="who called")
    phone: Name = Field("", description="where the customer is called back")
    altitude_ft: Altitude = Field(0.0, description="feet above sea level, or such as 1609 m")
    inlet: Name = Field("", description="the inlet the complaint is about, such as hall")
    other_inlet: Name = Field("", description="an inlet on another branch")
    inlets: tuple[Annotated[NamedInlet, BeforeValidator(_named)], ...] = Field(
        (),
        max_length=60,
        description="its inlets as far as known, by name alone or with a branch, in the order "
        "in which they leave the main run where that is known",
    )


Filter = Literal["bag", "cartridge", "cloth", "foam", "hybrid-cloth", "hybrid-cartridge", "none"]
"""What keeps dust from the motor; in a hybrid a bag hangs before the other filter."""


class Unit(Model):
    """The power unit, as far as it is known."""

    class_: str | None = Field(
        default=None,
        alias="class",
        description="class of unit in the rules, where no rating is known",
    )
    age_years: Annotated[float, Field(ge=0, le=100)] | None = Field(None, description="age, years")
    rated_sealed: RatedSuction | None = Field(
        None, description="rated sealed suction, inH2O, or such as 32 kPa"
    )
    rated_airflow: Airflow | None = Field(None, description="rated airflow, cfm, or such as 54 L/s")
    motors: Literal[1, 2] | None = Field(None, description="how many motors")
    filter: Filter | None = Field(None, description="what keeps dust from the motor")
    fitted: date | None = Field(
        None, description="the day it took the place of another unit; nothing before it counts"
    )


class House(Model):
    """Lengths and bores that shape what a healthy reading is; None where not known."""

    tubing_ft: TubeFeet | None = Field(
        None, description="tubing from the unit to the inlet, ft, or such as 18 m"
    )
    hose_ft: HoseFeet | None = Field(None, description="length of the hose, ft, or such as 9 m")
    hose_bore_in: Bore | None = Field(
        None, description="inside diameter of the hose, in, or such as 32 mm"
    )


class Gauge(Model):
    """What the readings are taken with."""

    orifice_in: Orifice = Field(
        0.625, description="diameter of the orifice for working readings, in, or such as 16 mm"
    )
    name: Name = Field("", description="which gauge, as the shop tells its gauges apart")
    zero: Zero = Field(0.0, description="what the gauge shows in open air, inH2O")
    tolerance: Annotated[float, Field(gt=0, le=0.2)] = Field(
        0.02, description="how far a reading may be off, as a share of it"
    )


class Pair(Model):
    """Sealed and working suction at one station, inH2O."""

    sealed: Suction | None = Field(None, description="no air flows; inH2O, or such as 22 kPa")
    working: Suction | None = Field(
        None, description="air enters through the orifice; inH2O, or such as 22 kPa"
    )


class Event(Model):
    """One thing that happened: a check answered; a fix done, left, or found not needed.

    Or what is on record beside these and believed by nobody: a note, a part, and that an earlier
    event was wrong, which is struck with a reason and stays where it is.
    """

    check: str | None = Field(None, description="id of the check that was answered")
    answer: float | str | None = Field(
        None,
        description="a reading in inH2O or with a unit, the id of a listed answer, or one of "
        "can't tell, can't do here, skipped",
    )
    fix: str | None = Field(None, description="id of the fault whose fix this is")
    done: bool | None = Field(
        None,
        description="whether the fix was done (true if not said) or left; with 'strikes', true "
        "where the fix was made and has been undone since",
    )
    found: bool | None = Field(None, description="false where the fault turned out not to be there")
    inlet: Name | None = Field(
        None, description="the inlet that the answer or the fix is about, by name, such as landing"
    )
    note: Annotated[str, Field(max_length=2000)] | None = Field(
        None, description="a remark; with 'strikes', why"
    )
    part: Name | None = Field(None, description="a part that was used, or a line of the price")
    count: Annotated[float, Field(gt=0, le=10_000)] | None = Field(
        None, description="how many of the part (one if not said)"
    )
    price: Annotated[float, Field(ge=-1e6, le=1e6)] | None = Field(
        None, description="price of one, in the shop's money"
    )
    strikes: Annotated[int, Field(ge=1)] | None = Field(
        None, description="number of an earlier check or fix in the visit, from 1, that was wrong"
    )
    by: Name | None = Field(
        None, description="who wrote it, where that is not the technician of the visit"
    )
    at: datetime | None = Field(None, description="when, UTC, such as 2025-03-04T09:30:00Z")

    @property
    def is_fix(self) -> bool:
        """A fix, not a check."""
        return self.fix is not None

    @property
    def beside(self) -> bool:
        """A note, a part or a strike: nothing that is believed."""
        return self.check is None and self.fix is None


PAPER = time(12)
"""The time of day, UTC, that a visit written up from paper is given."""


class GoodReading(Model):
    """A reading that a visit left behind once all was well, to judge the next one by."""

    station: Station = Field(description="where the gauge was put")
    state: AirState = Field(description="sealed or working")
    inlet: Name = Field("", description="the inlet by name; empty where the station has none")
    suction: Suction = Field(description="inH2O, the gauge's zero taken off, or such as 22 kPa")
    orifice_in: Orifice = Field(0.625, description="diameter of the orifice, in")
    altitude_ft: Altitude = Field(0.0, description="feet above sea level")
    gauge: Name = Field("", description="which gauge it was taken with")
    tolerance: Annotated[float, Field(gt=0, le=0.2)] = Field(
        0.02, description="how far that gauge may be off, as a share of a reading"
    )
    after: Name = Field("", description="id of the fault whose fix came last before it, if any")
    at: datetime | None = Field(None, description="when, UTC")


class Conclusion(Model):
    """How the visit ended."""

    step: str = Field(description="done, refer, stop, or aside for a visit that does not count")
    fault: str | None = Field(None, description="id of the fault that was found")
    text: str = Field("", description="how it ended, in a sentence")
    proved: bool = Field(True, description="false where nothing measured shows that the fix did it")
    readings: tuple[GoodReading, ...] = Field(
        (), description="where all is well: what was read last, for the next visit"
    )


class Visit(Model):
    """One call. A visit with nothing in it is a valid start."""

    stillflow: Literal[1] = Field(1, description="number of this file format")
    id: Annotated[str, Field(max_length=80)] = Field("", description="given by the casebook")
    opened: datetime | None = Field(None, description="when the visit began, UTC")
    rules: str = Field("", description="digest of the rules it was begun with")
    purpose: Literal["call", "measuring"] = Field(
        "call", description="a call on a complaint, or just measuring"
    )
    described: bool = Field(False, description="whether house and unit have been asked about")
    technician: Name = Field("", description="who is on site")
    complaint: Annotated[str, Field(max_length=2000)] = Field(
        "", description="in the customer's words"
    )
    site: Site = Site()
    unit: Unit = Unit()
    house: House = House()
    gauge: Gauge = Gauge()
    last_good: dict[Station, Pair] = Field(
        default_factory=dict, description="readings after the last good visit, by station"
    )
    earlier: tuple[GoodReading, ...] = Field(
        (), max_length=500, description="what earlier visits left behind, the newest of each"
    )
    not_taken: tuple[str, ...] = Field(
        (), description="checks whose answer is not to be taken from the complaint, by id"
    )
    missing_tools: tuple[str, ...] = Field((), description="tools that are not at hand, by id")
    events: tuple[Event, ...] = Field(
        (), max_length=MOST_EVENTS, description="everything that happened, in order"
    )
    conclusion: Conclusion | None = Field(
        None, description="how it ended; nothing while it is open"
    )

    @property
    def last_at(self) -> datetime | None:
        """When something was last read, answered or mended, else when it was opened, UTC.

        A note or a part from the office, or a reading struck there, is of another day.
        """
        times = (one.at for one in self.events if one.at and not one.beside)
        return max(times, default=self.opened)

    @property
    def technicians(self) -> tuple[str, ...]:
        """Who began it and who wrote answers or fixes in it, in that order; what is struck too."""
        wrote = (one.by for one in self.events if one.by and not one.beside)
        return tuple(dict.fromkeys((*filter(None, (self.technician,)), *wrote)))

    @property
    def written_up(self) -> datetime | None:
        """The day of a visit that is written up from paper: all in it bears one moment, a noon."""
        day = self.opened
        alike = all(one.at in (None, day) for one in self.events if not one.beside)
        return day if day is not None and alike and day.time() == PAPER else None

    @property
    def believed(self) -> tuple[Event, ...]:
        """The checks and fixes that were not struck, in order."""
        struck = self.struck
        return tuple(
            one for n, one in enumerate(self.events, 1) if not one.beside and n not in struck
        )

    @property
    def struck(self) -> dict[int, str]:
        """Numbers of the events that were struck, from 1, and why; none of them is believed."""
        return {one.strikes: one.note or "" for one in self.events if one.strikes is not None}

    @property
    def undone(self) -> frozenset[int]:
        """Of what was struck the fixes that had been made; the last strike of each says so."""
        last = {one.strikes: one.done for one in self.events if one.strikes is not None}
        return frozenset(number for number, made in last.items() if made)

    @property
    def made(self) -> tuple[Event, ...]:
        """What is believed, and the fixes that were undone: they took their minutes too."""
        out = self.struck.keys() - self.undone
        return tuple(one for n, one in enumerate(self.events, 1) if not one.beside and n not in out)

    @property
    def noted(self) -> tuple[Event, ...]:
        """Notes, parts and prices that stand."""
        struck = self.struck
        return tuple(
            one
            for number, one in enumerate(self.events, 1)
            if one.beside and one.strikes is None and number not in struck
        )


def with_event(visit: Visit, event: Event) -> Visit:
    """The visit with one event more.

    Raises:
        InputError: it has as many as a visit may have.
    """
    if len(visit.events) >= MOST_EVENTS:
        what = f"this visit has {MOST_EVENTS} answers, as many as a visit may have"
        raise InputError(what, right="begin a new visit")
    return visit.model_copy(update={"events": (*visit.events, event)})
