"""What cannot be about readings that contradict each other, in a sentence."""

from __future__ import annotations

from stillflow.engine.base import AirState, Station
from stillflow.engine.dialogue.progress import Progress, Taken
from stillflow.engine.inference import Baseline


def contradiction_words(progress: Progress, baseline: Baseline) -> str:
    """Why the readings last set aside cannot all be; empty where none were.

    Args:
        progress: the visit, with readings waiting to be taken again.
        baseline: what this system should read.
    """
    aside = list(progress.set_aside.values())
    stands = [one for one in aside if one.check.id in progress.answered]
    if stands and progress.again:
        wrong = progress.set_aside.get(progress.again[0])
        if wrong is not None:
            now = progress.answered[stands[0].check.id]
            kept = f"{_where(stands[0])} {float(now):.0f} stands"
            return f"{kept.capitalize()}, so {_read(wrong)} was written down wrongly."
    because = progress.knowledge.rules[progress.doubting].because if progress.doubting else ""
    if len(aside) == 1:
        one = aside[0]
        assert one.check.condition is not None and one.check.station is not None
        most = baseline.at(one.check.condition, one.check.station)
        if float(one.answer) < most:
            return f"{_read(one).capitalize()}. {because}"
        return (
            f"{_read(one).capitalize()} is more than this unit can make there ({most:.0f} "
            "expected): it was written down wrongly, or the label of the unit was (that is "
            "put right by: unit)."
        )
    by_state = {one.check.condition: one for one in aside}
    at = {one.check.station for one in aside}
    if len(at) == 1 and set(by_state) == set(AirState):
        sealed, working = by_state[AirState.SEALED], by_state[AirState.WORKING]
        below = float(sealed.answer) < float(working.answer)
        than = "below" if below else "hardly more than"
        return (
            f"At {Station(at.pop() or 'inlet').words}, sealed {float(sealed.answer):.0f} is {than} "
            f"working {float(working.answer):.0f}, which cannot be: one of them was written down "
            "wrongly."
        )
    return (
        f"{' and '.join(map(_read, aside)).capitalize()} cannot both be: {because}"
        if aside
        else because
    )


def _where(one: Taken) -> str:
    assert one.check.station is not None
    return f"{one.check.condition} at {one.check.station.words}"


def _read(one: Taken) -> str:
    return f"{_where(one)} {float(one.answer):.0f}"
