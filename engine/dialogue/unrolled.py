"""The live policy unrolled: from any starting facts, what a visit does next after every answer.

Gives `policytree` the states and acts of a visit, so the tree says what the guided visit would say.
Words and drawing are left to `treeview`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import compress
from typing import Literal, NamedTuple

from stillflow.engine.airflow import FACT_NAMES
from stillflow.engine.base import Floats, InputError, in_percent
from stillflow.engine.dialogue.askable import Askable
from stillflow.engine.dialogue.choosing import Planner
from stillflow.engine.dialogue.session import SENIOR, Session
from stillflow.engine.inference import Situation, rule_table, spot_of, typical_reading
from stillflow.engine.planning import Outcome, PolicyStep, PolicyTree, Think, unroll
from stillflow.engine.ruleset import (
    Check,
    Derivation,
    Doubt,
    FactValue,
    Fault,
    Knowledge,
    Stop,
    leaves,
)

LIVE = "the guided visit"
"""Who takes over where the tree was cut."""

THERE, NOT_THERE = "it is there", "it is not there"
"""What can come of going to a fault: it is put right, or the visit goes on without it."""


class Act(NamedTuple):
    """What is done at a node: a check or a fix by id; or an end.

    Ends are `fixed`; `stop` and `doubt` with the id of the rule behind them; `refer` with the id of
    the fault that others deal with, empty where none is left.
    """

    kind: Literal["check", "fix", "fixed", "stop", "doubt", "refer"]
    id: str = ""


@dataclass(frozen=True, eq=False)
class Point:
    """A point a visit might come to, all that its next step hangs on.

    Attributes:
        situation: what is known.
        probabilities: of every fault, shape (F,).
        opened: accesses that stand open.
        answered: checks answered; `silent`: checks given up.
        deferred: faults whose fix was left undone.
        minutes: spent since the tree began.
        steps: acts since the tree began.
        settled: the step to take where that is known without thinking.
    """

    situation: Situation
    probabilities: Floats
    opened: frozenset[str]
    answered: frozenset[str]
    silent: frozenset[str]
    deferred: frozenset[str]
    minutes: float = 0.0
    steps: int = 0
    settled: PolicyStep[Point] | None = None

    @property
    def closed(self) -> frozenset[str]:
        """Checks that are not asked any more."""
        return self.answered | self.silent


def visit_tree(
    session: Session,
    *,
    reach: float = 0.01,
    depth: int | None = None,
    until: float = 1.0,
    think: Think = "normal",
    wrong_part_minutes: float = 0.0,
) -> PolicyTree:
    """Unroll what a visit would do from here.

    The question about danger is taken as asked, with nothing found. Each act of the tree is an
    `Act`; labels are answers, levels of a reading, or `THERE` and `NOT_THERE`. Figures: `minutes`
    of the act with what must be opened for it, `elapsed` minutes since the tree began at its end
    (a fix with its measuring afterwards), and for fixes `probability`, that the fault is there.

    Args:
        session: the starting facts.
        reach: states that fewer calls than this come to are left to the guided visit, 0 to 1.
        depth: acts after which the tree ends, None for any number.
        until: a fix at least this likely to be right ends its branch, 0 to 1.
        think: how far the planner looks ahead.
        wrong_part_minutes: the price, in minutes, of having fitted a part that was not needed.

    Raises:
        InputError: a number out of range, or starting facts that contradict each other.
    """
    if depth is not None and depth < 1:
        raise InputError(f"a depth of {depth}", right="at least 1 step is needed")
    if not 0.0 < until <= 1.0:
        raise InputError(f"until is {until:g}", right="use a probability above 0, up to 1")
    if session.progress.again:
        because = session.knowledge.rules[session.progress.doubting].because
        names = ", ".join(session.progress.again)
        raise InputError(f"the answers given contradict each other: {because}", right=names)
    planner = Planner(session.knowledge, session.progress.model, think, wrong_part_minutes)
    policy = _Policy(session, planner, depth, until)
    return unroll(policy.start(), policy, reach, cut_to=LIVE)


class _Policy:
    """What a visit does at a point: the same in the same order as `Session.next_step`."""

    def __init__(self, session: Session, planner: Planner, depth: int | None, until: float) -> None:
        self._knowledge = session.knowledge
        self._baseline = session.baseline
        self._progress = session.progress
        self._model = session.progress.model
        self._planner = planner
        self._askable = Askable(session.knowledge, session.visit.missing_tools)
        self._depth = depth
        self._until = until
        self._table = rule_table(session.knowledge)
        self._watched, watched_facts = _watched(session.knowledge)
        self._columns = [self._table.rule_ids.index(rule_id) for rule_id in self._watched]
        # Sizes cost more than all other facts: they are left out where nothing here rests on them.
        with_sizes = watched_facts & FACT_NAMES.keys()
        self._facts = self._model.all_facts if with_sizes else self._model.facts
        self._findings = {
            name: column
            for name, column in self._table.columns.items()
            if name.startswith("finding.")
        }

    def start(self) -> Point:
        """Where the visit stands, the question about danger behind it."""
        progress = self._progress
        point = Point(
            situation=progress.situation,
            probabilities=progress.probabilities,
            opened=frozenset(progress.opened),
            answered=frozenset(progress.answered),
            silent=frozenset(progress.silent),
            deferred=frozenset(progress.deferred),
        )
        while self._ending(self._concluded(point)[1]) is None:
            first = self._askable.first(point.situation.standing, point.closed)
            if first is None:
                break
            point = self._past(point, first)
        return replace(point, minutes=0.0, steps=0)

    def __call__(self, point: Point) -> PolicyStep[Point]:
        """What is done at a point and what can come of it."""
        if point.settled is not None:
            return point.settled
        facts, fired = self._concluded(point)
        ending = self._ending(fired)
        if ending is not None:
            return ending
        if self._depth is not None and point.steps >= self._depth:
            return PolicyStep(None, handed_to=LIVE, reason=f"after {self._depth} steps")
        standing = point.situation.standing
        closed = point.closed
        choices = [one.id for one in self._askable.choices(standing, facts) if one.id not in closed]
        decision = self._planner.decide(point, choices)
        if decision is None:
            return PolicyStep(Act("refer"), handed_to=SENIOR, reason="every fault is ruled out")
        if decision.check_id is not None:
            return self._ask(point, self._knowledge.checks[decision.check_id])
        assert decision.fault_id is not None
        fault = self._knowledge.faults[decision.fault_id]
        first = self._askable.to_confirm(fault, standing, closed)
        return self._fix(point, fault) if first is None else self._ask(point, first)

    def _past(self, point: Point, check: Check) -> Point:
        """The point after the one answer to a first question with which the visit goes on."""
        for outcome in self._ask(point, check).outcomes:
            if self._ending(self._concluded(outcome.state)[1]) is None:
                return outcome.state
        raise InputError(f"every answer to '{check.id}' ends the visit", right="there is no tree")

    def _concluded(self, point: Point) -> tuple[Mapping[str, FactValue], tuple[str, ...]]:
        """The facts at a point with the findings, and which of the rules that can end it fire."""
        facts = self._facts(point.situation)
        rows = self._table.rows([facts])
        fires = self._table.fire(rows, self._watched)[0, self._columns]
        found = {name: True for name, column in self._findings.items() if rows[0, column] == 1.0}
        return {**facts, **found}, tuple(compress(self._watched, fires))

    def _ending(self, fired: tuple[str, ...]) -> PolicyStep[Point] | None:
        for rule_id in fired:
            for item in self._knowledge.rules[rule_id].then:
                if isinstance(item, Stop):
                    return PolicyStep(Act("stop", rule_id), handed_to=item.call, reason=item.stop)
                if isinstance(item, Doubt):
                    because = self._knowledge.rules[rule_id].because
                    return PolicyStep(Act("doubt", rule_id), handed_to=LIVE, reason=because)
        return None

    def _ask(self, point: Point, check: Check) -> PolicyStep[Point]:
        [outlook] = self._model.outlooks(point.situation, [check.id])
        joint = outlook.likelihood * point.probabilities
        chances = joint.sum(axis=1)
        cost = check.minutes + self._opening(check.access, point)
        after = replace(
            point,
            opened=point.opened | ({check.access} if check.access else set()),
            answered=point.answered | {check.id},
            minutes=point.minutes + cost,
            steps=point.steps + 1,
        )
        outcomes = tuple(
            Outcome(
                answer,
                float(chance),
                replace(
                    after,
                    situation=self._learnt(point.situation, check, answer),
                    probabilities=row / chance,
                ),
            )
            for answer, chance, row in zip(outlook.answers, chances, joint, strict=True)
            if chance > 0.0
        )
        figures = {"minutes": cost, "elapsed": after.minutes}
        return PolicyStep(Act("check", check.id), outcomes, figures)

    def _learnt(self, situation: Situation, check: Check, answer: str) -> Situation:
        if check.kind == "choice":
            return situation.with_choice(check.id, answer)
        spot = spot_of(check)
        level = next(one for one in self._knowledge.levels if one.id == answer)
        return situation.with_reading(spot, typical_reading(self._baseline, spot, level))

    def _fix(self, point: Point, fault: Fault) -> PolicyStep[Point]:
        column = self._knowledge.fault_index[fault.id]
        probability = float(point.probabilities[column])
        cost = fault.fix.minutes + self._opening(fault.fix.access, point)
        elapsed = point.minutes + cost + self._planner.verifying_minutes
        if fault.fix.refer:
            end: PolicyStep[Point] = PolicyStep(
                Act("refer", fault.id), handed_to=fault.fix.refer, reason=fault.title
            )
        else:
            end = PolicyStep(Act("fixed"))
        outcomes = [Outcome(THERE, probability, replace(point, settled=end))]
        left = point.probabilities.copy()
        left[column] = 0.0
        rest = float(left.sum())
        if rest > 0.0:
            over: PolicyStep[Point] | None = None
            if probability >= self._until:
                sure = f"a fix is {in_percent(self._until)} sure"
                over = PolicyStep(None, handed_to=LIVE, reason=sure)
            outcomes.append(
                Outcome(
                    NOT_THERE,
                    rest,
                    replace(
                        point,
                        probabilities=left / rest,
                        minutes=elapsed,
                        steps=point.steps + 1,
                        settled=over,
                    ),
                )
            )
        figures = {"minutes": cost, "elapsed": elapsed, "probability": probability}
        return PolicyStep(Act("fix", fault.id), tuple(outcomes), figures)

    def _opening(self, access: str | None, point: Point) -> float:
        if access is None or access in point.opened:
            return 0.0
        return self._knowledge.accesses[access].minutes


def _watched(knowledge: Knowledge) -> tuple[tuple[str, ...], set[str]]:
    """Rules that stop a visit, doubt readings, or find what questions and those rules wait for.

    Returns:
        Their ids, findings first, and the facts that they and the questions rest on.
    """
    facts = {
        leaf.fact
        for check in knowledge.checks.values()
        if check.asked_when is not None
        for leaf in leaves(check.asked_when)
    }
    kept = set()
    for rule in reversed(knowledge.ordered_rules):
        if any(
            isinstance(item, Stop | Doubt)
            or (isinstance(item, Derivation) and item.derive in facts)
            for item in rule.then
        ):
            kept.add(rule.id)
            facts |= {leaf.fact for leaf in leaves(rule.when)}
    return tuple(rule.id for rule in knowledge.ordered_rules if rule.id in kept), facts
