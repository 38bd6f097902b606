"""The live policy unrolled: from any starting facts, what a visit does next after every answer.

Gives `policytree` the states and acts of a visit, so the tree says what the guided visit would say.
Words and drawing are left to `views`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import compress
from typing import Any, Literal, NamedTuple

import numpy as np

from stillflow.engine.base import Floats, InputError, in_percent
from stillflow.engine.dialogue.answers import given, learnt
from stillflow.engine.dialogue.choosing import Planner
from stillflow.engine.dialogue.course import Course, Move
from stillflow.engine.dialogue.progress import SETTLED, settled_by
from stillflow.engine.dialogue.session import Session
from stillflow.engine.dialogue.shortway import ShortWay
from stillflow.engine.dialogue.steps import Ending
from stillflow.engine.dialogue.verification import Repair
from stillflow.engine.inference import Situation, Spot, rule_table
from stillflow.engine.planning import FRINGE, Branch, PolicyStep, PolicyTree, Think, Unrolled
from stillflow.engine.ruleset import (
    Check,
    Doubt,
    FactValue,
    Fault,
    Footing,
    Knowledge,
    Stop,
    checking,
    fixing,
    leaves,
)

LIVE = "the guided visit"
"""Who takes over where the tree was cut."""

CARD = "the card"
"""Who takes over where there is a short way on: the looks printed beside the tree."""

GUIDED = 0.5
"""Share of the calls down to which a tree with a short way on goes by the guided visit."""

BOX = 0.4
"""What a look of its own must show, in calls, as a share of the reach of a tree."""

SHOWN = 0.2
"""How likely a fault must be where a look shows it, for its fix to be a box."""

THERE, NOT_THERE = "it is there", "it is not there"
"""What can come of going to a fault: it is put right, or the visit goes on without it."""


class Act(NamedTuple):
    """What is done at a node: a check or a fix by id; or an end.

    Ends are `fixed`; `stop` with the id of the rule behind it; `doubt` with the id of the check to
    take again first; `refer` with the id of the fault that others deal with, empty where none is
    left; `looks`, with the ids of those to make first as `looks`.

    Attributes:
        opens: ids of what is opened for it, of which one is told.
        put_back: ids of what is put back before it.
    """

    kind: Literal["check", "fix", "fixed", "stop", "doubt", "refer", "looks"]
    id: str = ""
    opens: tuple[str, ...] = ()
    put_back: tuple[str, ...] = ()
    looks: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Point:
    """A point a visit might come to, all that its next step hangs on.

    Attributes:
        situation: what is known.
        probabilities: of every fault, shape (F,).
        footing: where one stands, and what is undone.
        answered: answers by check; `silent`: why there is none.
        deferred: faults whose fix was left undone.
        again: checks to take again; `doubting`: the rule that says so.
        last_repair: the last fix; `unmoved`: fixes in a row that changed nothing, `unmoved_before`
            those but for the last.
        spent: minutes of the visit when the tree began.
        minutes: spent since the tree began.
        steps: acts since the tree began.
        chance: how many of the calls come here, 0 to 1.
        settled: the step to take where that is known without thinking.
        ahead: as of a visit; a tree goes to no further inlet, of which it has no name to print.
        in_vain: nothing, since the question about danger is taken as answered.
    """

    situation: Situation
    probabilities: Floats
    footing: Footing
    answered: Mapping[str, float | str]
    silent: Mapping[str, str]
    deferred: tuple[str, ...]
    last_repair: Repair | None
    unmoved: int = 0
    unmoved_before: int = 0
    spent: float = 0.0
    again: tuple[str, ...] = ()
    doubting: str = ""
    minutes: float = 0.0
    steps: int = 0
    chance: float = 1.0
    settled: PolicyStep[Point] | None = None
    ahead: Mapping[str, Spot] = field(default_factory=dict)
    in_vain: Mapping[str, int] = field(default_factory=dict)


def visit_tree(
    session: Session,
    *,
    reach: float = 0.01,
    depth: int | None = None,
    until: float = 1.0,
    think: Think = "normal",
    wrong_part_minutes: float = 0.0,
    beyond: ShortWay | None = None,
    wall: bool = False,
) -> PolicyTree:
    """Unroll what a visit would do from here.

    The question about danger is taken as asked, with nothing found. Each act of the tree is an
    `Act`; labels are answers, levels of a reading, or `THERE` and `NOT_THERE`. Figures: `minutes`
    of the act with what must be opened for it, `elapsed` those of all acts since the tree began to
    its end (a fix with its measuring afterwards), and for fixes `probability`, that the fault is
    there.

    Args:
        session: the starting facts.
        reach: states that fewer calls than this come to are left to the guided visit, 0 to 1.
        depth: acts after which the tree ends, None for any number.
        until: a fix at least this likely to be right ends its branch, 0 to 1.
        think: how far the planner looks ahead.
        wrong_part_minutes: the price, in minutes, of having fitted a part that was not needed.
        beyond: the short way on that is taken where the tree ends; else the guided visit is.
        wall: go by the visit only as far as many calls come; from there the looks of `beyond` that
            most calls have need of are boxes, and what they show is a fix.

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
    planner = Planner(
        session.knowledge, session.progress.model, session.baseline, think, wrong_part_minutes
    )
    started = past_safety(session)
    policy = _Policy(started, planner, depth, until, beyond, reach if wall else None)
    edge = None if beyond is None else policy.edge
    return Unrolled(policy.start(), policy, reach, cut_to=LIVE, edge=edge).tree()


def past_safety(session: Session) -> Session:
    """The visit with the question about danger behind it, answered so that the visit goes on.

    Raises:
        InputError: every answer to it ends the visit.
    """
    while (check := session.safety_question()) is not None:
        for answer in check.answer_ids:
            tried = Session(session.knowledge, session.visit)
            tried.record(check.id, answer)
            if not tried.is_stopped:
                session = tried
                break
        else:
            what = f"every answer to '{check.id}' ends the visit"
            raise InputError(what, right="there is no tree")
    return session


class _Policy:
    """What a visit does at a point, by the routine that `Session.next_step` goes by too."""

    def __init__(
        self,
        session: Session,
        planner: Planner,
        depth: int | None,
        until: float,
        beyond: ShortWay | None,
        wall: float | None,
    ) -> None:
        self._beyond = beyond
        self._wall = wall
        self._knowledge = session.knowledge
        self._baseline = session.baseline
        self._progress = session.progress
        self._model = session.progress.model
        self._planner = planner
        self._course = Course(session.knowledge, planner, session.visit, session.progress.model)
        self._depth = depth
        self._until = until
        self._table = rule_table(session.knowledge)
        self._watched = _watched(session.knowledge)
        self._columns = [self._table.rule_ids.index(rule_id) for rule_id in self._watched]
        self._findings = {
            name: column
            for name, column in self._table.columns.items()
            if name.startswith("finding.")
        }

    def start(self) -> Point:
        """Where the visit stands."""
        progress = self._progress
        return Point(
            situation=progress.situation,
            probabilities=progress.probabilities,
            footing=progress.footing,
            answered=progress.answered,
            silent=dict(progress.silent),
            deferred=tuple(progress.deferred),
            last_repair=progress.last_repair,
            unmoved=progress.unmoved,
            unmoved_before=progress.unmoved_before,
            spent=progress.spent,
        )

    def edge(self, ways: Sequence[tuple[float, Point]]) -> PolicyStep[Any]:
        """What stands at the tree's edge, for the points behind it with their chances."""
        assert self._beyond is not None
        likeliest = max(ways, key=lambda way: way[0])[1]
        if likeliest.settled is not None:
            return likeliest.settled
        belief = sum((chance * point.probabilities for chance, point in ways), np.zeros(1))
        closed = {*likeliest.answered, *likeliest.silent}
        looks, found = self._beyond.order(belief, likeliest.footing, closed)
        return PolicyStep(Act("looks", looks=looks), (), {"found": found}, CARD)

    def _over(self, point: Point, reason: str) -> PolicyStep[Point]:
        """The tree ends here, for this reason."""
        if self._beyond is None:
            return PolicyStep(None, handed_to=LIVE, reason=reason)
        return self.edge([(1.0, point)])

    def __call__(self, point: Point) -> PolicyStep[Point]:
        """What is done at a point and what can come of it."""
        if point.settled is not None:
            return point.settled
        facts, fired = self._concluded(point)
        asked = {name: said for name, said in point.silent.items() if said != SETTLED}
        settled = settled_by(self._knowledge, facts, {*point.answered, *asked})
        point = replace(point, silent={**asked, **dict.fromkeys(settled, SETTLED)})
        point = self._doubting(point, fired)
        if self._depth is not None and point.steps >= self._depth:
            last = self._course.unplanned(point, fired, facts)
            if last is None or last.turn.next in ("ask-first", "verify"):
                return self._over(point, f"after {self._depth} steps")
        move = self._course.move(point, fired, facts)
        if move.ending is not None:
            return self._end(move, move.ending)
        if move.check is None:
            assert move.fault is not None
            return self._fix(point, move.fault)
        if move.turn.next == "take-again":
            because = self._knowledge.rules[move.rule_ids[0]].because
            return PolicyStep(Act("doubt", move.check.id), handed_to=LIVE, reason=because)
        if self._beyond is not None and self._wall is not None and point.chance < GUIDED:
            return self._look(point, self._beyond, self._wall)
        return self._ask(point, move.check)

    def _look(self, point: Point, beyond: ShortWay, reach: float) -> PolicyStep[Point]:
        """The look that shows most for its minutes, with a fix for what it shows."""
        closed = {*point.answered, *point.silent}
        looks, _ = beyond.order(point.probabilities, point.footing, closed)
        shows = beyond.surely @ point.probabilities * point.chance
        worth = [name for name in looks if shows[beyond.number[name] - 1] >= BOX * reach]
        if not worth:
            return self.edge([(1.0, point)])
        step = self._ask(point, self._knowledge.checks[worth[0]])
        branches: list[Branch[Point]] = []
        rest: list[Branch[Point]] = []
        for way in step.branches:
            shown = self._knowledge.shown.get((worth[0], str(way.label)), ())
            faults = [one for one in self._knowledge.faults.values() if one.id in shown]
            belief = way.to.probabilities
            likely = {one.id: belief[self._knowledge.fault_index[one.id]] for one in faults}
            fault = max(faults, key=lambda one: likely[one.id], default=None)
            rare = way.to.chance < FRINGE * reach
            if fault is None or rare or likely[fault.id] < SHOWN:
                rest.append(way)
                continue
            fix = replace(self._fix(way.to, fault), branches=())
            branches.append(replace(way, to=replace(way.to, settled=fix)))
        if rest:
            whole = sum(way.probability for way in rest)
            likeliest = max(rest, key=lambda way: way.probability)
            belief = sum((w.probability * w.to.probabilities for w in rest), np.zeros(1)) / whole
            onward = replace(likeliest.to, probabilities=belief, chance=point.chance * whole)
            branches.append(Branch(tuple(way.label for way in rest), whole, onward))
        return replace(step, branches=tuple(branches))

    def _end(self, move: Move, ending: Ending) -> PolicyStep[Point]:
        if move.kind == "done":
            return PolicyStep(Act("fixed"))
        if move.kind == "stop":
            return PolicyStep(Act("stop", move.rule_ids[0]), (), {}, ending.call, ending.what)
        return PolicyStep(Act("refer"), (), {}, ending.call, ending.what)

    def _doubting(self, point: Point, fired: Iterable[str]) -> Point:
        """The point with the readings to take again that the first rule to fire doubts."""
        for rule_id in fired:
            for item in self._knowledge.rules[rule_id].then:
                if isinstance(item, Doubt):
                    again = tuple(name for name in item.doubt if name in point.answered)
                    if again:
                        return replace(point, again=again, doubting=rule_id)
        return point

    def _concluded(self, point: Point) -> tuple[Mapping[str, FactValue], tuple[str, ...]]:
        """The facts at a point with the findings, and which of the rules that can end it fire."""
        facts = self._model.facts(point.situation)
        rows = self._table.rows([facts])
        fires = self._table.fire(rows, self._watched)[0, self._columns]
        found = {name: True for name, column in self._findings.items() if rows[0, column] == 1.0}
        return {**facts, **found}, tuple(compress(self._watched, fires))

    def _ask(self, point: Point, check: Check) -> PolicyStep[Point]:
        [outlook] = self._model.outlooks(point.situation, [check.id])
        joint = outlook.likelihood * point.probabilities
        chances = joint.sum(axis=1)
        outlay = checking(self._knowledge, point.footing, check)
        after = replace(
            point,
            footing=outlay.after,
            silent={name: said for name, said in point.silent.items() if name != check.id},
            minutes=point.minutes + outlay.minutes,
            steps=point.steps + 1,
        )
        branches = tuple(
            Branch(
                answer,
                float(chance),
                replace(
                    after,
                    situation=learnt(point.situation, check, said),
                    answered={**point.answered, check.id: said},
                    probabilities=row / row.sum(),
                    chance=point.chance * float(chance),
                ),
            )
            for answer, chance, row in zip(outlook.answers, chances, joint, strict=True)
            if chance > 0.0
            for said in [given(self._knowledge, self._baseline, check, answer)]
            # A branch stands for its level, what is believed on it for the reading it is told by.
            for row in [self._believed(point, check, said, row)]
        )
        figures = {"minutes": outlay.own, "elapsed": after.minutes}
        act = Act("check", check.id, outlay.opens, outlay.put_back)
        return PolicyStep(act, branches, figures)

    def _believed(self, point: Point, check: Check, said: float | str, joint: Floats) -> Floats:
        """Weights of the faults after an answer, those of its level where no fault foretells it."""
        if check.kind != "reading":
            return joint
        told = point.probabilities * self._model.likelihood(point.situation, check, said)
        return told if told.sum() > 0.0 else joint

    def _fix(self, point: Point, fault: Fault) -> PolicyStep[Point]:
        column = self._knowledge.fault_index[fault.id]
        probability = float(point.probabilities[column])
        outlay = fixing(self._knowledge, point.footing, fault)
        spent = point.minutes + outlay.minutes
        elapsed = spent + self._planner.proving(point.situation, outlay.after)[0]
        if fault.fix.refer:
            end: PolicyStep[Point] = PolicyStep(
                Act("refer", fault.id), handed_to=fault.fix.refer, reason=fault.title
            )
        else:
            end = PolicyStep(Act("fixed"))
        branches = [Branch(THERE, probability, replace(point, settled=end))]
        left = point.probabilities.copy()
        left[column] = 0.0
        rest = float(left.sum())
        if rest > 0.0:
            after = replace(
                point,
                probabilities=left / rest,
                last_repair=None,
                footing=outlay.after,
                minutes=spent,
                steps=point.steps + 1,
            )
            if probability >= self._until:
                sure = f"a fix is {in_percent(self._until)} sure"
                after = replace(after, settled=self._over(after, sure))
            branches.append(Branch(NOT_THERE, rest, after))
        figures = {"minutes": outlay.own, "elapsed": elapsed, "probability": probability}
        act = Act("fix", fault.id, outlay.opens, outlay.put_back)
        return PolicyStep(act, tuple(branches), figures)


def _watched(knowledge: Knowledge) -> tuple[str, ...]:
    """Rules that stop a visit, doubt readings, or find what its course, questions or those want.

    Returns:
        Their ids, findings first.
    """
    waiting = [check.asked_when for check in knowledge.checks.values()]
    waiting += [turn.when for turn in knowledge.turns]
    facts = {leaf.fact for one in waiting if one is not None for leaf in leaves(one)}
    kept = set()
    for rule in reversed(knowledge.ordered_rules):
        if not facts.isdisjoint(rule.derives) or any(
            isinstance(item, Stop | Doubt) for item in rule.then
        ):
            kept.add(rule.id)
            facts |= {leaf.fact for leaf in leaves(rule.when)}
    return tuple(rule.id for rule in knowledge.ordered_rules if rule.id in kept)
