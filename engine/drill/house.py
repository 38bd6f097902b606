"""The house of a drill: drawn from a seed, the same for everybody who is given that seed.

Answers hang on the seed, the check and how often it was asked, not on what was asked before; so
whoever plays the house has the same luck, the planner too.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Collection
from copy import copy
from dataclasses import dataclass, field
from typing import Literal, NamedTuple, get_args

import numpy as np

from stillflow.engine.base import HowCommon, InputError, Place, named
from stillflow.engine.drill.luck import Luck
from stillflow.engine.inference import Event, Visit
from stillflow.engine.ruleset import Check, Complaint, Knowledge
from stillflow.engine.simulate import SimulatedCall, draw_calls, fired_alone

Level = Literal[1, 2, 3]
LEVELS: tuple[Level, ...] = get_args(Level)

MOST_SEED = 10**9
CANDIDATES, ROUNDS = 32, 12
"""Houses drawn at a time for one that suits, and how often, before that is called an error."""

DANGEROUS = {1: 0.1, 2: 0.1, 3: 0.15}
"""Share of houses with something that must stop the visit, by level (assumed; a real call has one
far less often)."""


class Order(NamedTuple):
    """What house is wanted.

    Attributes:
        seed: the same seed gives the same house, on every machine, by the same rules.
        level: 1 one common fault that the technician mends, and every answer true; 2 any fault, and
            answers wrong as often as the rules say; 3 two faults.
        fault: id of a fault that is hidden in it; any by default.
        complaint: id of what the customer calls about; whatever it is by default.
    """

    seed: int
    level: Level = 1
    fault: str = ""
    complaint: str = ""


@dataclass
class DrillHouse:
    """A house with what is wrong in it, ready to be played.

    Attributes:
        order: what was wanted.
        visit: the record as the technician has it on arrival, the complaint answered.
        complaint: what the customer calls about, in words.
        danger: the answer to the question about danger signs that stops the visit; empty if none.
        call: the simulated house.
    """

    order: Order
    visit: Visit
    complaint: str
    danger: str
    call: SimulatedCall
    _asked: Counter[str] = field(default_factory=Counter)

    def fresh(self) -> DrillHouse:
        """The same house as it was before anybody did anything."""
        call = copy(self.call)
        call.remaining = set(call.faults)
        return DrillHouse(self.order, self.visit, self.complaint, self.danger, call)

    def answer(self, check: Check, inlet: str | None = None) -> float | str:
        """What is found, with the luck of this house; `inlet` as of `SimulatedCall.reading`."""
        self._asked[check.id] += 1
        if check.first:
            return self.danger or _harmless(self.call.knowledge, check)
        return self.call.answer(check, _luck(self.order, check.id, self._asked[check.id]), inlet)

    @property
    def digest(self) -> str:
        """Twelve letters that another house does not have: what is known, hidden and read.

        However much of it was mended since.
        """
        unmended = self.fresh().call
        readings = {
            check.id: round(unmended.reading(check), 1)
            for check in self.call.knowledge.checks.values()
            if check.kind == "reading"
        }
        sizes = [[round(size, 4) for size in one] for one in self.call.sizes]
        content = [
            self.visit.model_dump(mode="json", exclude={"rules"}, exclude_defaults=True),
            self.danger,
            list(self.call.faults),
            sizes,
            readings,
        ]
        text = json.dumps(content, sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()[:12]


def build_house(knowledge: Knowledge, order: Order) -> DrillHouse:
    """Draw the house of an order.

    Raises:
        InputError: there is no such fault or complaint, or no house that has both.
    """
    _check(knowledge, order)
    luck = Luck(order.seed, "house", order.level, order.fault, order.complaint)
    for _ in range(ROUNDS):
        for call in draw_calls(
            knowledge,
            luck,
            CANDIDATES if order.complaint else 1,
            faults=2 if order.level == 3 else 1,
            how_often="equally" if order.fault else "as-common",
            wrong_share=None if order.level > 1 else 0.0,
            among=_among(knowledge, order),
        ):
            told = _complaint(knowledge, order, call)
            if told is None:
                continue
            words, event = told
            visit = call.visit.model_copy(
                update={"complaint": f"{words}.", "events": (event,) if event else ()}
            )
            return DrillHouse(order, visit, words, _danger(knowledge, order), call)
    raise InputError(
        f"no house was found with '{order.fault or order.level}' and '{order.complaint}'",
        right="a fault that brings such a complaint about, or another level",
    )


def _check(knowledge: Knowledge, order: Order) -> None:
    if order.fault:
        named(knowledge.faults, order.fault, "fault", Place(key="--fault"))
    if order.complaint:
        named(knowledge.complaints, order.complaint, "complaint", Place(key="--complaint"))
    if not 0 <= order.seed <= MOST_SEED:
        right = f"a whole number from 0 to {MOST_SEED:,}"
        raise InputError(f"{order.seed} is not a seed", Place(key="--seed"), right)


def _among(knowledge: Knowledge, order: Order) -> Collection[str] | None:
    if order.fault:
        return {order.fault}
    if order.level > 1:
        return None
    return {
        fault.id
        for fault in knowledge.faults.values()
        if fault.weight >= HowCommon.COMMON.weight and not fault.fix.refer
    }


def _complaint(
    knowledge: Knowledge, order: Order, call: SimulatedCall
) -> tuple[str, Event | None] | None:
    """What the customer says, and the answer that goes with it; None if not what is wanted."""
    wanted = knowledge.complaints[order.complaint] if order.complaint else None
    answers: dict[str, float | str] = {}

    def fits(one: Complaint) -> bool:
        if one.check not in answers:
            check = knowledge.checks[one.check]
            answers[one.check] = call.answer(check, _luck(order, one.check, 1))
        return answers[one.check] == one.answer

    if wanted is not None and not fits(wanted):
        return None
    fitting = [one for one in knowledge.complaints.values() if fits(one)]
    if not (wanted or fitting):
        return "It does not pull as it used to", None
    found = wanted or fitting[Luck(order.seed, "complaint").integers(len(fitting))]
    return found.title, Event(check=found.check, answer=found.answer)


def _luck(order: Order, check_id: str, turn: int) -> Luck:
    return Luck(order.seed, "answer", check_id, turn)


def _danger(knowledge: Knowledge, order: Order) -> str:
    luck = Luck(order.seed, "danger", order.level)
    first = next((check for check in knowledge.checks.values() if check.first), None)
    if first is None or luck.random() >= DANGEROUS[order.level]:
        return ""
    stopping = _stopping(knowledge, first)
    dangers = [one for one in first.answers if one.id in stopping]
    shares = np.array([one.usual for one in dangers])
    drawn = luck.choice([one.id for one in dangers], p=shares / shares.sum()) if dangers else ""
    return str(drawn)


def _harmless(knowledge: Knowledge, first: Check) -> str:
    stopping = _stopping(knowledge, first)
    left = [one for one in first.answers if one.id not in stopping]
    return max(left, key=lambda one: one.usual).id


def _stopping(knowledge: Knowledge, check: Check) -> set[str]:
    """The answers to a check that end a visit by themselves."""
    _, stops = fired_alone(knowledge, check, {})
    return {answer for answer, stop in zip(check.answer_ids, stops, strict=True) if stop}
