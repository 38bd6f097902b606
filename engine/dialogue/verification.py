"""Whether a fix has worked: which checks must come out good after it, and whether they did."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from stillflow.engine.base import AirState, Station
from stillflow.engine.dialogue.progress import Repair
from stillflow.engine.inference import Baseline, Spot, judge, spot_of
from stillflow.engine.ruleset import Check, Knowledge

GAUGE_SHARE = 0.04
"""Twice a gauge's tolerance of 2 %: of the reading now, and of what the baseline was read from."""


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
        return self._wanted(repair.situation.readings, possible)

    def minutes(self, before: Mapping[Spot, float]) -> float:
        """Minutes of those checks after a fix that was made on these readings, in inH2O."""
        return sum(check.minutes for check in self._wanted(before, lambda check: True))

    def _wanted(
        self, before: Mapping[Spot, float], possible: Callable[[Check], bool]
    ) -> list[Check]:
        fit = [check for check in self._checks if possible(check)]
        hose = [check for check in fit if check.station is Station.HOSE]
        choices = [check for check in fit if check.kind == "choice"]
        read = [one for one in self._readings if spot_of(one) in before and possible(one)]
        low = [check for check in read if not self._is_good(check, before[spot_of(check)])]
        again = [check for check in low if check.verifies]
        if not again and (low or not any(check in hose for check in read)):
            again = sorted(low or read, key=_effort)[:1]
        return [*again, *(check for check in hose if check not in again), *choices]

    def verdict(self, checks: Sequence[Check], answered: Mapping[str, float | str]) -> bool | None:
        """True if every check that was answered came out good, None if none was answered.

        Where the customer's own tool pulls as it should, a reading may be as short as the
        baseline itself is uncertain; a class of unit cannot promise more than its tolerance.
        """
        given = [(check, answered[check.id]) for check in checks if check.id in answered]
        tried = [self._is_good(check, answer) for check, answer in given if check.kind == "choice"]
        pulls = bool(tried) and all(tried)
        if not given:
            return None
        return all(self._is_good(*one) or (pulls and self._may_be(*one)) for one in given)

    def _may_be(self, check: Check, answer: float | str) -> bool:
        """Whether a reading is no shorter than the baseline and the gauge leave open."""
        if check.kind == "choice":
            return False
        return self._share(check, answer) >= 1.0 - self._baseline.tolerance - GAUGE_SHARE

    def _is_good(self, check: Check, answer: float | str) -> bool:
        if check.kind == "choice":
            return any(option.good for option in check.answers if option.id == answer)
        return judge(self._share(check, answer), self._levels, self._baseline.wide) in self._good

    def _share(self, check: Check, answer: float | str) -> float:
        return float(answer) / self._baseline.at(*spot_of(check))


def _effort(check: Check) -> tuple[bool, bool, float]:
    """Sorts readings: what opens nothing first, then working, which a clog shows in too."""
    return bool(check.access), check.condition is not AirState.WORKING, check.minutes
