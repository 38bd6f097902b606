"""The next step of a visit, as models: what to check, what to fix, or why the guided part ends.

These are what `stillflow next --json` prints and what a program that drives a `Session` reads.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, Self

from stillflow.engine.base import AirState, Mode, Model, Station, Where
from stillflow.engine.inference import Baseline, Event
from stillflow.engine.ruleset import Stop

StepKind = Literal["check", "fix", "stop", "refer", "done"]


class AnswerOption(Model):
    """One listed answer: the word to give back, what to call it, what it looks like.

    What is true `alone` cannot be one of two that are given at once.
    """

    id: str
    label: str
    looks: str = ""
    inlet: bool = False
    alone: bool = False


class CheckStep(Model):
    """One thing to measure, look at or ask, and where (`at`, empty for anywhere).

    Readings are in `unit`; of the minutes `walk` are those of the way there. `inlet` is the one it
    is made at, in words where it has no name. `asks_inlet` says that its name is wanted with a
    reading, as an `AnswerOption` with `inlet` does; `inlets` are names that may be meant, the one
    to begin with first.
    Of `several` answers two may be given, joined by ` + `. `part` is what may not be there at all;
    that is answered with `there is none`. `tools` are ids, `needs` what people call them.
    """

    id: str
    ask: str
    kind: Literal["reading", "choice"]
    station: Station | None
    condition: AirState | None
    inlet: str | None
    asks_inlet: bool = False
    inlets: tuple[str, ...] = ()
    unit: str | None
    answers: tuple[AnswerOption, ...]
    minutes: float
    cautions: tuple[str, ...]
    how: tuple[str, ...]
    tools: tuple[str, ...]
    needs: tuple[str, ...] = ()
    opens: str | None
    verifies: bool
    several: bool = False
    part: str = ""
    at: str = ""
    walk: float = 0.0


class FixStep(Model):
    """One fault to put right, and how. `refer` names who must do it, empty if the technician.

    `minutes` are those of the fix, of the way there (`walk`) and of opening what must be opened for
    it, as in a `CheckStep`.
    `inlet` is the name of the one it is made at, as far as that is told; `asks_inlet` says that
    nobody has said yet which it is, and `inlets` at which to look for it, in that order.
    """

    fault: str
    title: str
    inlet: str | None = None
    asks_inlet: bool = False
    inlets: tuple[str, ...] = ()
    minutes: float
    steps: tuple[str, ...]
    parts: tuple[str, ...]
    cautions: tuple[str, ...]
    confirm: str
    after: str
    refer: str
    at: str = ""
    walk: float = 0.0


class PutBackStep(Model):
    """What stands open and must be put back before the step: a step of its own.

    `accesses` are their ids; `steps` say how, one for each and for what is opened along with it.
    """

    accesses: tuple[str, ...]
    minutes: float
    steps: tuple[str, ...]
    cautions: tuple[str, ...]


class Ending(Model):
    """Why the guided part ends, whom to call, and what not to touch."""

    what: str
    call: str = ""
    do_not: str = ""

    @classmethod
    def by(cls, stops: Iterable[Stop]) -> Self:
        """What rules stop the visit with: all of it, each sentence once."""
        said = [(one.stop, one.call, one.do_not) for one in stops]
        what, call, do_not = (" ".join(dict.fromkeys(each)) for each in zip(*said, strict=True))
        return cls(what=what, call=call, do_not=do_not)


class FaultShare(Model):
    """One fault and how likely it is now."""

    id: str
    title: str
    place: Where
    mode: Mode
    probability: float


class Choice(Model):
    """The numbers behind a step, in minutes: what it is expected to cost and to save."""

    expected: float
    fixing_only: float
    runner_up: str = ""
    runner_up_expected: float | None = None

    @property
    def saved(self) -> float:
        """Minutes saved on average against trying fixes in their best order."""
        return max(0.0, self.fixing_only - self.expected)


class NextStep(Model):
    """What to do now, and the belief it rests on.

    `verifying` is the fault whose fix a check is to prove, empty for any other step: until then
    the belief is over what else there might be. `turn` is the rule of the course that chose this
    step, and `why_now` its reason. Where a reading is taken again, `contradiction` says what cannot
    be and `read_before` is what was read here, inH2O: who is sure of it gives it once more.
    `put_back` comes before the step, where something stands open; the answer to the step says that
    it was done.
    """

    step: StepKind
    put_back: PutBackStep | None = None
    check: CheckStep | None = None
    fix: FixStep | None = None
    ending: Ending | None = None
    faults: tuple[FaultShare, ...]
    modes: dict[Mode, float]
    baseline: Baseline
    because: tuple[str, ...]
    choice: Choice | None = None
    verifying: str = ""
    turn: str = ""
    why_now: str = ""
    contradiction: str = ""
    read_before: float | None = None


def inlet_of(step: NextStep, event: Event) -> str | None:
    """Name of the inlet that a step is at, for an answer to it that names none; None for others."""
    if step.fix is not None and step.fix.fault == event.fix:
        return step.fix.inlet
    check = step.check
    if check is None or check.id != event.check or check.asks_inlet:
        return None
    return check.inlet if check.station is Station.OTHER else None
