"""The short way on where a tree ends: looks that show a fault, in an order, and no thinking.

What stands on paper beyond the edge of a tree. Which looks those are follows from the rules: those
of which an answer alone all but proves a fault. Leaves words to the views.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from stillflow.engine.base import Floats, Mode, Where
from stillflow.engine.dialogue.askable import Askable
from stillflow.engine.dialogue.session import Session
from stillflow.engine.ruleset import Check, Footing, Knowledge, Outlay, checking, stand_of

MOST_LOOKS = 6
"""Looks named at an edge; after them comes all that is left, from the top."""

RARE = 0.005
"""Share of calls under which a fault is left to the guided visit."""

_WORTH_NAMING = 0.01
"""Share of what may be there that a look must be likely to show, to be named at an edge."""

_A_MINUTE = 0.97
"""What a minute takes off a look's worth where two show the same fault."""

_HEARSAY = 0.01
"""What is left of its worth where a thing is only told, not looked at."""

_ALONG = (
    Where.TOOL,
    Where.HOSE,
    Where.INLETS,
    Where.TUBING,
    Where.UNIT,
    Where.SUPPLY,
    Where.SYSTEM,
    Where.MEASUREMENT,
)
_MODES = tuple(Mode)


@dataclass(frozen=True)
class ShortWay:
    """Looks for every fault that one shows.

    Attributes:
        knowledge: the rules.
        looks: in the order of the faults' places as the rules have them.
        surely: how surely each look shows each fault that is there, shape (looks, F).
    """

    knowledge: Knowledge
    looks: tuple[Check, ...]
    surely: Floats
    _known: dict[tuple[Footing, int], Outlay] = field(default_factory=dict, repr=False)

    @cached_property
    def number(self) -> dict[str, int]:
        """The number of each look, from 1, by the check's id."""
        return {check.id: place for place, check in enumerate(self.looks, 1)}

    def order(
        self, belief: Floats, footing: Footing, closed: Container[str]
    ) -> tuple[tuple[str, ...], float]:
        """The looks worth naming first, most chance for the minutes first.

        Args:
            belief: of every fault, shape (F,).
            footing: how the house was left.
            closed: ids of what has been answered or given up.

        Returns:
            Ids of looks, and how likely they are to show what is there.
        """
        left = belief.copy()
        total = left.sum()
        open_ = [row for row, one in enumerate(self.looks) if one.id not in closed]
        named: list[str] = []
        while len(named) < MOST_LOOKS:
            chance = self.surely @ left
            worth = [row for row in open_ if chance[row] >= _WORTH_NAMING * total]
            if not worth:
                break
            outlays = {row: self._outlay(footing, row) for row in worth}
            best = max(worth, key=lambda row: (chance[row] / outlays[row].minutes, -row))
            open_.remove(best)
            named.append(self.looks[best].id)
            footing = outlays[best].after
            left *= 1.0 - self.surely[best]
        return tuple(named), float(1.0 - left.sum() / total)

    def _outlay(self, footing: Footing, row: int) -> Outlay:
        key = footing, row
        if key not in self._known:
            self._known[key] = checking(self.knowledge, footing, self.looks[row])
        return self._known[key]


def short_way(session: Session, rare: float = RARE) -> ShortWay:
    """The looks of the rule set of a visit, for a house and a tool bag such as the visit's.

    Args:
        session: the starting facts.
        rare: faults less likely than this on arrival are not looked for, 0 to 1.
    """
    knowledge = session.knowledge
    model = session.progress.model
    situation = session.progress.situation
    askable = Askable(knowledge, session.visit.missing_tools)
    looks = [
        one
        for one in knowledge.checks.values()
        if one.kind == "choice" and not (one.first or one.verifies)
        if askable.possible(one, situation.standing)
        if any((one.id, answer) in knowledge.shown for answer in one.answer_ids)
    ]
    surely = np.zeros((len(looks), len(knowledge.faults)))
    for row, look in enumerate(looks):
        [outlook] = model.outlooks(situation, [look.id])
        for answer, chances in zip(outlook.answers, outlook.likelihood, strict=True):
            for fault_id in knowledge.shown.get((look.id, str(answer)), ()):
                column = knowledge.fault_index[fault_id]
                surely[row, column] += chances[column]
    seen = [bool(stand_of(knowledge, look) or look.tools) for look in looks]
    worth = _A_MINUTE ** np.array([look.minutes for look in looks])
    worth *= np.where(seen, 1.0, _HEARSAY)
    best: dict[int, tuple[int, ...]] = {}
    for fault_id, column in knowledge.fault_index.items():
        fault = knowledge.faults[fault_id]
        likely = session.progress.probabilities[column] >= rare
        if fault.mode is Mode.NORMAL or not likely:
            surely[:, column] = 0.0
        elif surely[:, column].any():
            row = int(np.argmax(surely[:, column] * worth))
            place = (_ALONG.index(fault.place), _MODES.index(fault.mode), column)
            best[row] = min(best.get(row, place), place)
    kept = sorted(best, key=best.__getitem__)
    return ShortWay(knowledge, tuple(looks[row] for row in kept), surely[kept])
