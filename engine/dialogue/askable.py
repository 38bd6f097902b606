"""Which checks may be made at a point of a visit: what is possible here, open, and makes sense yet.

Which of them is best is left to `choosing`; what comes before any choice, to `session`.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping

from stillflow.engine.inference import possible
from stillflow.engine.ruleset import (
    Check,
    FactValue,
    Fault,
    Footing,
    Knowledge,
    checking,
    truth,
)


class Askable:
    """The checks of a rule set, as far as the tools at hand allow.

    Args:
        knowledge: a loaded rule set.
        missing_tools: tools that are not at hand, by id.
    """

    def __init__(self, knowledge: Knowledge, missing_tools: Iterable[str] = ()) -> None:
        missing = set(missing_tools)
        self._knowledge = knowledge
        self._here = {
            check.id: check
            for check in knowledge.checks.values()
            if not missing.intersection(check.tools)
        }

    def possible(self, check: Check, standing: Mapping[str, FactValue]) -> bool:
        """Whether it can be made in this house.

        Args:
            check: which.
            standing: the facts known before anything is measured.
        """
        return check.id in self._here and possible(check.possible_when, standing)

    def first(self, standing: Mapping[str, FactValue], closed: Container[str]) -> Check | None:
        """The check that comes before anything else on a call, if one is still open.

        Args:
            standing: the facts known before anything is measured.
            closed: ids of checks that were answered or given up.
        """
        firsts = (one for one in self._here.values() if one.first)
        return next(self._open(firsts, standing, closed), None)

    def to_confirm(
        self,
        fault: Fault,
        standing: Mapping[str, FactValue],
        closed: Container[str],
        footing: Footing,
    ) -> Check | None:
        """What must be known before a fault's fix is offered, the nearest of it first.

        Arguments as `first`; `footing` is how the visit has left the house.
        """
        wanted = (self._here[name] for name in fault.confirm_first if name in self._here)
        open_ = self._open(wanted, standing, closed)
        return min(
            open_, key=lambda one: checking(self._knowledge, footing, one).minutes, default=None
        )

    def choices(
        self, standing: Mapping[str, FactValue], facts: Mapping[str, FactValue]
    ) -> list[Check]:
        """The checks the planner may choose from, whether they are still open or not.

        Args:
            standing: the facts known before anything is measured.
            facts: all that is known, findings too.
        """
        return [
            check
            for check in self._here.values()
            if possible(check.possible_when, standing)
            and not (check.verifies and check.kind == "choice")
            and (check.asked_when is None or truth(check.asked_when, facts) is True)
        ]

    def _open(
        self, checks: Iterable[Check], standing: Mapping[str, FactValue], closed: Container[str]
    ) -> Iterator[Check]:
        return (
            one for one in checks if one.id not in closed and possible(one.possible_when, standing)
        )
