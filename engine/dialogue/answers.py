"""A possible answer as what could be recorded, and what would then be known."""

from __future__ import annotations

from stillflow.engine.inference import Baseline, Situation, Spot, spot_of, typical_reading
from stillflow.engine.ruleset import Check, Knowledge


def given(knowledge: Knowledge, baseline: Baseline, check: Check, answer: str) -> float | str:
    """What can be recorded as an answer: a choice's id, or a level's typical reading, inH2O."""
    if check.kind == "choice":
        return answer
    level = next(one for one in knowledge.levels if one.id == answer)
    return typical_reading(baseline, spot_of(check), level)


def learnt(
    situation: Situation, check: Check, said: float | str, spot: Spot | None = None
) -> Situation:
    """What is known once an answer from `given` is in, of a reading at a spot if not its own."""
    if check.kind == "choice":
        return situation.with_choice(check.id, str(said))
    return situation.with_reading(spot or spot_of(check), float(said))
