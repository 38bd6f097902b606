"""The unrolled policy in a technician's words: the decision tree that `charts` draws.

Readings are named in the trade's words and as a share of expected, then by what the gauge shows
on this very system; answers that lead to the same step share a branch, and what was cut is
gathered into one way on. Leaves unrolling to `tree`.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from itertools import chain, groupby
from math import ceil

from stillflow.engine.base import small_first
from stillflow.engine.charts import (
    DecisionTree,
    TitleBlock,
    TreeBranch,
    TreeNode,
    numbers_said,
)
from stillflow.engine.dialogue import (
    LIVE,
    NOT_THERE,
    Act,
    Session,
    ShortWay,
    given,
    past_safety,
)
from stillflow.engine.inference import Baseline, spot_of
from stillflow.engine.planning import Branch, PolicyStep, PolicyTree
from stillflow.engine.ruleset import Check, Knowledge
from stillflow.engine.views.card import printed_card
from stillflow.engine.views.wording import beware, question

NOT_FOUND = "not there"
"""What stands in a tree for a fix that was gone to, and its fault not found."""


def decision_tree(
    tree: PolicyTree, session: Session, title: TitleBlock, beyond: ShortWay | None = None
) -> DecisionTree:
    """The tree in words.

    Args:
        tree: from `visit_tree`.
        session: the starting facts it was made from.
        title: the title block.
        beyond: the short way on that the tree was made with.
    """
    words = _Words(session.knowledge, session.baseline, beyond)
    wanted = {0}
    nodes = []
    # A branch always leads to a higher number, so what is wanted is known when it is reached.
    for number, node in enumerate(tree.nodes):
        if number in wanted:
            made = words.node(number, node, tree.nodes)
            wanted |= {int(branch.to) for branch in made.branches}
            nodes.append(made)
    start = past_safety(session).visit
    known = start.model_dump(mode="json", by_alias=True, exclude_defaults=True, exclude_none=True)
    content = {"stillflow": start.stillflow, **known}
    card = None if beyond is None else printed_card(beyond, session)
    return DecisionTree(title=title, start=content, root="0", nodes=tuple(nodes), card=card)


def _left_to_visit(node: PolicyStep[int]) -> bool:
    return node.act is None and node.handed_to == LIVE


def _is_edge(node: PolicyStep[int]) -> bool:
    """Whether the tree ends there without having said what it is."""
    looks = isinstance(node.act, Act) and node.act.kind == "looks"
    return looks or _left_to_visit(node)


def _labels(way: Branch[int]) -> tuple[str, ...]:
    """The answers that lead that way; those to a look that show nothing lead on together."""
    return tuple(map(str, way.label)) if isinstance(way.label, tuple) else (str(way.label),)


def _leads_to(number: int, nodes: Sequence[PolicyStep[int]]) -> Hashable:
    """What answers that lead to the same step have in common."""
    act = nodes[number].act
    return act if isinstance(act, Act) and act.kind == "looks" else number


class _Words:
    def __init__(
        self, knowledge: Knowledge, baseline: Baseline, beyond: ShortWay | None = None
    ) -> None:
        self._beyond = beyond
        self._knowledge = knowledge
        self._baseline = baseline

    def node(
        self, number: int, node: PolicyStep[int], nodes: Sequence[PolicyStep[int]]
    ) -> TreeNode:
        act = node.act
        if not isinstance(act, Act) or act.kind not in ("check", "fix"):
            return self._end(number, node)
        if act.kind == "fix":
            return self._fix(number, node, act, nodes)
        check = self._knowledge.checks[act.id]
        cautions = list(check.cautions)
        details = []
        if check.kind == "reading":
            details.append(f"100 % is {self._baseline.at(*spot_of(check)):.0f} inH2O.")
        details += self._put_back(act)
        opened = [self._knowledge.accesses[name] for name in act.opens]
        cautions += chain.from_iterable(one.cautions for one in opened)
        details += [f"First: {small_first(one.title)}." for one in opened[:1]]
        branches = tuple(self._branches(check, node, nodes))
        if all(_left_to_visit(nodes[branch.to]) for branch in node.branches):
            # Whatever the answer, this is as far as the tree goes.
            details.append(f"Then go on with {LIVE}.")
            branches = ()
        return TreeNode(
            id=str(number),
            kind="check",
            check=check.id,
            title=question(check),
            detail=" ".join(details),
            minutes=node.figures["minutes"],
            caution=beware(self._knowledge, cautions),
            branches=branches,
        )

    def _fix(
        self, number: int, node: PolicyStep[int], act: Act, nodes: Sequence[PolicyStep[int]]
    ) -> TreeNode:
        fault = self._knowledge.faults[act.id]
        fix = fault.fix
        cautions = list(fix.cautions)
        cautions += chain.from_iterable(self._knowledge.accesses[one].cautions for one in act.opens)
        onward = [
            TreeBranch(
                answer="It is not there",
                given=NOT_FOUND,
                probability=branch.probability,
                to=str(branch.to),
            )
            for branch in node.branches
            if branch.label == NOT_THERE and not _left_to_visit(nodes[branch.to])
        ]
        return TreeNode(
            id=str(number),
            kind="hand-over" if fix.refer else "fix",
            fault=fault.id,
            title=f"{fault.title} – for {fix.refer}" if fix.refer else fault.title,
            detail=" ".join([*self._put_back(act), fault.confirm]),
            minutes=node.figures["minutes"],
            probability=node.figures["probability"],
            expected_minutes=node.figures["elapsed"],
            caution=beware(self._knowledge, cautions),
            branches=tuple(onward),
        )

    def _put_back(self, act: Act) -> list[str]:
        """What stands open and is put back before an act."""
        shut = [self._knowledge.accesses[name].put_back for name in act.put_back]
        return [one.step for one in shut if one is not None]

    def _end(self, number: int, node: PolicyStep[int]) -> TreeNode:
        check = ""
        if node.handed_to == LIVE:
            title, detail = f"On with {LIVE}", ""
            if isinstance(node.act, Act):
                title, detail, check = "Take these readings again", node.reason, node.act.id
        elif isinstance(node.act, Act) and node.act.kind == "looks":
            assert self._beyond is not None
            looks = tuple(self._beyond.number[name] for name in node.act.looks)
            return TreeNode(id=str(number), kind="looks", title=_looks_said(looks), looks=looks)
        elif isinstance(node.act, Act) and node.act.kind == "stop":
            title, detail = f"Stop. {node.reason}", f"Call: {node.handed_to}"
        else:
            title, detail = f"Call {node.handed_to}", node.reason
        return TreeNode(id=str(number), kind="hand-over", check=check, title=title, detail=detail)

    def _branches(
        self, check: Check, node: PolicyStep[int], nodes: Sequence[PolicyStep[int]]
    ) -> Iterable[TreeBranch]:
        """The ways on, those that lead to the same step together, the cut ones last."""
        by_step: dict[Hashable, list[Branch[int]]] = {}
        for branch in node.branches:
            by_step.setdefault(_leads_to(branch.to, nodes), []).append(branch)
        edge = [key for key, ways in by_step.items() if _is_edge(nodes[ways[0].to])]
        edge.sort(key=lambda key: len(by_step[key]))
        for key in [*(key for key in by_step if key not in edge), *edge]:
            ways = by_step[key]
            labels: set[Hashable] = {one for way in ways for one in _labels(way)}
            answer = self.answers(check, labels)
            last = bool(edge) and key == edge[-1] and len(ways) > 1
            if len(by_step) > 1 and (last or any(len(_labels(way)) > 1 for way in ways)):
                answer = "anything else"
            likeliest = max(ways, key=lambda way: way.probability)
            yield TreeBranch(
                answer=answer,
                given=given(self._knowledge, self._baseline, check, _labels(likeliest)[0]),
                choices=tuple(one for way in ways for one in _labels(way)),
                probability=min(sum(way.probability for way in ways), 1.0),
                to=str(likeliest.to),
            )

    def answers(self, check: Check, labels: set[Hashable]) -> str:
        """What leads on, by the ids of choices or of levels."""
        if check.kind == "choice":
            return " or ".join(one.label for one in check.answers if one.id in labels)
        return " or ".join(self._spans(check, labels))

    def _spans(self, check: Check, labels: set[Hashable]) -> Iterable[str]:
        """Stretches of the gauge's scale that neighbouring levels make up.

        In words and as a share of expected, which hold for any system; then inH2O on this one,
        where its unit is known.
        """
        expected = self._baseline.at(*spot_of(check))
        levels = self._knowledge.levels
        edges = [one.below_class if self._baseline.wide else one.below for one in levels]
        for inside, run in groupby(range(len(levels)), lambda i: levels[i].id in labels):
            if not inside:
                continue
            stretch = list(run)
            first, last = stretch[0], stretch[-1]
            low, high = edges[first - 1] if first else None, edges[last]
            if low is None and high is None:
                yield "any reading"
                continue
            words = _named(levels[first].title, levels[last].title, low, high)
            # Of a class of units alone, inH2O would be more than is known.
            here = "" if self._baseline.wide else f" ({_span(low, high, expected)})"
            yield f"{words}, {_span(low, high, 100.0, ' %')}{here}"


def _looks_said(looks: Sequence[int]) -> str:
    if not looks:
        return "The card, from its step 3"
    return f"{'Look' if len(looks) == 1 else 'Looks'} {numbers_said(looks)}"


def _named(first: str, last: str, low: float | None, high: float | None) -> str:
    """A stretch of levels by the titles of its ends."""
    if first == last:
        return first
    if low is None:
        return f"{last} or less"
    return f"{first} or more" if high is None else f"{first} to {last}"


def _span(low: float | None, high: float | None, whole: float, unit: str = "") -> str:
    """A stretch between two shares of `whole`, in whole numbers of which each is in one stretch.

    Where whole numbers would be too coarse, tenths.
    """
    parts = 1 if whole >= 20 else 10

    def up(share: float) -> int:
        # An edge belongs to what is above it; rounding takes off what floating point has put on.
        return ceil(round(share * whole * parts, 6))

    if low is None:
        return "" if high is None else f"under {up(high) / parts:g}{unit}"
    if high is None:
        return f"{up(low) / parts:g}{unit} or more"
    first, last = up(low) / parts, (up(high) - 1) / parts
    return f"{first:g}{unit}" if first == last else f"{first:g} to {last:g}{unit}"
