"""Invented houses that answer without any luck: the gauge by the airflow model, looks truly.

A look is answered as is likeliest, by the rules' table, with what is still wrong; where a script
says otherwise, as it says. Unlike in a simulated call the same fault may be there twice, at two
inlets.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from stillflow.engine import Session, Visit
from stillflow.engine.airflow import System, apply, readings
from stillflow.engine.base import Station
from stillflow.engine.dialogue import CheckStep, NextStep
from stillflow.engine.inference import baseline_for, standing_facts
from stillflow.engine.ruleset import (
    Check,
    Footing,
    Knowledge,
    Outlay,
    checking,
    fixing,
    putting_back,
)
from stillflow.engine.simulate.calls import SimulatedCall, same_fix

MOST_STEPS = 60


@dataclass(frozen=True)
class Hidden:
    """A fault that is there, at its size, and the name of its inlet where it is at another one."""

    fault: str
    size: tuple[float, ...] = ()
    inlet: str = ""


@dataclass(frozen=True)
class Script:
    """One call as it is told before it is played.

    Attributes:
        visit: the record on arrival.
        house: in good order, with all its inlets by name, the complaint's first.
        hidden: what is wrong in it.
        finds: check -> what is answered whatever the rules' table says.
    """

    visit: Visit
    house: System
    hidden: tuple[Hidden, ...]
    finds: Mapping[str, str] = field(default_factory=dict)


@dataclass
class ScriptedHouse:
    """A script's house with what is left wrong in it, and what its visit has cost so far.

    Attributes:
        checks: all that was measured, looked at or asked.
        asked: the same with two readings at one station, the gauge still on it, as the one step
            that they are asked in.
        minutes: of all, with walks, opening and putting back.
        fixing: of these, what the fixes take in themselves.
        walks: ways from stand to stand.
        fewest: the fewest that the same acts could have been done with, fix by fix.
    """

    knowledge: Knowledge
    script: Script
    left: list[Hidden] = field(init=False)
    checks: int = 0
    minutes: float = 0.0
    fixing: float = 0.0
    asked: int = 0
    walks: int = 0
    fewest: int = 0
    _footing: Footing = field(default_factory=Footing)
    _stood: set[tuple[str, str]] = field(default_factory=set)
    _from: tuple[str, str] = ("", "")

    def __post_init__(self) -> None:
        self.left = list(self.script.hidden)
        visit = self.script.visit
        truth = standing_facts(visit, baseline_for(visit, self.knowledge))
        faults = tuple(one.fault for one in self.left)
        self._table = SimulatedCall(
            self.knowledge,
            visit,
            faults,
            ((),) * len(faults),
            0.0,
            truth,
            None,
            {},  # type: ignore[arg-type]
        )

    def reading(self, check: Check, inlet: str | None) -> float:
        """What the gauge shows, to whole inches of water."""
        assert check.station is not None
        assert check.condition is not None
        names = self.script.house.inlet_names
        system = self.script.house
        for one in self.left:
            fault = self.knowledge.faults[one.fault]
            if fault.elsewhere and (system.holes.other_inlet or not system.other):
                # The model leaks at one other inlet; a second one is damaged like the first.
                leaking = apply(self.script.house, fault.effect, one.size).holes.other_inlet
                holes = system.holes.model_copy(update={"inlet": leaking})
                system = system.model_copy(update={"holes": holes, "damaged_inlet": one.inlet})
            else:
                if one.inlet:
                    system = system.model_copy(update={"other_inlet": one.inlet})
                system = apply(system, fault.effect, one.size)
        named = {Station.INLET: names[0], Station.HOSE: names[0], Station.OTHER: inlet or names[1]}
        return float(
            round(readings(system, check.station, check.condition, named.get(check.station)))
        )

    def answer(self, check: Check, inlet: str | None) -> float | str:
        """What is reported."""
        if check.kind == "reading":
            return self.reading(check, inlet)
        if check.id in self.script.finds:
            return self.script.finds[check.id]
        self._table.remaining = {one.fault for one in self.left}
        if check.verifies:
            return next(one.id for one in check.answers if one.good is not bool(self.left))
        return check.answer_ids[int(self._table.chances(check).argmax())]

    def inlet(self, step: CheckStep, answer: float | str) -> str | None:
        """The inlet that an answer is about: where it was read, or where it leaks."""
        if step.station is Station.OTHER and not isinstance(answer, str):
            return step.inlet if not step.asks_inlet else self.script.house.inlet_names[1]
        if any(one.inlet for one in step.answers if one.id == answer):
            return next(
                (one.inlet for one in self.left if one.inlet), self.script.house.inlet_names[1]
            )
        return None

    def play(self, session: Session) -> list[tuple[NextStep, float | str | bool, str | None]]:
        """Go by what the session says: each step, its answer, the inlet named with it."""
        turns: list[tuple[NextStep, float | str | bool, str | None]] = []
        while (step := session.next_step()).ending is None and len(turns) < MOST_STEPS:
            if step.fix is not None:
                turns.append((step, self.mend(session, step), step.fix.inlet))
                continue
            assert step.check is not None
            check = self.knowledge.checks[step.check.id]
            at = self.inlet(step.check, 0.0) if check.station is Station.OTHER else None
            answer = self.answer(check, at)
            still = (self._footing.gauge, self._footing.inlet)
            self._go(checking(self.knowledge, self._footing, check, at or ""))
            self.checks += 1
            here = (self._footing.gauge, self._footing.inlet)
            self.asked += check.station is None or here != still
            name = self.inlet(step.check, answer)
            session.record(check.id, answer, inlet=name)
            turns.append((step, answer, name))
        self._arrive(None)
        turns.append((step, "", None))
        self.minutes += putting_back(self.knowledge, self._footing).minutes
        return turns

    def mend(self, session: Session, step: NextStep) -> bool:
        """Carry out the fix of a step, unless it is others' work; whether it was done."""
        assert step.fix is not None
        done = not step.fix.refer
        if done:
            outlay = fixing(self.knowledge, self._footing, self.knowledge.faults[step.fix.fault])
            self._go(outlay)
            self._arrive(self._here)
            self.fixing += outlay.doing
            mended = [
                one
                for one in self.left
                if same_fix(self.knowledge, one.fault, step.fix.fault)
                and step.fix.inlet in (None, one.inlet)
            ]
            self.left = [one for one in self.left if one not in mended[:1]]
        session.record_fix(step.fix.fault, done=done)
        return done

    @property
    def _here(self) -> tuple[str, str]:
        return (self._footing.at, self._footing.inlet)

    def _go(self, outlay: Outlay) -> None:
        before = self._here
        self.minutes += outlay.minutes
        self._footing = outlay.after
        if self._here != before:
            self.walks += 1
        if self._here[0]:
            self._stood.add(self._here)

    def _arrive(self, at: tuple[str, str] | None) -> None:
        """A fix, or the end: how few ways would have done since the last one."""
        others = self._stood - {self._from}
        self.fewest += len(others)
        if at is not None and at == self._from and others:
            self.fewest += 1
        self._stood = set()
        self._from = at or self._from
