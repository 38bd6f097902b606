"""A good printed card: a fixed procedure without any probabilities, as paper can hold it.

It asks a few things, has the customer's tool taken off, reads at the hose end and at the inlet, and
goes by differences between stations, in which altitude, label and class of unit cancel: the hose
end against the inlet, working against sealed, the house against the unit. The place they point
to is looked over, what is common and quickly looked at first; what was told moves a fault up.
What a look shows is put right at once, what it clears is struck. Then come the neighbours, then
the rest. The customer's own tool and the hose end have the last word.

It is played as a `Session` is: `next_step`, `record`, `record_fix`.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import log10

import numpy as np

from stillflow.engine import Visit
from stillflow.engine.base import Mode, Where, answer_fact
from stillflow.engine.inference import (
    NO_ANSWER,
    baseline_for,
    possible,
    rule_table,
    spot_of,
    standing_facts,
)
from stillflow.engine.ruleset import Check, Fault, Knowledge


@dataclass(frozen=True)
class Settings:
    """The card's thresholds and what it asks; chosen on seeds 7001 to 7010.

    Attributes:
        asked: questions asked of everybody, in order.
        hose: share the hose may lose of the inlet's working reading beyond what is computed.
        squeeze: share working may lose beyond sealed at the inlet; `squeeze_class` with a class.
        loss: share sealed at the inlet may lose; `loss_class` with a class.
        between: share two stations along the way may differ.
        hint: marks, half powers of ten, that an answer must speak for a fault to move it up.
        moved: share the hose end must move after a fix for all to be read afresh.
        enough: share of expected at the hose end that is enough where the tool pulls.
    """

    asked: tuple[str, ...] = ("where-weak", "what-before", "how-began", "ever-better")
    hose: float = 0.045
    squeeze: float = 0.07
    squeeze_class: float = 0.10
    loss: float = 0.07
    loss_class: float = 0.17
    between: float = 0.05
    moved: float = 0.05
    enough: float = 0.75
    blind: float = 12.0


SETTINGS = Settings()


@dataclass(frozen=True)
class Share:
    """A fault at the head of what the card has left; paper knows no probabilities."""

    id: str
    probability: float


@dataclass(frozen=True)
class FixOf:
    """What is to be put right."""

    fault: str
    minutes: float
    refer: str


@dataclass(frozen=True)
class CardStep:
    """What the card says to do now."""

    step: str
    check: Check | None = None
    fix: FixOf | None = None
    ending: str | None = None
    faults: tuple[Share, ...] = ()


@dataclass
class CardProgress:
    """As much of a visit's progress as a player asks for."""

    deferred: list[str] = field(default_factory=list)


Said = float | str | bool
Course = Generator[CardStep, Said, bool]
"""A part of the procedure: yields steps, is told what came of each, and returns whether the call
is over."""


@dataclass(frozen=True)
class Printed:
    """What stands on the card: the same for every call.

    Attributes:
        looks: by fault, the look that shows it best, None where nothing does.
        marks: what an answer says for or against each fault, in half powers of ten, shape (F,).
        shows: by check and answer, the faults it shows.
    """

    looks: dict[str, str | None]
    marks: dict[tuple[str, str], np.ndarray]
    shows: dict[tuple[str, str], tuple[str, ...]]


@lru_cache(maxsize=2)
def printed(knowledge: Knowledge) -> Printed:
    """Draw up the card from the rules."""
    table = rule_table(knowledge)
    marks = {}
    for check in knowledge.checks.values():
        name = answer_fact(check.id)
        for answer in check.answer_ids:
            rows = table.rows([{name: answer}])
            fired = table.fire(rows, knowledge.rules_using([name]))
            marks[check.id, answer] = np.round(table.weigh(fired)[0] / np.log(10.0) * 2)
    looks: dict[str, str | None] = {}
    for name, column in knowledge.fault_index.items():
        rated = [
            (min(said[column], 3.0), -knowledge.checks[check_id].minutes, check_id)
            for (check_id, _), said in marks.items()
            if said[column] >= SHOWN and not knowledge.checks[check_id].verifies
        ]
        looks[name] = max(rated)[2] if rated else None
    shows = {
        (check_id, answer): tuple(
            name
            for name, column in knowledge.fault_index.items()
            if said[column] >= SHOWN and looks[name] == check_id
        )
        for (check_id, answer), said in marks.items()
    }
    return Printed(looks, marks, shows)


SHOWN = 3
"""Marks from which an answer shows a fault: a factor of thirty."""


class PrintedCard:
    """The card at work on one visit.

    Args:
        knowledge: a loaded rule set.
        visit: the record on arrival.
        settings: thresholds.
    """

    def __init__(self, knowledge: Knowledge, visit: Visit, settings: Settings = SETTINGS) -> None:
        self.progress = CardProgress()
        self._knowledge = knowledge
        self._set = settings
        self._printed = printed(knowledge)
        self._baseline = baseline_for(visit, knowledge)
        self._standing = standing_facts(visit, self._baseline)
        self._wide = self._baseline.wide
        self._answers: dict[str, str] = {}
        self._shares: dict[str, float] = {}
        self._tried: list[str] = []
        self._cleared: set[str] = set()
        self._opened: set[str] = set()
        self._asked: set[str] = set()
        self._course = self._procedure()
        self._step = next(self._course)

    def next_step(self) -> CardStep:
        """What to do now."""
        return self._step

    def record(self, check_id: str, answer: float | str) -> None:
        """Take in the answer to a check."""
        self._go_on(check_id, answer)

    def record_fix(self, fault_id: str, done: bool = True, found: bool = True) -> None:
        """Take in that a fix was done, left, or not needed."""
        if not done and found:
            self.progress.deferred.append(fault_id)
        self._go_on(fault_id, done)

    def _go_on(self, name: str, said: Said) -> None:
        step = self._step
        expected = step.check.id if step.check else step.fix.fault if step.fix else None
        if name != expected:
            raise ValueError(f"the card asked for {expected}, not {name}")
        self._step = self._course.send(said)

    # The procedure.

    def _procedure(self) -> Course:
        for check in self._knowledge.checks.values():
            if check.first:
                yield from self._ask(check.id)
        for name in self._set.asked:
            yield from self._ask(name)
        if (yield from self._tool()):
            return True
        yield from self._ask("working-hose")
        yield from self._ask("working-inlet")
        done: list[str] = []
        while True:
            place = yield from self._place(done)
            if place is None:
                break
            before = len(self._tried)
            if (yield from self._search(PLACES[place])):
                return True
            if len(self._tried) > before and "working-hose" not in self._shares:
                # Something moved: read afresh, and start with the places from the top.
                done = []
                yield from self._ask("working-hose")
                yield from self._ask("working-inlet")
            else:
                done.append(place)
        if (yield from self._rest()):
            return True
        yield CardStep("refer", ending="Nothing on this card is left.")
        return True

    def _tool(self) -> Course:
        yield from self._ask("tool-off")
        better = self._answers.get("tool-off", "no-change")
        if better != "no-change":
            return (yield from self._search(("tool",)))
        return False

    def _place(self, done: Sequence[str]) -> Generator[CardStep, Said, str | None]:
        """The next place to look over, by what the stations say."""
        order: list[str] = []
        if self._less("working-hose", "working-inlet", self._set.hose):
            order.append("hose")
        elif self._answers.get("where-weak") == "one-tool":
            order.append("tool")
        if "hose" in order and "hose" not in done:
            return "hose"
        yield from self._ask("sealed-inlet")
        squeeze = self._set.squeeze_class if self._wide else self._set.squeeze
        loss = self._set.loss_class if self._wide else self._set.loss
        sealed = self._shares.get("sealed-inlet", 1.0)
        if self._less("working-inlet", "sealed-inlet", squeeze):
            yield from self._ask("working-utility")
            if self._less("working-inlet", "working-utility", self._set.between):
                order += ["tube-squeeze", "unit-squeeze"]
            else:
                order += ["unit-squeeze", "tube-squeeze"]
            order.append("gauge")
        elif sealed < 1.0 - loss:
            if not {"house-leak", "unit-leak", "power"} & set(done):
                yield from self._ask("sealed-unit")
            if self._less("sealed-inlet", "sealed-unit", self._set.between):
                order += ["house-leak", "unit-leak", "power"]
            else:
                order += ["unit-leak", "gauge", "power", "house-leak"]
        elif "hose" not in order:
            order += ["tool", "normal"]
        return next((one for one in order if one not in done), None)

    def _rest(self) -> Course:
        for place in (
            "tool",
            "hose",
            "unit-squeeze",
            "tube-squeeze",
            "unit-leak",
            "house-leak",
            "gauge",
            "power",
            "normal",
        ):
            if (yield from self._search(PLACES[place])):
                return True
        return False

    def _search(self, kinds: Iterable[str]) -> Course:
        """Look a place over, and put right what is seen; True if that ended the call."""
        while True:
            left = [one for one in self._left() if line_of(one) in kinds]
            looked = [one for one in left if self._look(one) is not None]
            if not looked:
                break
            best = max(looked, key=lambda one: (self._worth(one), one.id))
            check_id = str(self._look(best))
            answer = yield from self._ask(check_id)
            for name in sorted(
                self._printed.shows.get((check_id, str(answer)), ()),
                key=lambda one: -self._marks(self._knowledge.faults[one]),
            ):
                fault = self._knowledge.faults[name]
                if name not in self._tried and self._possible(fault):
                    if (yield from self._mend(fault)):
                        return True
                    if check_id not in self._answers:
                        break
        for fault in sorted(
            (one for one in self._left() if line_of(one) in kinds),
            key=lambda one: (-self._worth(one, fixing=True), one.id),
        ):
            fix = fault.fix
            if self._look(fault) is None and (
                fault.mode is Mode.NORMAL or (fix.minutes <= self._set.blind and not fix.refer)
            ):
                if (yield from self._mend(fault)):
                    return True
                if not self._shares:
                    break
        return False

    def _mend(self, fault: Fault) -> Course:
        """Put a fault right, and see whether that was all."""
        for name in fault.confirm_first:
            yield from self._ask(name)
        fix = fault.fix
        done = yield CardStep(
            "fix",
            fix=FixOf(fault.id, fix.minutes + self._opening(fix.access), fix.refer),
            faults=(Share(fault.id, float("nan")),),
        )
        self._tried.append(fault.id)
        if not done:
            yield CardStep("refer", ending=fault.title)
            return True
        if fault.mode is Mode.NORMAL:
            yield CardStep("done", ending=fault.title)
            return True
        self._opened.clear()
        works = yield from self._ask("works-now", again=True)
        before = self._shares.get("working-hose")
        yield from self._ask("working-hose", again=True)
        now = self._shares.get("working-hose", 0.0)
        if works == "as-it-should" and now >= self._set.enough:
            yield CardStep("done", ending=fault.title)
            return True
        if before is None or abs(now / before - 1.0) > self._set.moved:
            self._shares.clear()
            again = [one for one in self._answers if self._knowledge.checks[one].again_after_fix]
            for name in again:
                del self._answers[name]
        return False

    # What the card goes by.

    def _ask(self, check_id: str, again: bool = False) -> Generator[CardStep, Said, Said | None]:
        """The answer to a check, asked for unless it is known or cannot be."""
        check = self._knowledge.checks[check_id]
        if not again:
            known = self._shares if check.kind == "reading" else self._answers
            if check_id in known:
                return known[check_id]
            if not possible(check.possible_when, self._standing):
                return None
        answer = yield CardStep("check", check=check)
        if check.access:
            self._opened.add(check.access)
        if check.kind == "reading" and answer not in NO_ANSWER:
            self._shares[check_id] = float(answer) / self._baseline.at(*spot_of(check))
        else:
            self._answers[check_id] = str(answer)
        return answer

    def _less(self, one: str, other: str, by: float) -> bool:
        """Whether a reading falls short of another, each as a share of what is computed."""
        if one not in self._shares or other not in self._shares:
            return False
        return self._shares[one] < self._shares[other] * (1.0 - by)

    def _left(self) -> list[Fault]:
        return [
            fault
            for fault in self._knowledge.faults.values()
            if fault.id not in self._tried and self._possible(fault)
        ]

    def _possible(self, fault: Fault) -> bool:
        return possible(fault.possible_when, self._standing)

    def _look(self, fault: Fault) -> str | None:
        """The look that would show a fault, None where it was made or there is none."""
        look = self._printed.looks[fault.id]
        if look is None or look in self._answers:
            return None
        if not possible(self._knowledge.checks[look].possible_when, self._standing):
            return None
        return look

    def _marks(self, fault: Fault) -> float:
        """How common a fault is, and what was told for and against it, in half powers of ten."""
        column = self._knowledge.fault_index[fault.id]
        told = sum(
            float(self._printed.marks[name, self._answers[name]][column])
            for name in self._set.asked
            if (name, self._answers.get(name, "")) in self._printed.marks
        )
        return 2 * log10(fault.how_common.weight) + told

    def _worth(self, fault: Fault, fixing: bool = False) -> float:
        """Marks, less those for the minutes of its look or else its fix."""
        look = None if fixing else self._look(fault)
        if look is None:
            minutes = fault.fix.minutes + self._opening(fault.fix.access)
        else:
            check = self._knowledge.checks[look]
            minutes = check.minutes + self._opening(check.access)
        return self._marks(fault) - 2 * log10(minutes)

    def _opening(self, access: str | None) -> float:
        if access is None or access in self._opened:
            return 0.0
        return self._knowledge.accesses[access].minutes


PLACES = {
    "tool": ("tool",),
    "hose": ("hose",),
    "unit-squeeze": ("unit-squeeze",),
    "tube-squeeze": ("tube-squeeze",),
    "house-leak": ("house-leak",),
    "unit-leak": ("unit-leak",),
    "power": ("power",),
    "gauge": ("gauge",),
    "normal": ("normal",),
}


def line_of(fault: Fault) -> str:
    """The place a fault is looked for in: by where along the way it takes suction, and how."""
    at = getattr(fault.effect, "at", "")
    if fault.mode is Mode.NORMAL:
        return "normal"
    if fault.place is Where.MEASUREMENT:
        return "gauge"
    if fault.place is Where.TOOL:
        return "tool"
    if fault.place is Where.HOSE or at == "hose":
        return "hose"
    if fault.mode is Mode.WEAK_POWER or fault.place is Where.SUPPLY:
        return "power"
    leak = getattr(fault.effect, "kind", "") == "hole"
    if fault.place is Where.UNIT:
        return "unit-leak" if leak else "unit-squeeze"
    return "house-leak" if leak else "tube-squeeze"
