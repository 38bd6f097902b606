"""Whole calls played by several policies in the very same houses with the very same luck.

A policy is whatever has the doings of a `Session`: `next_step()`, `record()` and `record_fix()`.
What a step costs is charged here, from the rules in force, alike for all; what a policy itself
says of minutes is not looked at. Every answer is drawn from the seed, the number of the call, the
check and how often it has been asked, so that whoever asks for the third time gets the same third
answer, whatever was asked in between.
"""

from __future__ import annotations

import json
import subprocess
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from zlib import crc32

import numpy as np

from stillflow.engine import Session, Visit
from stillflow.engine.base import Mode
from stillflow.engine.dialogue import CheckStep
from stillflow.engine.inference import CANT_TELL, NO_ANSWER, baseline_for
from stillflow.engine.ruleset import (
    Footing,
    Knowledge,
    Outlay,
    checking,
    fixing,
    putting_back,
)
from stillflow.engine.simulate.calls import MOST_STEPS, SimulatedCall, same_fix

Begin = Callable[[Visit], Any]
"""Begins a call: a policy at its first step."""


class House:
    """One simulated call as it answers one policy, with the clock running.

    Args:
        call: the house and what is wrong in it; left as it was.
        luck: seed of everything that is answered here.
    """

    def __init__(self, call: SimulatedCall, luck: Sequence[int]) -> None:
        self.call = replace(call)
        self.minutes = 0.0
        self.checks = 0
        self._luck = luck
        self._asked: Counter[str] = Counter()
        self._footing = Footing()

    def answer(self, check_id: str, listed: Sequence[str], inlet: str | None = None) -> float | str:
        """What is reported for a check; "can't tell" where the policy knows no such answer."""
        check = self.call.knowledge.checks[check_id]
        self.checks += 1
        self._spend(checking(self.call.knowledge, self._footing, check, inlet or ""))
        seed = [*self._luck, crc32(check_id.encode()), self._asked[check_id]]
        self._asked[check_id] += 1
        answer = self.call.answer(check, np.random.default_rng(seed), inlet)
        known = isinstance(answer, float) or answer in listed or answer in NO_ANSWER
        return answer if known else CANT_TELL

    def repair(self, fault_id: str, inlet: str | None = None) -> bool:
        """Carry out a fix; whether it put something right."""
        knowledge = self.call.knowledge
        self._spend(fixing(knowledge, self._footing, knowledge.faults[fault_id]))
        return self.call.repair(fault_id, inlet)

    def leave(self) -> None:
        """Put back what stands open."""
        self._spend(putting_back(self.call.knowledge, self._footing))

    def _spend(self, outlay: Outlay) -> None:
        self.minutes += outlay.minutes
        self._footing = outlay.after


@dataclass(frozen=True)
class Played:
    """How one policy fared in one call.

    Attributes:
        hidden: the faults that were there.
        origin: where the expected readings came from.
        altitude_ft: of the house.
        ending: the last step: `done`, `refer` or `stop`.
        concluded: the fault it ended on, None if it named none.
        offered: the fixes proposed, in order: the fault, the probability given (NaN if none was),
            whether it was needed.
        checks: how many were made.
        minutes: of checks and fixes, with walks, opening and putting back.
        right: whether the conclusion is a fault that was there, or one with the same fix.
        mended: whether nothing was left that was not handed to whom it belongs.
    """

    hidden: tuple[str, ...]
    origin: str
    altitude_ft: float
    ending: str
    concluded: str | None
    offered: tuple[tuple[str, float, bool], ...]
    checks: int
    minutes: float
    right: bool
    mended: bool

    @property
    def first_right(self) -> bool:
        """Whether the first fix proposed was needed."""
        return bool(self.offered) and self.offered[0][2]


def play_call(begin: Begin, call: SimulatedCall, luck: Sequence[int]) -> Played:
    """Let a policy find its way through a call; a fix that is others' work ends its part of it."""
    house = House(call, luck)
    knowledge = call.knowledge
    session = begin(call.visit)
    offered: list[tuple[str, float, bool]] = []
    left_to_others: set[str] = set()
    for _ in range(MOST_STEPS):
        step = session.next_step()
        if step.check is not None:
            listed = [one.id for one in step.check.answers]
            asked = step.check
            if isinstance(session, Session) and isinstance(asked, CheckStep):
                answer = house.answer(asked.id, listed, house.call.inlet(asked, 0.0))
                session.record(asked.id, answer, inlet=house.call.inlet(asked, answer))
            else:
                session.record(asked.id, house.answer(asked.id, listed))
        elif step.fix is not None:
            name = step.fix.fault
            chance = next((one.probability for one in step.faults if one.id == name), float("nan"))
            offered.append((name, chance, _needed(knowledge, name, call.faults)))
            if step.fix.refer:
                left_to_others.add(name)
            else:
                house.repair(name, getattr(step.fix, "inlet", None))
            session.record_fix(name, done=not step.fix.refer)
        else:
            house.leave()
            break
    else:
        raise RuntimeError(f"the call did not end within {MOST_STEPS} steps")
    likeliest = step.faults[0] if step.faults else None
    concluded = likeliest.id if likeliest and likeliest.probability > 0.0 else None
    if offered and (step.step == "done" or left_to_others):
        concluded = offered[-1][0]
    remaining = {
        one for one in house.call.remaining if not _needed(knowledge, one, tuple(left_to_others))
    }
    return Played(
        hidden=call.faults,
        origin=baseline_for(call.visit, knowledge).origin,
        altitude_ft=call.visit.site.altitude_ft,
        ending=step.step,
        concluded=concluded,
        offered=tuple(offered),
        checks=house.checks,
        minutes=house.minutes,
        right=concluded is not None and _needed(knowledge, concluded, call.faults),
        mended=not remaining,
    )


def _needed(knowledge: Knowledge, fault_id: str, hidden: Sequence[str]) -> bool:
    return any(same_fix(knowledge, fault_id, one) for one in hidden)


def unseeing(knowledge: Knowledge) -> Knowledge:
    """The rules as a planner has them that sees no ways, no putting back, no gauge in place.

    What it leaves out of its plan is charged to it all the same.
    """
    stands = {
        name: one.model_copy(update={"minutes": 0.0}) for name, one in knowledge.stands.items()
    }
    accesses = {
        name: one.model_copy(
            update={"put_back": one.put_back and one.put_back.model_copy(update={"minutes": 0.0})}
        )
        for name, one in knowledge.accesses.items()
    }
    checks = {
        name: one.model_copy(update={"set_up": 0.0}) for name, one in knowledge.checks.items()
    }
    course = {name: one for name, one in knowledge.course.items() if one.next != "read-with"}
    return replace(
        knowledge,
        stands=stands,
        accesses=accesses,
        checks=checks,
        course=course,
        digest=f"{knowledge.digest} unseeing",
    )


def in_order(knowledge: Knowledge, played: Played) -> bool:
    """Whether nothing was broken in that call."""
    return all(knowledge.faults[one].mode is Mode.NORMAL for one in played.hidden)


class Beside:
    """Another version of stillflow in a process of its own, spoken to in lines of JSON.

    Args:
        python: the interpreter that version is installed for.
    """

    def __init__(self, python: str) -> None:
        script = Path(__file__).with_name("spoken_session.py")
        self._process = subprocess.Popen(
            [python, str(script)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def __call__(self, visit: Visit) -> BesideSession:
        """Begin a call."""
        said = visit.model_dump(mode="json", by_alias=True, exclude_defaults=True)
        return BesideSession(self, self.say({"visit": said}))

    def say(self, line: Mapping[str, Any]) -> Any:
        """Say one line, and hear the step that follows."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(line) + "\n")
        self._process.stdin.flush()
        heard = self._process.stdout.readline()
        if not heard:
            raise RuntimeError(f"the other version ended after {line}")
        return json.loads(heard, object_hook=lambda found: SimpleNamespace(**found))


class BesideSession:
    """A session that is held in another process."""

    def __init__(self, beside: Beside, step: Any) -> None:
        self._beside = beside
        self._step = step

    def next_step(self) -> Any:
        """What to do now."""
        return self._step

    def record(self, check_id: str, answer: float | str) -> None:
        """Tell the answer to a check."""
        self._step = self._beside.say({"check": check_id, "answer": answer})

    def record_fix(self, fault_id: str, done: bool = True) -> None:
        """Tell that a fix was done or left."""
        self._step = self._beside.say({"fix": fault_id, "done": done})
