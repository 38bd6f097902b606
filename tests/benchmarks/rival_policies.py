"""Ways of going about a call that people use, or could, on the rules' own tables.

Each is a class that takes a `Place` and is then asked for an act at every point. All but the
printed orders weigh every answer by the same belief as our planner, so what differs is the choice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np
from calls import one_step, p_over_c
from table_calls import Act, Place, Point

from stillflow.engine.base.arrays import Floats
from stillflow.engine.base.scales import Where
from stillflow.engine.base.vocabulary import answer_fact
from stillflow.engine.dialogue.choosing import Planner
from stillflow.engine.planning.choice import Think
from stillflow.engine.planning.problem import Problem, information
from stillflow.engine.ruleset import Footing

CHART = ("sealed-inlet", "working-inlet", "sealed-unit", "working-unit")
"""How printed flow charts begin: sealed, working, then the unit by itself."""


class Ours:
    """The planner, as a guided visit asks it."""

    def __init__(self, place: Place, think: Think) -> None:
        self._place = place
        self._planner = Planner(place.knowledge, place.model, place.kind.baseline, think)

    def __call__(self, point: Point) -> Act:
        decision = self._planner.decide(point, self._place.choices(point))
        if decision is None:
            return fixing_only(self._place, point, point.probabilities)
        if decision.check_id is not None:
            return Act("check", decision.check_id)
        return Act("fix", str(decision.fault_id))


class FixesOnly:
    """No checks but those that must come before a fix: the greatest p over minutes first."""

    def __init__(self, place: Place) -> None:
        self._place = place

    def __call__(self, point: Point) -> Act:
        return fixing_only(self._place, point, point.probabilities)


class OneStep:
    """The least minutes of one check and fixing only after it, if less than fixing now."""

    def __init__(self, place: Place) -> None:
        self._place = place

    def __call__(self, point: Point) -> Act:
        posed = self._place.planner.pose(point, self._place.choices(point))
        if posed is None:
            return fixing_only(self._place, point, point.probabilities)
        problem, faults, checks = posed
        move = one_step(problem, problem.priors, groups(self._place, point), {})
        if move.kind == "check":
            return Act("check", checks[move.index].id)
        return Act("fix", faults[move.index].id)


class Until:
    """Checks in some order until the likeliest fix is sure enough; then that fix.

    Faults with one fix count together. Where no check is left, fixes only.
    """

    def __init__(self, place: Place, sure: float) -> None:
        self._place = place
        self._sure = sure

    def __call__(self, point: Point) -> Act:
        chances = self._place.alike @ point.probabilities
        if chances.max() < self._sure:
            check_id = self._next(point)
            if check_id is not None:
                return Act("check", check_id)
            return fixing_only(self._place, point, point.probabilities)
        # Of faults with one fix, the likeliest stands for all.
        best = np.where(chances >= chances.max() - 1e-12, point.probabilities, -1.0)
        return Act("fix", list(self._place.knowledge.faults)[int(best.argmax())])

    def _next(self, point: Point) -> str | None:
        raise NotImplementedError


class Checklist(Until):
    """The cheapest check not made yet, with what it takes to open."""

    def _next(self, point: Point) -> str | None:
        place = self._place
        costs = {one: place.cost(point, Act("check", one)) for one in place.choices(point)}
        return min(costs, key=lambda one: (costs[one], one), default=None)


class FlowChart(Until):
    """Sealed, working, the unit by itself; then looks, cheapest first, where the loss is.

    Where it is: at the unit if the unit by itself is short, else in the house. Looks of the other
    side come after. A look belongs to the side where most of what its rules speak of sits.
    """

    def __init__(self, place: Place, sure: float) -> None:
        super().__init__(place, sure)
        self._at_unit = {one: _at_unit(place, one) for one in place.check_ids}
        self._good = {level.id for level in place.knowledge.levels if level.good}

    def _next(self, point: Point) -> str | None:
        place = self._place
        choices = place.choices(point)
        first = next((one for one in CHART if one in choices), None)
        if first is not None:
            return first
        unit_short = any(point.answers.get(one) not in self._good for one in CHART[2:])

        def rank(check_id: str) -> tuple[bool, float, str]:
            cost = place.cost(point, Act("check", check_id))
            return self._at_unit[check_id] is not unit_short, cost, check_id

        return min(choices, key=rank, default=None)


class Information(Until):
    """The check that takes off most doubt a minute."""

    def _next(self, point: Point) -> str | None:
        place = self._place
        choices = place.choices(point)
        outlooks = place.model.outlooks(point.situation, choices)
        best, chosen = 1e-9, None
        for check_id, outlook in zip(choices, outlooks, strict=True):
            joint = point.probabilities * outlook.likelihood
            after = information(joint.sum(axis=1)).sum() - information(joint).sum()
            gain = -float(information(point.probabilities).sum()) - float(after)
            rate = gain / max(place.cost(point, Act("check", check_id)), 1e-9)
            if rate > best:
                best, chosen = rate, check_id
        return chosen


def fixing_only(place: Place, point: Point, weights: Floats) -> Act:
    """The first fix by weight over minutes, of those not tried; by minutes where no weight is."""
    names = list(place.knowledge.faults)
    index = [
        column
        for column, name in enumerate(names)
        if name not in point.tried and point.probabilities[column] > 0.0
    ]
    left = weights[index] + 1e-12
    accesses = list(place.knowledge.accesses)
    faults = [place.knowledge.faults[names[column]] for column in index]
    fixes = [fault.fix for fault in faults]
    outlays = [place.outlay(point, Act("fix", fault.id)) for fault in faults]
    verifying = [
        place.planner.proving(point.situation, Footing(one.after.at))[0] for one in outlays
    ]
    problem = Problem(
        priors=left / left.sum(),
        fix_minutes=np.array([one.walk + one.doing for one in outlays]) + verifying,
        check_minutes=np.zeros(0),
        answers=[],
        access=[],
        access_minutes=np.array(
            [one.minutes + one.closing for one in place.knowledge.accesses.values()]
        ),
        fix_access=[None if fix.access is None else accesses.index(fix.access) for fix in fixes],
        wrong_fix_minutes=np.array([fix.if_wrong_minutes for fix in fixes]),
    )
    move = p_over_c(problem, problem.priors, groups(place, point), {})
    return Act("fix", names[index[move.index]])


def groups(place: Place, point: Point) -> frozenset[int]:
    """Numbers of the accesses that stand open."""
    names = list(place.knowledge.accesses)
    return frozenset(names.index(one) for one in point.footing.opened)


def _at_unit(place: Place, check_id: str) -> bool:
    knowledge = place.knowledge
    check = knowledge.checks[check_id]
    if check.station is not None:
        return check.station.value == "unit"
    votes: Counter[bool] = Counter()
    for rule_id in knowledge.rules_using([answer_fact(check_id)]):
        for item, fault_ids in knowledge.evidence[rule_id]:
            places: Iterable[Where] = (knowledge.faults[one].place for one in fault_ids)
            weight = float(np.log(item.strength.factor)) / max(len(fault_ids), 1)
            for where in places:
                votes[where in (Where.UNIT, Where.SUPPLY)] += weight
    return votes[True] > votes[False]


def sure_policies(place: Place, sure: Sequence[float]) -> dict[str, dict[float, Until]]:
    """The rivals that stop checking when sure enough, at each of some probabilities."""
    kinds = {
        "(a) checklist, cheapest first": Checklist,
        "(b) printed flow chart": FlowChart,
        "(d) information per minute": Information,
    }
    return {name: {one: kind(place, one) for one in sure} for name, kind in kinds.items()}
