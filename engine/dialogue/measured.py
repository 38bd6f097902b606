"""What was measured in a visit, fix by fix, beside what was read at the same place before."""

from __future__ import annotations

from stillflow.engine.base import Model
from stillflow.engine.dialogue.progress import Asked, Progress
from stillflow.engine.inference import NO_ANSWER, Baseline, Spot, spot_of
from stillflow.engine.ruleset import NONE_HERE, Check, Knowledge


class Measured(Model):
    """One reading beside what was expected, inH2O.

    Attributes:
        label: state and station.
        found: as it is believed, the gauge's zero taken off.
        expected: what this system should read there.
        before: the first reading there before the fix that this one follows; None if there is none.
    """

    label: str
    found: float
    expected: float
    before: float | None = None


def measured_by_round(
    knowledge: Knowledge, baseline: Baseline, progress: Progress
) -> list[tuple[Measured, ...]]:
    """What was believed of each reading before any fix, and after each fix that was done.

    A reading that was set aside, then or later, is not among them.
    """
    first: dict[Spot, float] = {}
    found = []
    ends = [repair.situation for repair in progress.repairs if repair.done]
    for number, situation in enumerate([*ends, progress.situation]):
        taken = {
            (spot_of(check)[0], progress.inlets.at(spot_of(check)[1], asked.inlet))
            for check, asked in answered_in(knowledge, progress, number)
            if check.kind == "reading"
        }
        last = {spot: value for spot, value in situation.readings.items() if spot in taken}
        found.append(
            tuple(
                Measured(
                    label=f"{state} at {progress.inlets.words(station)}",
                    found=value,
                    expected=baseline.at(state, station),
                    before=first.get((state, station)),
                )
                for (state, station), value in last.items()
            )
        )
        first = last | first
    return found


def outcome_words(knowledge: Knowledge, baseline: Baseline, progress: Progress) -> str:
    """What the last fix came to: what was read after it, where, and before; what was answered."""
    said = []
    for one in measured_by_round(knowledge, baseline, progress)[-1]:
        before = "not read before" if one.before is None else f"{one.before:.0f} before"
        said.append(f"{one.label} {one.found:.0f} inH2O ({before}, {one.expected:.0f} expected)")
    readings = f"Read after it: {'; '.join(said)}." if said else "No suction was read after it."
    answers = [
        f"{check.ask} {check.labels(str(asked.answer))}."
        for check, asked in answered_in(knowledge, progress, progress.round)
        if check.kind == "choice" and check.verifies
    ]
    return " ".join([readings, *answers])


def answered_in(knowledge: Knowledge, progress: Progress, number: int) -> list[tuple[Check, Asked]]:
    """What was answered and believed in one round, in order."""
    return [
        (knowledge.checks[asked.check_id], asked)
        for asked in progress.asked
        if asked.round == number
        and (asked.answer == NONE_HERE or asked.answer not in NO_ANSWER)
        and not asked.doubted_by
    ]
