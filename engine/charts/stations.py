"""The station chart: the air path from the fan to the hose end, and where suction is lost on it.

Holds the neutral model of the readings along the path and works out the step that loses most;
`stationdrawing` draws it. Expected values come from the caller.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pydantic import Field, model_validator

from stillflow.engine.base import InputError, Model
from stillflow.engine.charts.picture import TitleBlock

Condition = Literal["sealed", "working"]
CONDITIONS: tuple[Condition, ...] = ("sealed", "working")


class StationReading(Model):
    """Suction at one station under one condition, in the chart's unit; None where not known.

    `after` is what was read again after a fix.
    """

    expected: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    found: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    after: float | None = Field(default=None, ge=0, allow_inf_nan=False)


class ChartStation(Model):
    """One place where the gauge is put.

    Attributes:
        title: the place in a few words.
        behind: what the air passes between the station before (or the fan) and this one.
        sealed: suction with no air flowing.
        working: suction with air entering through the standard orifice.
    """

    title: str
    behind: str = ""
    sealed: StationReading = StationReading()
    working: StationReading = StationReading()

    def reading(self, condition: Condition) -> StationReading:
        """The reading under one of the two conditions."""
        return self.sealed if condition == "sealed" else self.working


class AirPath(Model):
    """The stations in the order of the path, from the fan to the hose end.

    Attributes:
        title: the title block.
        stations: at least one.
        unit: of all the values.
        tolerance: a difference that may be the doing of the gauge or of the expectation, as a
            share of the most that is expected in its condition.
    """

    title: TitleBlock
    stations: tuple[ChartStation, ...]
    unit: str = "inH2O"
    tolerance: float = Field(default=0.04, ge=0)

    @model_validator(mode="after")
    def _has_stations(self) -> AirPath:
        if not self.stations:
            raise InputError("a station chart needs at least one station")
        return self


@dataclass(frozen=True)
class StepLoss:
    """Suction lost on the step to one station beyond what a healthy system loses there.

    Attributes:
        station: number of the station the step leads to, from 0.
        since: number of the station it is counted from; -1 for the fan.
        condition: sealed or working.
        amount: in the unit of the path; negative where suction is gained.
    """

    station: int
    since: int
    condition: Condition
    amount: float


def losses(path: AirPath) -> list[StepLoss]:
    """The loss on every step that has readings at its end, in the order of the path.

    A station falls short by (expected - found); what a step loses is the shortfall at its end
    less the shortfall at the last station before it that has readings. The fan is taken to fall
    short by nothing, so that a weak unit shows as a loss on the first step.
    """
    found = []
    for condition in CONDITIONS:
        since, before = -1, 0.0
        for index, station in enumerate(path.stations):
            reading = station.reading(condition)
            if reading.expected is None or reading.found is None:
                continue
            short = reading.expected - reading.found
            found.append(StepLoss(index, since, condition, short - before))
            since, before = index, short
    return sorted(found, key=lambda loss: (loss.station, loss.condition))


def greatest_loss(path: AirPath) -> StepLoss | None:
    """The step that loses most, or None where no step loses more than the tolerance."""
    told = [loss for loss in losses(path) if loss.amount > path.tolerance * _most(path, loss)]
    return max(told, key=lambda loss: loss.amount, default=None)


def _most(path: AirPath, loss: StepLoss) -> float:
    """The most that is expected anywhere in the condition of a loss."""
    readings = [station.reading(loss.condition) for station in path.stations]
    return max(reading.expected or 0.0 for reading in readings)


def step_words(path: AirPath, loss: StepLoss) -> str:
    """Between what and what the step lies."""
    end = path.stations[loss.station]
    start = "the fan" if loss.since < 0 else path.stations[loss.since].title
    return f"between {start} and {end.title}"


def verdict(path: AirPath) -> str:
    """What the chart shows, in one sentence."""
    worst = greatest_loss(path)
    if worst is not None:
        return (
            f"Most suction is lost {step_words(path, worst)}: "
            f"{worst.amount:.0f} {path.unit} {worst.condition}."
        )
    if losses(path):
        return "No step loses more suction than readings and expectation may be off."
    return "There are no readings to compare yet."
