"""Greedy value of information on a pgmpy network of the rules' table.

One node for the fault, one for each check, with the table as it stands before anything is known:
a network of this shape cannot hold rules that join several answers, which need a node with all of
them as parents. The value of a check is the minutes of fixing only that it saves on average, less
its own. Variable elimination takes too long for thousands of calls, so pgmpy works out the belief
on some calls, where it is held to the plain product that such a network comes to, and the product
stands for it on the others.
"""

from __future__ import annotations

import numpy as np
from calls import one_step
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork
from rival_policies import fixing_only, groups
from table_calls import Act, Place, Point

from stillflow.engine.base.arrays import Floats
from stillflow.engine.planning.problem import Problem

FAULT = "fault"


class Network:
    """The network of one kind of unit and house, and its greedy policy.

    Args:
        place: the kind.
        eliminating: whether pgmpy works out every belief.
    """

    def __init__(self, place: Place, eliminating: bool = False) -> None:
        self._place = place
        start = place.kind.start
        self._checks = [one for one in place.check_ids if place.can_be_made(one)]
        outlooks = place.model.outlooks(start, self._checks)
        prior = place.model.prior(start.standing)
        self._prior = prior
        self._answers = {one.check_id: one.answers for one in outlooks}
        self._tables = {one.check_id: one.likelihood for one in outlooks}
        self._inference: VariableElimination | None = None
        if not eliminating:
            return
        names = list(place.knowledge.faults)
        network = DiscreteBayesianNetwork([(FAULT, one) for one in self._checks])
        network.add_cpds(
            TabularCPD(FAULT, len(names), prior[:, None].tolist(), state_names={FAULT: names})
        )
        for one in outlooks:
            network.add_cpds(
                TabularCPD(
                    one.check_id,
                    len(one.answers),
                    one.likelihood.tolist(),
                    [FAULT],
                    [len(names)],
                    state_names={one.check_id: list(one.answers), FAULT: names},
                )
            )
        network.check_model()
        self._inference = VariableElimination(network)

    def believed(self, point: Point) -> Floats:
        """P(fault | answers) by the network, what was tried taken out, shape (F,)."""
        evidence = {name: answer for name, answer in point.answers.items() if name in self._tables}
        weights = self._prior.copy()
        for name, answer in evidence.items():
            weights = weights * self._tables[name][self._answers[name].index(answer)]
        weights /= weights.sum()
        names = list(self._place.knowledge.faults)
        if self._inference is not None:
            found = self._inference.query([FAULT], evidence=evidence, show_progress=False)
            order = [found.state_names[FAULT].index(name) for name in names]
            eliminated = np.asarray(found.values, dtype=float)[order]
            assert np.allclose(eliminated, weights, atol=1e-9), "pgmpy believes otherwise"
            weights = eliminated
        for name in point.tried:
            weights[names.index(name)] = 0.0
        # What the live belief rules out is ruled out here too, so that both fix the same faults.
        weights[point.probabilities == 0.0] = 0.0
        return weights / weights.sum()

    def __call__(self, point: Point) -> Act:
        place = self._place
        weights = self.believed(point)
        posed = place.planner.pose(point, place.choices(point))
        if posed is None:
            return fixing_only(place, point, weights)
        problem, faults, checks = posed
        names = place.knowledge.fault_index
        columns = [names[fault.id] for fault in faults]
        own = weights[columns]
        if own.sum() <= 0.0:
            return fixing_only(place, point, weights)
        static = Problem(
            priors=own / own.sum(),
            fix_minutes=problem.fix_minutes,
            check_minutes=problem.check_minutes,
            answers=[self._tables[one.id][:, columns].T for one in checks],
            access=problem.access,
            access_minutes=problem.access_minutes,
            fix_access=problem.fix_access,
            wrong_fix_minutes=problem.wrong_fix_minutes,
        )
        move = one_step(static, static.priors, groups(place, point), {})
        if move.kind == "check":
            return Act("check", checks[move.index].id)
        return Act("fix", faults[move.index].id)
