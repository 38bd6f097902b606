"""What proves a fix: which checks must come out good after it, and what they came to."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from stillflow.engine.base import AirState, Floats, Mode, Station
from stillflow.engine.inference import LikelihoodModel, Situation, Spot, reads_well, spot_of
from stillflow.engine.ruleset import Check, FactValue, Knowledge, truth

STILL = 0.06
"""A reading within this share of the one before a fix has not moved: somewhat over the gauge's."""

BEYOND_ORDER = 2.5
"""Standard deviations below what is expected where a house in order does not read any more: one in
160 does."""


def is_still(before: float, after: float) -> bool:
    """Whether a reading after a fix is that before it, both in inH2O."""
    return abs(after - before) <= max(STILL * before, 2.0)


@dataclass(frozen=True)
class Repair:
    """One fix as it went.

    Attributes:
        number: position in the visit's events, from 1.
        fault_id: the fault.
        done: False if it was left undone, handed to somebody else, or not needed.
        found: False if the fault turned out not to be there.
        probability: of the fault when the fix was recorded.
        probabilities: of every fault then, shape (F,).
        situation: what was known then.
        inlet: name of the inlet it was done at, empty where none was given.
        two: the readings then were explained by two losses and by no single one.
    """

    number: int
    fault_id: str
    done: bool
    found: bool
    probability: float
    probabilities: Floats
    situation: Situation
    inlet: str = ""
    two: bool = False


class Verification:
    """The verifying checks of a rule set, judged against what one system should read."""

    def __init__(self, knowledge: Knowledge, model: LikelihoodModel) -> None:
        self._checks = [check for check in knowledge.checks.values() if check.verifies]
        self._readings = [one for one in knowledge.checks.values() if one.kind == "reading"]
        self._levels = knowledge.levels
        self._baseline = model.baseline
        self._model = model
        self._faults = knowledge.faults
        self._ends_well = [one.when for one in knowledge.turns if one.next == "done"]

    def checks(self, repair: Repair, possible: Callable[[Check], bool]) -> list[Check]:
        """The checks to make after a fix, in order.

        What was short before it is read again where it verifies, else at the one place where that
        is easiest, so that there is a before and an after of the same; the hose end is read in any
        case, since one reading there covers the whole path; and the customer's tool has the last
        word. Where nothing was short and the hose end was not read, the easiest of what was read
        is, so that the page has a pair. A leak is proved by sealed suction, since the hose end
        shows the working one. Where there were two losses, whatever was short there and this fix
        would mend is read again: it brings back a part.
        """
        leak = self._faults[repair.fault_id].mode is Mode.LEAK
        first = AirState.SEALED if leak else AirState.WORKING
        wanted = self.wanted(repair.situation.readings, possible, first)
        if not repair.two or not wanted:
            return wanted
        before, alone = repair.situation.readings, self._model.gauge.leaves_alone
        short = [
            check
            for check in self._readings
            if check.station is wanted[0].station
            and check not in wanted
            and possible(check)
            and (spot := spot_of(check)) in before
            and not self._is_good(check, before[spot])
            and not alone(repair.fault_id, spot)
        ]
        return [wanted[0], *short, *wanted[1:]]

    def wanted(
        self,
        before: Mapping[Spot, float],
        possible: Callable[[Check], bool],
        first: AirState = AirState.WORKING,
    ) -> list[Check]:
        """Those checks after a fix that was made on these readings, in inH2O.

        Of readings that are as easy, one of `first` is repeated.
        """
        fit = [check for check in self._checks if possible(check)]
        hose = [check for check in fit if check.station is Station.HOSE]
        choices = [check for check in fit if check.kind == "choice"]
        read = [one for one in self._readings if spot_of(one) in before and possible(one)]
        low = [check for check in read if not self._is_good(check, before[spot_of(check)])]
        again = [check for check in low if check.verifies]
        if not again and (low or not any(check in hose for check in read)):
            again = sorted(low or read, key=lambda check: _effort(check, first))[:1]
        return [*again, *(check for check in hose if check not in again), *choices]

    def outcome(
        self, repair: Repair, checks: Sequence[Check], answered: Mapping[str, float | str]
    ) -> dict[str, FactValue]:
        """What a fix came to, as facts of a moment; the course says what is enough.

        Args:
            repair: the last fix.
            checks: what was to be checked after it.
            answered: answers believed now, by check.
        """
        given = [(check, answered[check.id]) for check in checks if check.id in answered]
        if not given:
            return {"fix.proved": "unknown", "fix.rise": 0.0}
        good = all(self._is_good(*one) for one in given)
        facts: dict[str, FactValue] = {"fix.proved": "good" if good else "short"}
        tried = [self._is_good(check, answer) for check, answer in given if check.kind == "choice"]
        if tried and all(tried):
            facts["fix.content"] = True
        read = {check: float(answer) for check, answer in given if check.kind == "reading"}
        if read:
            facts["fix.share"] = min(self._share(*one) for one in read.items())
        before = {check: repair.situation.readings.get(spot_of(check)) for check in read}
        rises = [value / old - 1.0 for check, value in read.items() if (old := before[check])]
        facts["fix.rise"] = max(rises, default=0.0)
        facts["fix.two"] = repair.two
        again = [spot_of(check) for check, old in before.items() if old]
        facts["fix.seen"] = any(self._shows(repair.fault_id, spot) for spot in again)
        return facts

    def is_short(
        self,
        repair: Repair,
        checks: Sequence[Check],
        answered: Mapping[str, float | str],
        unmoved: int = 0,
    ) -> bool:
        """Whether what was read again says enough: whatever is still to come, it was not all.

        That is so where no entry of the course would end the visit well if all that is still to
        come were good; or where nothing moved and what is read again, with the fault gone from it,
        is beyond what a house in order can read.

        Args:
            repair: the last fix.
            checks: what was to be checked after it.
            answered: answers believed now, by check.
            unmoved: fixes in a row that changed nothing.
        """
        before = repair.situation.readings
        again: dict[Spot, float] = {
            spot_of(one): float(answered[one.id])
            for one in checks
            if one.station and one.id in answered and spot_of(one) in before
        }
        if not again:
            return False
        if not unmoved and self._is_in_vain(repair, again):
            return True
        best = {one.id: self._best(one) for one in checks}
        hoped = self.outcome(repair, checks, {**best, **answered})
        hoped |= {"fix.came-to": "done", "fix.unmoved": float(unmoved)}
        hoped["baseline.from"] = self._baseline.origin
        return not any(truth(when, hoped) is True for when in self._ends_well)

    def _is_in_vain(self, repair: Repair, again: Mapping[Spot, float]) -> bool:
        """Whether nothing moved, and where the fault would show there is what no order explains."""
        before, gauge = repair.situation.readings, self._model.gauge
        return all(is_still(before[spot], now) for spot, now in again.items()) and any(
            gauge.beyond_order(spot, now) < -BEYOND_ORDER and self._shows(repair.fault_id, spot)
            for spot, now in again.items()
        )

    def _shows(self, fault_id: str, spot: Spot) -> bool:
        """Whether a fault that the air path knows of shows in what is read at a spot."""
        known = bool(self._faults[fault_id].effect.ranges())
        return known and not self._model.gauge.leaves_alone(fault_id, spot)

    def _best(self, check: Check) -> float | str:
        """The best answer that a check can have."""
        if check.kind == "reading":
            return self._baseline.at(*spot_of(check))
        return next(one.id for one in check.answers if one.good)

    def _is_good(self, check: Check, answer: float | str) -> bool:
        if check.kind == "choice":
            return any(option.good for option in check.answers if option.id == answer)
        return reads_well(spot_of(check), float(answer), self._baseline, self._levels)

    def _share(self, check: Check, answer: float | str) -> float:
        return float(answer) / self._baseline.at(*spot_of(check))


def _effort(check: Check, first: AirState) -> tuple[bool, bool, float]:
    """Sorts readings: what opens nothing first, then those of a state, then by minutes."""
    return bool(check.access), check.condition is not first, check.minutes
