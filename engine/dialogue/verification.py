"""Whether a fix has worked: which checks must come out good after it, and whether they did."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from stillflow.engine.base import AirState, Station
from stillflow.engine.inference import Baseline, Spot, judge, spot_of
from stillflow.engine.ruleset import Check, Knowledge

if TYPE_CHECKING:
    from stillflow.engine.dialogue.progress import Repair

FAR_SHORT, FAR_SHORT_CLASS = 0.7, 0.55
"""Shares of expected below which something is still wrong, however content the customer is; the
second where only the class of the unit is known (assumed)."""

CAME_UP = 0.1
"""By how much of itself a reading must rise to count as mended, well above the gauge's 2 %."""

ENOUGH = 0.75
"""Share of expected that is enough once the customer's own tool pulls as it should (assumed)."""


class Verification:
    """The verifying checks of a rule set, judged against one baseline."""

    def __init__(self, knowledge: Knowledge, baseline: Baseline) -> None:
        self._checks = [check for check in knowledge.checks.values() if check.verifies]
        self._readings = [one for one in knowledge.checks.values() if one.kind == "reading"]
        self._levels = knowledge.levels
        self._good = {level.id for level in knowledge.levels if level.good}
        self._baseline = baseline

    def checks(self, repair: Repair, possible: Callable[[Check], bool]) -> list[Check]:
        """The checks to make after a fix, in order.

        What was short before it is read again where it verifies, else at the one place where that
        is easiest, so that there is a before and an after of the same; the hose end is read in any
        case, since one reading there covers the whole path; and the customer's tool has the last
        word. Where nothing was short and the hose end was not read, the easiest of what was read
        is, so that the page has a pair.
        """
        return self.wanted(repair.situation.readings, possible)

    def wanted(
        self, before: Mapping[Spot, float], possible: Callable[[Check], bool]
    ) -> list[Check]:
        """Those checks after a fix that was made on these readings, in inH2O."""
        fit = [check for check in self._checks if possible(check)]
        hose = [check for check in fit if check.station is Station.HOSE]
        choices = [check for check in fit if check.kind == "choice"]
        read = [one for one in self._readings if spot_of(one) in before and possible(one)]
        low = [check for check in read if not self._is_good(check, before[spot_of(check)])]
        again = [check for check in low if check.verifies]
        if not again and (low or not any(check in hose for check in read)):
            again = sorted(low or read, key=_effort)[:1]
        return [*again, *(check for check in hose if check not in again), *choices]

    def verdict(
        self,
        repair: Repair,
        checks: Sequence[Check],
        answered: Mapping[str, float | str],
        unmoved: int = 0,
    ) -> bool | None:
        """True if every check that was answered came out good, None if none was answered.

        Where the customer's own tool pulls as it should, and a reading has come up since the fix
        or is most of what is expected, or further fixes change nothing, the call is done: what is
        short of a label by then is the label's affair.

        Args:
            repair: the last fix.
            checks: what was to be checked after it.
            answered: answers believed now, by check.
            unmoved: fixes in a row that changed nothing.
        """
        given = [(check, answered[check.id]) for check in checks if check.id in answered]
        tried = [self._is_good(check, answer) for check, answer in given if check.kind == "choice"]
        pulls = bool(tried) and all(tried)
        if not given:
            return None
        came_up = any(self._came_up(repair, *one) for one in given)
        if pulls and (unmoved or (came_up and not any(self._far_short(*one) for one in given))):
            return True
        return all(self._is_good(*one) or (pulls and self._may_be(*one)) for one in given)

    def is_short(
        self,
        repair: Repair,
        checks: Sequence[Check],
        answered: Mapping[str, float | str],
        unmoved: int = 0,
    ) -> bool:
        """Whether what was read again says enough: whatever is still to come, it was not all.

        Arguments as `verdict`.
        """
        before = repair.situation.readings
        if not any(one.id in answered and spot_of(one) in before for one in checks if one.station):
            return False
        best = {one.id: self._best(one) for one in checks}
        return not self.verdict(repair, checks, {**best, **answered}, unmoved)

    def _best(self, check: Check) -> float | str:
        """The best answer that a check can have."""
        if check.kind == "reading":
            return self._baseline.at(*spot_of(check))
        return next(one.id for one in check.answers if one.good)

    def _may_be(self, check: Check, answer: float | str) -> bool:
        """Whether a reading is short by no more than a customer who is content leaves open."""
        return check.kind == "reading" and self._share(check, answer) >= ENOUGH

    def _far_short(self, check: Check, answer: float | str) -> bool:
        least = FAR_SHORT_CLASS if self._baseline.wide else FAR_SHORT
        return check.kind == "reading" and self._share(check, answer) < least

    def _came_up(self, repair: Repair, check: Check, answer: float | str) -> bool:
        """Whether a reading is clearly more than before the fix."""
        if check.kind == "choice":
            return False
        before = repair.situation.readings.get(spot_of(check))
        return before is not None and float(answer) > before * (1.0 + CAME_UP)

    def _is_good(self, check: Check, answer: float | str) -> bool:
        if check.kind == "choice":
            return any(option.good for option in check.answers if option.id == answer)
        return judge(self._share(check, answer), self._levels, self._baseline.wide) in self._good

    def _share(self, check: Check, answer: float | str) -> float:
        return float(answer) / self._baseline.at(*spot_of(check))


def _effort(check: Check) -> tuple[bool, bool, float]:
    """Sorts readings: what opens nothing first, then working, which a clog shows in too."""
    return bool(check.access), check.condition is not AirState.WORKING, check.minutes
