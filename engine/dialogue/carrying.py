"""A visit to be carried where there is no signal: its tree with every step in full words.

From where a visit stands the tree says what is next after each answer, as far as enough calls come
to it. Beyond its edge a card goes on: both readings at each station, what rules on these alone
leave to be mended, then what needs nothing opened. Whatever is answered there is believed once the
visit's own session takes it in.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field, replace

from stillflow.engine.base import KEPT_PAIRS, InputError, Mode, Station
from stillflow.engine.dialogue.answers import given, learnt
from stillflow.engine.dialogue.askable import Askable
from stillflow.engine.dialogue.present import Presenter, fault_shares
from stillflow.engine.dialogue.progress import Progress
from stillflow.engine.dialogue.session import Session
from stillflow.engine.dialogue.steps import Ending, NextStep, PutBackStep
from stillflow.engine.dialogue.unrolled import NOT_THERE, THERE, Act, visit_tree
from stillflow.engine.inference import Event, Firing, Situation, spot_of
from stillflow.engine.planning import PolicyStep, Think
from stillflow.engine.ruleset import Check, Doubt, Footing, Knowledge, checking, fixing

REACH = 0.005
"""Share of calls that must come to a point for it to be carried."""

MOST_ON_CARD = 24

_ALONG = (Station.UNIT, Station.UTILITY, Station.INLET, Station.OTHER, Station.HOSE)


@dataclass(frozen=True)
class CarriedNode:
    """A point of the tree.

    Attributes:
        step: number of its step in `Carried.steps`.
        ways: number of the node that an answer leads to, by the answer's id; of a fix, by `yes`
            and `not there`. An answer that is not among them leads to the card.
        edges: of a reading, in rising order: below which reading, inH2O (None for the rest), and
            the node it leads to (None for the card).
    """

    step: int
    ways: Mapping[str, int] = field(default_factory=dict)
    edges: tuple[tuple[float | None, int | None], ...] = ()


@dataclass(frozen=True)
class Leaving:
    """How an act leaves the house.

    Attributes:
        opens: ids of the accesses that stand open for it.
        shuts: ids of those that must not, and are put back before it.
    """

    opens: tuple[str, ...]
    shuts: tuple[str, ...]


@dataclass(frozen=True)
class Speaking:
    """A rule on readings alone, as far as it speaks without the airflow model.

    Attributes:
        when: its condition, as in a rule file.
        because: its reason.
        doubts: checks that it has taken again.
        speaks: faults that it speaks for, and those that it speaks against.
    """

    when: Mapping[str, object]
    because: str
    doubts: tuple[str, ...]
    speaks: tuple[tuple[str, ...], tuple[str, ...]]


@dataclass(frozen=True)
class Telling:
    """What readings say where there is only the card: facts, and the rules on them.

    Attributes:
        spots: of each reading, by its check: whether air flows, the station, and what is expected
            there, inH2O.
        levels: upper edge of each level as a share of expected, and its id.
        pairs: stations that are compared, the near one first.
        zero: what the gauge shows in open air.
        read: what was read before, by check.
        rules: those on readings alone.
        cleared: faults that an answer all but rules out, by check and answer.
        fixes: number of the step that mends a fault, the likeliest fault first; `titles` of those.
    """

    spots: Mapping[str, tuple[str, str, float]]
    levels: tuple[tuple[float | None, str], ...]
    pairs: tuple[tuple[str, str], ...]
    zero: float
    read: Mapping[str, float]
    rules: tuple[Speaking, ...]
    cleared: Mapping[str, Mapping[str, tuple[str, ...]]]
    fixes: Mapping[str, int]
    titles: Mapping[str, str]


@dataclass(frozen=True)
class Carried:
    """All that is carried.

    A step of the tree says itself what is put back before it; those of card and proof can be come
    to from anywhere and say nothing of it: that is told by what the answers have left open.

    Attributes:
        steps: every step that may come, once.
        nodes: the tree, the first where the visit stands; none where it has no tree now.
        card: numbers of the steps of the card, in order.
        proof: numbers of the steps that prove a fix, in order.
        danger: number of the step that asks for danger, None where the rules ask for none.
        stops: the step that ends the visit, by the answer to that which ends it.
        good: answers that say that a fix has worked, by the check that asks for it.
        opened: ids of the accesses that stand open where the visit stands.
        leaving: how an act leaves the house, by the id of its check or fault.
        behind: number of the step to take in a card's step's place, by that step's number, where
            all it needs opened stands open already.
        back: how an access is put back, by its id.
        telling: what the readings of the card come to; None where it has none.
    """

    steps: tuple[NextStep, ...]
    nodes: tuple[CarriedNode, ...]
    card: tuple[int, ...]
    proof: tuple[int, ...] = ()
    danger: int | None = None
    stops: Mapping[str, int] = field(default_factory=dict)
    good: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    opened: tuple[str, ...] = ()
    leaving: Mapping[str, Leaving] = field(default_factory=dict)
    behind: Mapping[int, int] = field(default_factory=dict)
    back: Mapping[str, PutBackStep] = field(default_factory=dict)
    telling: Telling | None = None


def _with(progress: Progress, footing: Footing) -> Progress:
    """The progress of a visit with the house left otherwise; for a step's words all else holds."""
    later = copy(progress)
    later.footing = footing
    return later


def carried(session: Session, reach: float = REACH, think: Think = "normal") -> Carried:
    """What to carry from where a visit stands.

    Args:
        session: the visit.
        reach: points that fewer calls than this come to are left to the card, 0 to 1.
        think: how far the planner looks ahead.

    Raises:
        InputError: `reach` is out of range.
    """
    packing = _Packing(session)
    if not 0.0 <= reach <= 1.0:
        raise InputError(f"reach is {reach:g}", right="use a probability from 0 to 1")
    packing.lay_danger(session)
    if session.next_step().ending is None:
        packing.begin(session, reach, think)
    packing.lay_card(session)
    telling = packing.telling(session)
    return Carried(
        tuple(packing.steps),
        tuple(packing.nodes),
        tuple(packing.card),
        tuple(packing.proof),
        packing.danger,
        packing.stops,
        packing.good,
        tuple(sorted(session.progress.footing.opened)),
        dict(packing.leaving()),
        packing.behind,
        dict(packing.back(session)),
        telling,
    )


class _Packing:
    def __init__(self, session: Session) -> None:
        self._knowledge: Knowledge = session.knowledge
        self._baseline = session.baseline
        self._model = session.progress.model
        self._visit = session.visit
        self._numbers: dict[str, int] = {}
        self.steps: list[NextStep] = []
        self.nodes: list[CarriedNode] = []
        self.card: list[int] = []
        self.proof: list[int] = []
        self.danger: int | None = None
        self.stops: dict[str, int] = {}
        self.good: dict[str, tuple[str, ...]] = {}
        self.behind: dict[int, int] = {}

    def begin(self, session: Session, reach: float, think: Think) -> None:
        """Lay the tree, with the question about danger before it where that comes next."""
        asked = session.safety_question()
        if asked is None:
            self._lay_tree(session, reach, think)
            return
        self.nodes.append(CarriedNode(0))
        ways: dict[str, int] = {}
        for answer, stop in self.stops.items():
            ways[answer] = len(self.nodes)
            self.nodes.append(CarriedNode(stop))
        goes_on = next((one for one in asked.answer_ids if one not in self.stops), None)
        if goes_on is not None:
            # One tree is enough; what else goes on leads to the card.
            ways[goes_on] = len(self.nodes)
            self.begin(session.supposing(Event(check=asked.id, answer=goes_on)), reach, think)
        self.nodes[0] = CarriedNode(self._kept(session.next_step()), ways)

    def _lay_tree(self, session: Session, reach: float, think: Think) -> None:
        try:
            tree = visit_tree(session, reach=reach, think=think).nodes
        except InputError:
            return  # readings contradict each other: what to take again is asked by the visit alone
        first = len(self.nodes)
        warned: list[set[str]] = [set() for _ in tree]
        left: list[Footing | None] = [None] * len(tree)
        progress = session.progress
        self._walk(tree, 0, (progress.situation, progress.footing), warned, left)
        numbers: dict[int, int] = {}
        for number, node in enumerate(tree):
            if isinstance(node.act, Act) and left[number] is not None and _shown(node):
                numbers[number] = first + len(numbers)
        for number in numbers:
            node = tree[number]
            standing = _with(progress, left[number] or Footing())
            self.nodes.append(self._node(node, numbers, standing, warned[number]))

    def _walk(
        self,
        tree: tuple[PolicyStep[int], ...],
        number: int,
        at: tuple[Situation, Footing],
        warned: list[set[str]],
        left: list[Footing | None],
    ) -> None:
        """Go every way through the tree, since a part that is shared is come to by several.

        A danger that any way brings with it is shown. What is opened and put back for an act, and
        its minutes, are the same on every way to it, so the first way's house will do.
        """
        situation, footing = at
        left[number] = left[number] or footing
        warned[number].update(self._model.fired(situation))
        node = tree[number]
        if not isinstance(node.act, Act):
            return
        if node.act.kind == "check":
            check = self._knowledge.checks[node.act.id]
            reached = checking(self._knowledge, footing, check).after
            for way in node.branches:
                said = given(self._knowledge, self._baseline, check, str(way.label))
                then = (learnt(situation, check, said), reached)
                self._walk(tree, way.to, then, warned, left)
        elif node.act.kind == "fix":
            fault = self._knowledge.faults[node.act.id]
            gone = situation, fixing(self._knowledge, footing, fault).after
            for way in node.branches:
                self._walk(tree, way.to, gone, warned, left)

    def _node(
        self,
        node: PolicyStep[int],
        numbers: Mapping[int, int],
        standing: Progress,
        fired: Iterable[str],
    ) -> CarriedNode:
        firings = [Firing(name, {}, ()) for name in self._knowledge.rules if name in set(fired)]
        present = Presenter(self._knowledge, self._baseline, standing, firings)
        act = node.act
        assert isinstance(act, Act)
        to = {str(way.label): numbers.get(way.to) for way in node.branches}
        if act.kind == "check":
            check = self._knowledge.checks[act.id]
            step = self._kept(present.check(check, ()))
            if check.kind == "reading":
                return CarriedNode(step, edges=tuple(self._edges(check, to)))
            return CarriedNode(step, {name: n for name, n in to.items() if n is not None})
        if act.kind == "fix":
            fault = self._knowledge.faults[act.id]
            step = self._kept(present.fix(fault, (), None))
            names = {"yes": to.get(THERE), "not there": to.get(NOT_THERE)}
            return CarriedNode(step, {name: n for name, n in names.items() if n is not None})
        rule = self._knowledge.rules[act.id]
        assert rule.stop is not None
        ending = Ending.by([rule.stop])
        return CarriedNode(self._kept(present.end("stop", ending, (rule.because,))))

    def _edges(
        self, check: Check, to: Mapping[str, int | None]
    ) -> Iterable[tuple[float | None, int | None]]:
        assert check.condition is not None and check.station is not None
        expected = self._baseline.at(check.condition, check.station)
        for level in self._knowledge.levels:
            edge = level.below_class if self._baseline.wide else level.below
            yield None if edge is None else edge * expected, to.get(level.id)

    def lay_card(self, session: Session) -> None:
        """Readings from the unit outward, then what needs nothing opened, the cheapest first."""
        progress = session.progress
        standing = progress.situation.standing
        askable = Askable(self._knowledge, self._visit.missing_tools)
        here = askable.choices(standing, session.facts(progress.situation))
        readings = [one for one in here if one.station is not None]
        readings.sort(key=lambda one: (_ALONG.index(one.station or Station.UNIT), one.condition))
        looks = [one for one in here if one.station is None and one.access is None]
        looks.sort(key=lambda one: (one.minutes, one.id))
        proofs = [
            one
            for one in self._knowledge.checks.values()
            if one.verifies and one.kind == "choice" and askable.possible(one, standing)
        ]
        firings = session.conclude().firings
        shut = replace(progress.footing, opened=frozenset())
        present = self._presenter(progress, shut, firings)
        for check in [*readings, *looks[: MOST_ON_CARD - len(readings)]]:
            # What could not be told is not asked again either: the tubing is not pulled off twice.
            if check.id in progress.closed or check.first:
                continue
            self.card.append(self._kept(present.check(check, ())))
            opens = checking(self._knowledge, shut, check).opens
            if opens:
                left = replace(shut, opened=frozenset(opens))
                again = self._presenter(progress, left, firings).check(check, ())
                self.behind[self.card[-1]] = self._kept(again)
        # One reading at the hose end covers the whole path; the customer's tool has the last word.
        whole = [one for one in readings if one.station is Station.HOSE and one.verifies]
        self.proof = [self._kept(present.check(check, ())) for check in [*whole, *proofs]]
        self.good = {one.id: tuple(a.id for a in one.answers if a.good) for one in proofs}

    def telling(self, session: Session) -> Telling:
        """What the readings of the card come to, as far as rules say it that need no model."""
        knowledge, progress, baseline = self._knowledge, session.progress, self._baseline
        checks = [one for one in knowledge.checks.values() if one.kind == "reading"]
        known = {one.id: progress.answered[one.id] for one in checks if one.id in progress.answered}
        fixes = dict(self._fixes(session))
        cleared: dict[str, dict[str, tuple[str, ...]]] = {}
        for (check_id, answer), faults in sorted(knowledge.cleared.items()):
            cleared.setdefault(check_id, {})[answer] = tuple(sorted(faults))
        return Telling(
            spots={
                one.id: (str(state), str(station), baseline.at(state, station))
                for one in checks
                for state, station in [spot_of(one)]
            },
            levels=tuple(
                (one.below_class if baseline.wide else one.below, one.id)
                for one in knowledge.levels
            ),
            pairs=tuple((str(near), str(far)) for near, far in KEPT_PAIRS),
            zero=self._visit.gauge.zero,
            read={name: float(value) for name, value in known.items()},
            rules=tuple(self._speaking()),
            cleared=cleared,
            fixes=fixes,
            titles={name: knowledge.faults[name].title for name in fixes},
        )

    def _speaking(self) -> Iterable[Speaking]:
        for rule in self._knowledge.rules.values():
            if not rule.gauged:
                continue
            doubts = [one for item in rule.then if isinstance(item, Doubt) for one in item.doubt]
            evidence = self._knowledge.evidence[rule.id]
            speaks = [
                tuple(
                    sorted({one for item, named in evidence if item.sign == sign for one in named})
                )
                for sign in (1, -1)
            ]
            if doubts or any(speaks):
                when = rule.when.model_dump(mode="json", by_alias=True, exclude_none=True)
                yield Speaking(when, rule.because, tuple(doubts), (speaks[0], speaks[1]))

    def _fixes(self, session: Session) -> Iterable[tuple[str, int]]:
        """The step that mends each fault, the likeliest first, where something is mended."""
        progress = session.progress
        shut = replace(progress.footing, opened=frozenset())
        present = self._presenter(progress, shut, session.conclude().firings)
        for share in fault_shares(self._knowledge, progress.probabilities):
            fault = self._knowledge.faults[share.id]
            if share.probability > 0.0 and fault.mode is not Mode.NORMAL:
                yield fault.id, self._kept(present.fix(fault, (), None))

    def lay_danger(self, session: Session) -> None:
        """The question about danger, to be asked at any time, and the ends that it may come to."""
        step = session.safety_step()
        if step is None or step.check is None:
            return
        self.danger = self._kept(step)
        for answer in (one.id for one in step.check.answers):
            tried = session.supposing(Event(check=step.check.id, answer=answer))
            if tried.is_stopped:
                self.stops[answer] = self._kept(tried.next_step())

    def leaving(self) -> Iterable[tuple[str, Leaving]]:
        """How every act that may come leaves the house, by what it would do in one all open."""
        opened = Footing(opened=frozenset(self._knowledge.accesses))
        for step in self.steps:
            if step.check is not None:
                check = self._knowledge.checks[step.check.id]
                shuts = checking(self._knowledge, opened, check).put_back
                yield check.id, Leaving(checking(self._knowledge, Footing(), check).opens, shuts)
            elif step.fix is not None:
                fault = self._knowledge.faults[step.fix.fault]
                shuts = fixing(self._knowledge, opened, fault).put_back
                yield fault.id, Leaving(fixing(self._knowledge, Footing(), fault).opens, shuts)

    def back(self, session: Session) -> Iterable[tuple[str, PutBackStep]]:
        """How each access by itself is put back, as at the end of all."""
        firings = session.conclude().firings
        for name in self._knowledge.accesses:
            left = Footing(opened=frozenset((name,)))
            present = self._presenter(session.progress, left, firings)
            before = present.end("refer", Ending(what="")).put_back
            if before is not None:
                yield name, before

    def _presenter(
        self, progress: Progress, footing: Footing, firings: Sequence[Firing]
    ) -> Presenter:
        return Presenter(self._knowledge, self._baseline, _with(progress, footing), firings)

    def _kept(self, step: NextStep) -> int:
        """The number of a step; one that says the same as an earlier one has its number."""
        said = step.model_dump_json(include={"step", "put_back", "check", "fix", "ending"})
        if said not in self._numbers:
            self._numbers[said] = len(self.steps)
            self.steps.append(step)
        return self._numbers[said]


def _shown(node: PolicyStep[int]) -> bool:
    """Whether a point has words of its own; what was cut and what is to be proved has none."""
    assert isinstance(node.act, Act)
    return node.act.kind in ("check", "fix") or (node.act.kind == "stop" and bool(node.act.id))
