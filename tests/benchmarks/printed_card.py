"""A good printed card: a fixed procedure without any probabilities, as paper can hold it.

A few questions, the customer's tool taken off, readings at the hose end and at the inlet. From
there the card goes by differences between stations, in which altitude, label and class of unit
cancel: the hose end against the inlet, working against sealed, the house against the unit. Faults
and looks stand in a table with marks: more for what is common, more for what was told, fewer for a
place the stations do not point to, fewer for what was looked for in vain. Marks are added up,
never turned into probabilities. What has most marks for its minutes is done next, whatever lies
behind one opening together. What a look shows is put right at once, unless the stations speak
against it. The customer's own tool and the hose end have the last word: the card stops when the
one pulls and the other is near enough.

It is played as a `Session` is: `next_step`, `record`, `record_fix`.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Generator, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from math import log, log10
from typing import NamedTuple

import numpy as np

from stillflow.engine import Visit
from stillflow.engine.airflow import (
    Fan,
    GaugePoint,
    System,
    apply_many,
    draw_houses,
    draw_sizes,
    readings_table,
)
from stillflow.engine.base import AirState, Mode, Station, Where, answer_fact
from stillflow.engine.inference import (
    CANT_TELL,
    NO_ANSWER,
    baseline_for,
    possible,
    rule_table,
    spot_of,
    standing_facts,
)
from stillflow.engine.ruleset import Check, Fault, Footing, Knowledge, checking, fixing
from stillflow.engine.ruleset.entries import Answer

Fall = tuple[float, float]
"""From which share a fall between two readings may be one, and from which it is one."""


@dataclass(frozen=True)
class Settings:
    """What the card asks and its thresholds, chosen on seeds 7001 to 7010.

    A mark is half a power of ten.

    Attributes:
        asked: questions asked of everybody, in order.
        hose: fall of the working reading from inlet to hose end, beyond what is computed.
        squeeze: how much more working falls short at the inlet than sealed; then with a class.
        loss: how far sealed falls short at the inlet; then with a class.
        between: fall along the tubing.
        off: marks of a place the stations perhaps point to, and of one they speak against.
        vain: marks of a fault looked for in vain, and `unsure` where it could not be told.
        again: how often a look may be taken again.
        shown: marks from which an answer shows a fault.
        against: marks of a place from which what was seen there is not believed.
        untold: marks of a fix that is tried without its fault having been seen.
        after: minutes of seeing whether a fix has worked.
        explained: marks of a fix that only explains, which ends the call.
        least: marks for its minutes under which nothing is worth doing any more.
        moved: share the hose end must move after a fix for all to be read afresh.
        enough: share of expected at the hose end that is enough where the tool pulls.
        misfit: marks of a fault that leaves more or less at the hose end than is there, beyond
            `slack`, or `slack_class` with a class.
        before: readings in order, each with the marks from which looks come before it.
    """

    asked: tuple[str, ...] = ("where-weak", "what-before", "ever-better", "tool-off")
    hose: Fall = (0.025, 0.05)
    squeeze: Fall = (0.03, 0.07)
    squeeze_class: Fall = (0.05, 0.12)
    loss: Fall = (0.03, 0.07)
    loss_class: Fall = (0.05, 0.18)
    between: Fall = (0.03, 0.05)
    off: tuple[float, float] = (-2.0, -5.0)
    vain: float = -2.0
    unsure: float = -1.0
    again: int = 2
    shown: int = 3
    against: float = -2.5
    untold: float = -0.7
    after: float = 3.0
    explained: float = -1.5
    least: float = -6.5
    moved: float = 0.05
    enough: float = 0.75
    slack: float = 0.04
    slack_class: float = 0.12
    misfit: float = -1.5
    before: tuple[tuple[str, float], ...] = (
        ("working-hose", 2.5),
        ("working-inlet", 2.5),
        ("sealed-inlet", 2.0),
        ("working-utility", 2.0),
        ("sealed-unit", 2.0),
    )


SETTINGS = Settings()


@dataclass(frozen=True)
class Named:
    """A fault the card names, or none; paper knows no probabilities."""

    id: str = ""
    probability: float = float("nan")


@dataclass(frozen=True)
class CardCheck:
    """What is to be measured, looked at or asked; minutes with all that goes with it."""

    id: str
    minutes: float
    answers: tuple[Answer, ...]


@dataclass(frozen=True)
class CardFix:
    """What is to be put right; minutes with all that goes with it."""

    fault: str
    minutes: float
    refer: str


@dataclass(frozen=True)
class CardStep:
    """What the card says to do now."""

    step: str
    check: CardCheck | None = None
    fix: CardFix | None = None
    ending: str | None = None
    faults: tuple[Named, ...] = (Named(),)


@dataclass
class CardProgress:
    """As much of a visit's progress as a player asks for."""

    deferred: list[str] = field(default_factory=list)


Said = float | str | bool
Moved = Generator[CardStep, Said, bool]
"""A part of the procedure: yields steps, is told what came of each, and returns whether a fix has
moved something. An ending is its last step: nobody goes on from there."""


class Printed(NamedTuple):
    """What stands on the card: the same for every call.

    Attributes:
        told: by question and answer, marks for each fault it speaks for or against.
        looks: by look, each fault it may show and how surely.
        shows: by look and answer, the faults it shows.
        leaves: how much a fault leaves at the hose end, working, least and most, as a share.
    """

    told: Mapping[tuple[str, str], Mapping[str, float]]
    looks: Mapping[str, Mapping[str, float]]
    shows: Mapping[tuple[str, str], tuple[str, ...]]
    leaves: Mapping[str, tuple[float, float]]


@lru_cache(maxsize=4)
def printed(knowledge: Knowledge, settings: Settings) -> Printed:
    """Draw up the card from the rules, as its author would."""
    table = rule_table(knowledge)
    told: dict[tuple[str, str], dict[str, float]] = {}
    looks: dict[str, dict[str, float]] = {}
    shows: dict[tuple[str, str], tuple[str, ...]] = {}
    for check in knowledge.checks.values():
        name = answer_fact(check.id)
        rows = table.rows([{name: answer} for answer in check.answer_ids])
        weights = table.weigh(table.fire(rows, knowledge.rules_using([name])))
        usual = np.array([answer.usual for answer in check.answers])
        for fault, column in knowledge.fault_index.items():
            seen = usual * np.exp(weights[:, column])
            for row, answer in enumerate(check.answer_ids):
                marks = round(weights[row, column] / log(10) * 2)
                if check.id in settings.asked:
                    told.setdefault((check.id, answer), {})[fault] = marks
                elif marks >= settings.shown and not check.verifies and check.id not in NO_PROOF:
                    looks.setdefault(check.id, {})[fault] = float(seen[row] / seen.sum())
                    shows[check.id, answer] = (*shows.get((check.id, answer), ()), fault)
    return Printed(told, looks, shows, _leaves(knowledge))


def _leaves(knowledge: Knowledge) -> dict[str, tuple[float, float]]:
    """What the airflow model leaves at the hose end over all sizes in common houses."""
    generator, count = np.random.default_rng(0), 200
    houses = draw_houses(generator, count, System(fan=Fan(sealed_inh2o=120.0, airflow_cfm=100.0)))
    two = np.full(count, 2.0)
    houses = houses.with_values({"fan.motors": two, "fan.turning": two})
    points = [GaugePoint(Station.HOSE, AirState.WORKING)]
    healthy = readings_table(houses, points)[:, 0]
    leaves = {}
    for fault in knowledge.faults.values():
        sizes = draw_sizes(fault.effect, generator, count)
        left = readings_table(apply_many(houses, fault.effect, sizes), points)[:, 0] / healthy
        leaves[fault.id] = (float(np.percentile(left, 4)), float(np.percentile(left, 96)))
    return leaves


NO_PROOF = ("clogged-before", "what-before", "how-began", "where-weak", "ever-better")
"""Questions whose answers speak for a fault, but show none."""


class OnPaper:
    """What stands on paper, gone by as a `Session` is: `_procedure` says what is done in turn."""

    def _procedure(self) -> Generator[CardStep, Said, None]:
        raise NotImplementedError

    def _begin(self) -> None:
        self.progress = CardProgress()
        self._course = self._procedure()
        self._step = next(self._course)

    def next_step(self) -> CardStep:
        """What to do now."""
        return self._step

    def record(self, check_id: str, answer: float | str) -> None:
        """Take in the answer to the check that is asked for."""
        self._step = self._course.send(answer)

    def record_fix(self, fault_id: str, done: bool = True, found: bool = True) -> None:
        """Take in that the fix asked for was done, or left."""
        if not done and found:
            self.progress.deferred.append(fault_id)
        self._step = self._course.send(done)


class PrintedCard(OnPaper):
    """The card at work on one visit.

    Args:
        knowledge: a loaded rule set.
        visit: the record on arrival.
        settings: what it asks, and its thresholds.
    """

    def __init__(self, knowledge: Knowledge, visit: Visit, settings: Settings = SETTINGS) -> None:
        self._knowledge = knowledge
        self._set = settings
        self._card = printed(knowledge, settings)
        self._baseline = baseline_for(visit, knowledge)
        standing = standing_facts(visit, self._baseline)
        self._possible = {
            entry.id
            for entry in (*knowledge.faults.values(), *knowledge.checks.values())
            if possible(entry.possible_when, standing)
        }
        self._answers: dict[str, str] = {}
        self._shares: dict[str, float] = {}
        self._tried: list[str] = []
        self._footing = Footing()
        self._looked: Counter[str] = Counter()
        self._vain: dict[str, float] = defaultdict(float)
        self._seen: Counter[str] = Counter()
        self._begin()

    # The procedure.

    def _procedure(self) -> Generator[CardStep, Said, None]:
        for check in self._knowledge.checks.values():
            if check.first:
                yield from self._ask(check.id)
        for name in self._set.asked:
            yield from self._ask(name)
        while (yield from self._round()):
            pass
        yield CardStep("refer", ending="Nothing on this card is left.")

    def _round(self) -> Moved:
        """Look and read by turns, until a fix has moved something (True) or nothing is left."""
        for reading, marks in (*self._set.before, ("", self._set.least)):
            if (yield from self._act(marks)):
                return True
            if reading and self._wanted(reading):
                yield from self._ask(reading)
        return False

    def _wanted(self, reading: str) -> bool:
        """Whether the readings so far leave a question to which this one is the answer."""
        if reading in ("working-hose", "working-inlet"):
            return True
        if self._fall("working-inlet", "working-hose", self._set.hose) == 2:
            return False
        if reading == "working-utility":
            return self._squeezed() == 2
        if reading == "sealed-unit":
            return self._lost() == 2 and self._squeezed() != 2
        return True

    def _places(self) -> dict[str, float]:
        """Marks of each place, by what the stations say."""
        worst = [self._set.off[1], self._set.off[0], 0.0]
        hose = self._fall("working-inlet", "working-hose", self._set.hose)
        squeeze, loss = self._squeezed(), self._lost()
        tube = self._fall("working-utility", "working-inlet", self._set.between)
        house = self._fall("sealed-unit", "sealed-inlet", self._set.between)
        run = self._fall("working-unit", "working-inlet", self._set.between)
        place = dict.fromkeys(PLACES, 0.0)
        if hose is not None:
            place["hose"] += worst[hose]
            for one in set(PLACES) - {"hose", "orifice"}:
                place[one] += worst[2 - hose] if hose == 2 else 0.0
        if squeeze is not None:
            for one in ("tube-squeeze", "intake-squeeze", "unit-squeeze", "orifice"):
                place[one] += worst[squeeze]
            for one in ("house-leak", "unit-leak", "power", "gauge"):
                place[one] += worst[0] if squeeze == 2 else 0.0
        if loss is not None:
            for one in ("house-leak", "unit-leak", "power", "gauge"):
                place[one] += worst[loss]
        if tube is not None:
            place["tube-squeeze"] += worst[tube]
            place["intake-squeeze"] += worst[tube]
            place["unit-squeeze"] += worst[2 - tube]
            place["orifice"] += worst[2 - tube]
        if house is not None:
            place["house-leak"] += worst[house]
            for one in ("unit-leak", "power", "gauge"):
                place[one] += worst[2 - house]
        if run is not None:
            place["tube-squeeze"] += worst[run]
            place["intake-squeeze"] += worst[2 - run]
        strongest = max(hose or 0, squeeze or 0, loss or 0)
        for one in ("tool", "normal"):
            place[one] += (0.0, self._set.off[0], self._set.off[1])[strongest]
        return place

    def _act(self, least: float) -> Moved:
        """Looks and fixes, most marks for the minutes first, down to some; True if one moved."""
        marks = self._marks()
        while True:
            left = {
                one: mark + self._vain[one] + self._set.shown * self._seen[one]
                for one, mark in marks.items()
                if one not in self._tried
            }
            acts = (*self._looks(left), *self._fixes(left, least <= self._set.least))
            best = max(acts, default=(-99.0, "", ""))
            if best[0] < least:
                return False
            _, check_id, fault_id = best
            if fault_id:
                if (yield from self._mend(fault_id)):
                    return True
                continue
            answer = yield from self._ask(check_id, again=True)
            for one in sorted(self._shown(check_id, answer), key=lambda one: -left[one]):
                believed = marks[one] > self._set.against and one not in self._tried
                if believed and (yield from self._mend(one)):
                    return True

    def _mend(self, fault_id: str) -> Moved:
        """Put a fault right, and see whether that was all; True if something moved."""
        fault = self._knowledge.faults[fault_id]
        for name in fault.confirm_first:
            others = self._shown(name, (yield from self._ask(name)))
            if others and fault_id not in others:
                return (yield from self._mend(others[0]))
        fix = fault.fix
        if fix.refer and not (yield from self._confirmed(fault)):
            return False
        outlay = fixing(self._knowledge, self._footing, fault)
        done = yield CardStep(
            "fix", fix=CardFix(fault.id, outlay.minutes, fix.refer), faults=(Named(fault.id),)
        )
        self._footing = outlay.after if done else self._footing
        self._tried.append(fault.id)
        if not done:
            yield CardStep("refer", ending=fault.title)
        if fault.mode is Mode.NORMAL:
            yield CardStep("done", ending=fault.title)
        before = self._shares.get("working-hose")
        works = yield from self._ask("works-now", again=True)
        if works != "as-it-should" and (before is None or place_of(fault) == "tool"):
            return False
        yield from self._ask("working-hose", again=True)
        now = self._shares.get("working-hose", 1.0)
        if works == "as-it-should" and now >= self._set.enough:
            yield CardStep("done", ending=fault.title)
        if before is None or abs(now - before) <= self._set.moved * before:
            return False
        self._shares = {"working-hose": now}
        self._looked.clear()
        return True

    def _confirmed(self, fault: Fault) -> Moved:
        """Whether a second look, another one if there is, shows the fault too."""
        looks = [
            check
            for check in map(self._knowledge.checks.__getitem__, self._card.looks)
            if fault.id in self._card.looks[check.id] and check.id in self._possible
        ]
        if not looks or self._seen[fault.id] >= 2:
            return True

        def effort(check: Check) -> float:
            # Another look before the same again, by minutes that a wrong fix would cost.
            minutes = check.minutes
            if check.access != fault.fix.access:
                minutes = checking(self._knowledge, self._footing, check).minutes
            return minutes + self._set.after * self._looked[check.id]

        look = min(looks, key=lambda check: (effort(check), check.id))
        seen = self._seen[fault.id]
        yield from self._ask(look.id, again=True)
        if self._seen[fault.id] > seen:
            return True
        self._seen[fault.id] = 0
        return False

    # What the card goes by.

    def _ask(self, check_id: str, again: bool = False) -> Generator[CardStep, Said, Said | None]:
        """The answer to a check, asked for unless it is known or cannot be."""
        check = self._knowledge.checks[check_id]
        known: Mapping[str, Said] = self._shares if check.kind == "reading" else self._answers
        if not again and check_id in known:
            return known[check_id]
        if check_id not in self._possible:
            return None
        outlay = checking(self._knowledge, self._footing, check)
        answer = yield CardStep("check", check=CardCheck(check_id, outlay.minutes, check.answers))
        self._footing = outlay.after
        if check.kind != "reading":
            self._answers[check_id] = str(answer)
            shown = self._shown(check_id, answer)
            self._looked[check_id] += 1
            self._seen.update(shown)
            for one in set(self._card.looks.get(check_id, ())).difference(shown):
                self._vain[one] += self._set.unsure if answer == CANT_TELL else self._set.vain
        elif answer not in NO_ANSWER:
            self._shares[check_id] = float(answer) / self._baseline.at(*spot_of(check))
        return answer

    def _fall(self, before: str, after: str, fall: Fall) -> int | None:
        if before not in self._shares or after not in self._shares:
            return None
        # Where nothing was read before, nothing more can fall.
        left = self._shares[before]
        return _seen(self._shares[after] / left if left else 1.0, fall)

    def _squeezed(self) -> int | None:
        fall = self._set.squeeze_class if self._baseline.wide else self._set.squeeze
        return self._fall("sealed-inlet", "working-inlet", fall)

    def _lost(self) -> int | None:
        fall = self._set.loss_class if self._baseline.wide else self._set.loss
        if "sealed-inlet" not in self._shares:
            return None
        return _seen(self._shares["sealed-inlet"], fall)

    def _shown(self, check_id: str, answer: Said | None) -> list[str]:
        shown = self._card.shows.get((check_id, str(answer)), ())
        return [one for one in shown if one in self._possible and one not in self._tried]

    def _marks(self) -> dict[str, float]:
        """Marks of each fault that can be: how common it is, what was told, and its place."""
        place = self._places()
        told = [self._card.told.get((one, self._answers.get(one, ""))) for one in self._set.asked]
        return {
            one.id: 2 * log10(one.how_common.weight)
            + place[place_of(one)]
            + sum(said[one.id] for said in told if said)
            + self._size(one.id)
            for one in self._knowledge.faults.values()
            if one.id in self._possible
        }

    def _size(self, fault_id: str) -> float:
        """Marks off where a fault leaves more or less at the hose end than is there."""
        least, most = self._card.leaves[fault_id]
        slack = self._set.slack_class if self._baseline.wide else self._set.slack
        now = self._shares.get("working-hose")
        fits = now is None or least - slack <= now <= most + slack
        return 0.0 if fits else self._set.misfit

    def _looks(self, left: Mapping[str, float]) -> Iterator[tuple[float, str, str]]:
        """Looks with their marks for the minutes; what lies behind one opening together."""
        bundles: dict[str, list[tuple[float, float, str]]] = {}
        worths = {one: 10 ** (marks / 2) for one, marks in left.items()}
        for check_id, faults in self._card.looks.items():
            if check_id not in self._possible or self._looked[check_id] >= self._set.again:
                continue
            check = self._knowledge.checks[check_id]
            worth = sum(surely * worths.get(one, 0.0) for one, surely in faults.items())
            if worth > 0.0:
                closed = check.access is not None and check.access not in self._footing.opened
                behind = str(check.access) if closed else check_id
                bundles.setdefault(behind, []).append((worth, check.minutes, check_id))
        for some in bundles.values():
            some.sort(key=lambda one: (-one[0] / one[1], one[2]))
            first = self._knowledge.checks[some[0][2]]
            minutes = checking(self._knowledge, self._footing, first).minutes - first.minutes
            total = 0.0
            for worth, more, _ in some:
                total, minutes = total + worth, minutes + more
                yield 2 * log10(total / minutes), some[0][2], ""

    def _fixes(self, left: Mapping[str, float], untold: bool) -> Iterator[tuple[float, str, str]]:
        """Fixes of what was seen, if need be also of what was not, with marks for the minutes."""
        for name, mark in left.items():
            if not (untold or self._seen[name]):
                continue
            fault = self._knowledge.faults[name]
            minutes = fixing(self._knowledge, self._footing, fault).minutes + self._set.after
            marks = mark - 2 * log10(minutes)
            if not self._seen[name]:
                marks += self._set.untold
            if fault.fix.refer or fault.mode is Mode.NORMAL:
                marks += self._set.explained
            yield marks, "", name


def _seen(left: float, fall: Fall) -> int:
    """Whether so much left over is a fall: 0 for no, 1 for perhaps, 2 for surely."""
    return sum(1.0 - left > share for share in fall)


PLACES = (
    "tool",
    "hose",
    "tube-squeeze",
    "intake-squeeze",
    "unit-squeeze",
    "house-leak",
    "unit-leak",
    "power",
    "gauge",
    "orifice",
    "normal",
)


@lru_cache
def place_of(fault: Fault) -> str:
    """The place a fault is looked for in: by where along the way it takes suction, and how."""
    kind, at = fault.effect.kind, getattr(fault.effect, "at", "")
    if fault.mode is Mode.NORMAL:
        return "normal"
    if fault.place is Where.MEASUREMENT:
        return "orifice" if kind == "orifice" else "gauge"
    if fault.place is Where.TOOL or kind == "none":
        return "tool"
    if fault.place is Where.HOSE or at == "hose":
        return "hose"
    if fault.mode is Mode.WEAK_POWER or fault.place is Where.SUPPLY:
        return "power"
    if kind == "hole":
        return "unit-leak" if at in ("bin", "motor", "utility") else "house-leak"
    if at == "intake":
        return "intake-squeeze"
    return "unit-squeeze" if fault.place is Where.UNIT else "tube-squeeze"
