"""One fault played as the truth at its smallest and at its largest size, nothing left to chance.

What a senior looks at who has just written a fault: does a call in which it is there come to it?
Readings are those of an ordinary house, exact; every question gets the answer that is likeliest
with this fault by the rules' own table.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from stillflow.engine.airflow import Houses, apply, readings
from stillflow.engine.base import InputError, named, vocabulary
from stillflow.engine.dialogue import Session
from stillflow.engine.inference import (
    SPOTS,
    Event,
    House,
    Site,
    Unit,
    Visit,
    baseline_for,
    possible,
    standing_facts,
)
from stillflow.engine.ruleset import Check, Fault, Knowledge
from stillflow.engine.simulate.calls import PlayedCall, SimulatedCall, play
from stillflow.engine.simulate.houses import FRAME, NamedInlets

_WHERE = list(product((0.0, 5300.0), (8, 25), (1, 2), vocabulary.FILTERS))
"""Altitudes and units a fault may be possible in; the first that fits is taken."""

_RATED: dict[str, object] = {"rated_sealed": 120.0, "rated_airflow": 105.0}


class PlainCall(SimulatedCall):
    """A call in which everything is seen and said as is likeliest with what is wrong."""

    def answer(
        self, check: Check, generator: np.random.Generator, inlet: str | None = None
    ) -> float | str:
        """The likeliest answer; of a reading what the gauge shows, to a whole inch."""
        if check.kind == "reading":
            return float(round(self.reading(check, inlet)))
        if check.verifies:
            return super().answer(check, generator)
        return check.answer_ids[int(self.chances(check).argmax())]


@dataclass(frozen=True)
class Extreme:
    """How a call went in which a fault is the truth at one size.

    Attributes:
        fault: its id.
        size: of the fault, in its effect's own unit; empty where it has none.
        played: how it went.
        events: everything answered and done, in order.
    """

    fault: str
    size: tuple[float, ...]
    played: PlayedCall
    events: tuple[Event, ...]

    @property
    def found(self) -> bool:
        """Whether the call came to the fault, and mended it or handed it over."""
        return not self.played.remaining or self.played.concluded == self.fault


def at_extremes(knowledge: Knowledge, fault_id: str) -> tuple[Extreme, ...]:
    """Play a fault at the smallest and at the largest size of its effect; once if it has none.

    Raises:
        InputError: there is no such fault, or no unit it is possible in.
    """
    fault = named(knowledge.faults, fault_id, "fault")
    visit = visit_for(knowledge, fault)
    ranges = fault.effect.ranges()
    sizes = dict.fromkeys(tuple(span[end] for span in ranges) for end in (0, 1))
    return tuple(_played(knowledge, fault, visit, size) for size in sizes)


def visit_for(knowledge: Knowledge, fault: Fault) -> Visit:
    """A call to the first unit, of those tried, that a fault is possible in.

    Raises:
        InputError: it is possible in none.
    """
    for altitude_ft, age, motors, kind in _WHERE:
        unit = {**_RATED, "age_years": age, "motors": motors, "filter": kind}
        visit = Visit(
            site=Site(altitude_ft=altitude_ft, inlet="hall", other_inlet="landing"),
            unit=Unit.model_validate(unit),
            house=House(tubing_ft=60.0, hose_ft=30.0),
        )
        if possible(fault.possible_when, standing_facts(visit, baseline_for(visit, knowledge))):
            return visit
    what = f"'{fault.id}' is possible in no unit that was tried"
    raise InputError(what, right="see that its possible_when can hold")


def _played(knowledge: Knowledge, fault: Fault, visit: Visit, size: tuple[float, ...]) -> Extreme:
    baseline = baseline_for(visit, knowledge)
    healthy = baseline.system.model_copy(update={"inlets": FRAME.inlets})
    broken = apply(healthy, fault.effect, size)
    shown = {
        frozenset(faults): np.array([readings(house, station, state) for state, station in SPOTS])
        for faults, house in (((), healthy), ((fault.id,), broken))
    }
    truth = standing_facts(visit, baseline)
    names = (visit.site.inlet, visit.site.other_inlet, "attic")
    house = replace(Houses.of([healthy]), inlet_names=names)
    inlets = NamedInlets(names, house, visit.site.other_inlet)
    call = PlainCall(knowledge, visit, (fault.id,), (size,), 0.0, truth, inlets, shown)
    session = Session(knowledge, visit)
    played = play(session, call, np.random.default_rng(0))
    return Extreme(fault.id, size, played, session.events)
