"""Players of drills, from one who does as the planner would to one who does whatever comes up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from printed_card import CardStep, PrintedCard

from stillflow.engine.drill import Drill, DrillHouse, Luck, Possible
from stillflow.engine.inference import CANT_TELL
from stillflow.engine.ruleset import Knowledge

MOST_STEPS = 40
GUESS = 0.15
"""Of the steps a player makes up, those that are a fix and not a check."""


class Plays(Protocol):
    """Whoever can play a house to its end."""

    @property
    def name(self) -> str:
        """What the player is called."""

    def play(self, knowledge: Knowledge, house: DrillHouse) -> Drill:
        """Play it."""


@dataclass(frozen=True)
class Player:
    """One who plays.

    Attributes:
        name: invented.
        skill: share of steps that are the planner's.
        care: share of dangers that are minded.
    """

    name: str
    skill: float
    care: float

    def play(self, knowledge: Knowledge, house: DrillHouse) -> Drill:
        """Play a house to its end, with luck of its own that is the same every time."""
        drill = Drill(knowledge, house.fresh())
        luck = Luck(house.order.seed, "player", self.name, house.order.level)
        while drill.ending is None:
            skilled = luck.random() < self.skill
            step = drill.session.next_step() if skilled else None
            if len(drill.done) >= MOST_STEPS or (step and step.ending is not None):
                self._end(drill, step is not None and step.step == "stop")
                continue
            choice = self._planned(drill) if skilled else self._made_up(drill, luck)
            if choice is None:
                self._end(drill, stopped=False)
                continue
            due = {one.about for one in drill.cautions(choice)}
            drill.do(choice, {one for one in sorted(due) if luck.random() < self.care})
        return drill

    @staticmethod
    def _end(drill: Drill, stopped: bool) -> None:
        if stopped:
            drill.stop()
        else:
            drill.leave()

    @staticmethod
    def _planned(drill: Drill) -> Possible | None:
        step = drill.session.next_step()
        name = step.check.id if step.check else step.fix.fault if step.fix else ""
        fix = step.fix is not None
        found = (one for one in drill.choices if one.is_fix is fix and one.id == name)
        return next(found, None)

    @staticmethod
    def _made_up(drill: Drill, luck: Luck) -> Possible | None:
        """Any check or fix not tried yet; after a fix mostly whether it helped."""
        if drill.unproved and luck.random() < 0.7:
            proof = next(one for one in drill.choices if one.check and one.check.verifies)
            step = drill.do(proof)
            if step.said and not drill.house.call.remaining:
                return None
        tried = {(one.is_fix, one.id) for one in drill.done}
        fixing = luck.random() < GUESS
        open_ = [
            one
            for one in drill.choices
            if one.is_fix is fixing
            and (one.is_fix, one.id) not in tried
            and not drill.why_not_now(one)
        ]
        return open_[luck.integers(len(open_))] if open_ else None


@dataclass(frozen=True)
class CardPlayer:
    """One who goes by the printed card, minds every danger, and stops where there is one."""

    name: str = "printed card"

    def play(self, knowledge: Knowledge, house: DrillHouse) -> Drill:
        """Play a house to its end."""
        drill = Drill(knowledge, house.fresh())
        card = PrintedCard(knowledge, house.visit)
        by_id = {(one.is_fix, one.id): one for one in drill.choices}
        told = {str(event.check): event.answer for event in house.visit.events}
        while drill.ending is None:
            step: CardStep = card.next_step()
            if drill.session.is_stopped:
                drill.stop()
            elif step.check is not None:
                name = step.check.id
                # What was said on the phone is on the card already; what is not there cannot be.
                answer = told.pop(name, None)
                if answer is None and (False, name) in by_id:
                    drill.do(by_id[False, name])
                    answer = drill.session.events[-1].answer
                card.record(name, CANT_TELL if answer is None else answer)
            elif step.fix is not None:
                choice = by_id.get((True, step.fix.fault))
                if choice is not None:
                    drill.do(choice)
                card.record_fix(step.fix.fault, done=not step.fix.refer)
            else:
                drill.leave()
        return drill


PLANNER = Player("planner", 1.0, 1.0)
CARD = CardPlayer()
RANDOM = Player("random", 0.0, 0.5)
CLASS = (
    Player("Ada Ashdown", 0.95, 1.0),
    Player("Ben Birchall", 0.92, 0.98),
    Player("Cora Copse", 0.75, 0.9),
)
"""Three invented trainees."""
