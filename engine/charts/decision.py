"""The decision tree: which check next, for every answer, down to the fix.

Holds the neutral model of a tree (parts of it may be shared) and draws it over as many pages as
it needs. Where the tree comes from (the planner, unrolled) is left to the caller.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property, partial
from typing import Any, Literal

from pydantic import Field, model_validator

from stillflow.engine.base import InputError, Model, counted, minutes, percent
from stillflow.engine.charts import shapes
from stillflow.engine.charts.card import HEADING, Card, card_pages
from stillflow.engine.charts.chart import Chart
from stillflow.engine.charts.page import KeyItem, OnPaper, Sheet, kind_key
from stillflow.engine.charts.paging import Trunk
from stillflow.engine.charts.picture import Edge, Node, NodeKind, Picture, TitleBlock
from stillflow.engine.charts.scene import Link, Mark, Point, Role, Scene, Text, polygon, polyline
from stillflow.engine.charts.shapes import GREY, INK, NOTE_SIZE
from stillflow.engine.charts.text import LEADING, wrap
from stillflow.engine.charts.tidy import Cell, Gaps, Size, Twig
from stillflow.engine.charts.trees import Signs, draw_tree

_KINDS = {
    "check": NodeKind.CHECK,
    "fix": NodeKind.FIX,
    "looks": NodeKind.CONNECTOR,
    "hand-over": NodeKind.HAND_OVER,
}


class TreeBranch(Model):
    """One answer to a check, or outcome of a fix.

    Attributes:
        answer: in a few words.
        given: what can be recorded as it, where several lead the same way the likeliest of them:
            a choice's id, or a reading in inH2O; of a fix, `not there`.
        choices: ids of all answers, or levels of a reading, that lead this way.
        probability: how likely it is there, 0 to 1.
        to: id of the node it leads to.
    """

    answer: str
    given: float | str = ""
    choices: tuple[str, ...] = ()
    probability: float = Field(ge=0, le=1)
    to: str


class TreeNode(Model):
    """One step.

    Attributes:
        id: unique in the tree.
        kind: "check"; "fix"; "looks", where the card goes on; or "hand-over", where the tree ends
            without a fix.
        check: id of the check to make; `fault` of the fault to put right; empty where neither is.
        title: what to check, what to fix, or whom to hand over to.
        detail: anything more to say, in a few words.
        minutes: what this step costs.
        probability: of a fix, that it is the right one here (0 to 1).
        expected_minutes: of a fix, from the root to its end: the minutes of every step on the way,
            its own, and measuring after it.
        caution: what to beware of.
        looks: of "looks", their numbers on the card, in the order to make them.
        branches: where the answers lead; none at the end of the tree.
    """

    id: str
    kind: Literal["check", "fix", "looks", "hand-over"]
    check: str = ""
    fault: str = ""
    title: str
    detail: str = ""
    minutes: float | None = Field(default=None, ge=0)
    probability: float | None = Field(default=None, ge=0, le=1)
    expected_minutes: float | None = Field(default=None, ge=0)
    caution: str = ""
    looks: tuple[int, ...] = ()
    branches: tuple[TreeBranch, ...] = ()


class DecisionTree(Model):
    """A whole tree. Nodes may be reached from several others, but never from themselves.

    `start` is the visit that stands at the root, as the content of a visit file; `card` what goes
    on where the tree ends.
    """

    title: TitleBlock
    start: dict[str, Any] = Field(default_factory=dict)
    root: str
    nodes: tuple[TreeNode, ...]
    card: Card | None = None

    @cached_property
    def by_id(self) -> Mapping[str, TreeNode]:
        """The nodes by id."""
        return {node.id: node for node in self.nodes}

    @model_validator(mode="after")
    def _hangs_together(self) -> DecisionTree:
        if len(self.by_id) != len(self.nodes):
            raise InputError("two nodes of the decision tree have the same id")
        ends = [self.root, *(b.to for node in self.nodes for b in node.branches)]
        missing = next((end for end in ends if end not in self.by_id), None)
        if missing is not None:
            raise InputError(
                f"the decision tree has no node {missing!r}, yet something leads there"
            )
        self.downwards()
        return self

    def downwards(self) -> list[str]:
        """Ids of all nodes that can be reached, every node before those below it.

        Raises:
            InputError: a node can be reached from itself.
        """
        state: dict[str, bool] = {}
        order: list[str] = []
        stack = [(self.root, False)]
        while stack:
            identifier, finished = stack.pop()
            if finished:
                state[identifier] = True
                order.append(identifier)
                continue
            if identifier in state:
                if not state[identifier]:
                    raise InputError(f"the decision tree goes round in a circle at {identifier!r}")
                continue
            state[identifier] = False
            stack.append((identifier, True))
            for branch in reversed(self.by_id[identifier].branches):
                if state.get(branch.to) is not True:
                    stack.append((branch.to, False))
        return order[::-1]

    def reach(self) -> dict[str, float]:
        """The probability of coming past each node."""
        found = dict.fromkeys(self.by_id, 0.0)
        found[self.root] = 1.0
        for identifier in self.downwards():
            for branch in self.by_id[identifier].branches:
                found[branch.to] += found[identifier] * branch.probability
        return found


def decision_chart(tree: DecisionTree) -> Chart:
    """The tree as a chart to render; with a paper it is cut into numbered pages."""
    order = tree.downwards()
    boxes = {identifier: _box(tree.by_id[identifier]) for identifier in order}
    ends = [i for i in order if not tree.by_id[i].branches]
    checks = sum(1 for i in order if tree.by_id[i].kind == "check")
    first = tree.by_id[tree.root].title
    picture = Picture(
        title=tree.title,
        alt=f"A decision tree of {counted(checks, 'check')} with {counted(len(ends), 'end')}. "
        f"It begins with: {first if first.endswith('?') else first.rstrip('.') + '.'}",
        nodes=tuple(boxes.values()),
        edges=tuple(
            Edge(i, b.to, f"{b.answer} ({percent(b.probability)})", "for")
            for i in order
            for b in tree.by_id[i].branches
        ),
    )
    trunk = Trunk(
        tree.root,
        {
            i: [Twig(b.to, b.answer, percent(b.probability)) for b in tree.by_id[i].branches]
            for i in order
        },
        tree.reach(),
    )

    def pages(paper: OnPaper) -> list[Scene]:
        elsewhere = [NodeKind.CONNECTOR] if paper else []
        kinds = list(dict.fromkeys([*picture.kinds(), *elsewhere]))
        key = kind_key(kinds) + _key(tree)
        sheet = Sheet(tree.title, picture.alt, key, paper)
        squeezes = _SQUEEZES if paper else _SQUEEZES[:1]
        artists = [_Artist(boxes, squeeze) for squeeze in squeezes]
        beside = None if tree.card is None else partial(_card, tree.card, sheet)
        return draw_tree(trunk, artists, sheet, beside)

    return Chart("decision-tree", picture, tree.model_dump(mode="json"), pages)


def _card(card: Card, sheet: Sheet, wide: float) -> list[tuple[str, list[Mark]]]:
    """The pages of the card, each with its heading."""
    return [(HEADING, marks) for marks in card_pages(card, sheet.room(), wide, sheet.least())]


def _key(tree: DecisionTree) -> tuple[KeyItem, ...]:
    way = [*_way(0, 34, 6), Text(6, 17, "50 %", NOTE_SIZE, colour=GREY)]
    items = [KeyItem("an answer, how often", way)]
    if any(node.expected_minutes is not None for node in tree.nodes):
        in_all = Text(4, 11.5, "in all", NOTE_SIZE)
        items.append(KeyItem("every step from the start, the fix, measuring after it", [in_all]))
    if any(node.caution for node in tree.nodes):
        items.append(KeyItem("beware", shapes.warning_sign(24, 8)))
    return tuple(items)


def _way(left: float, right: float, y: float) -> list[Mark]:
    """The arrow of an answer."""
    tip = [(right, y), (right - 7, y - 3.4), (right - 7, y + 3.4)]
    return [polyline([(left, y), (right - 6, y)], width=1.1), polygon(tip, fill=INK)]


def _box(node: TreeNode) -> Node:
    likely = "" if node.probability is None else f"{percent(node.probability)} likely to be it"
    notes = []
    if node.minutes is not None:
        notes.append(minutes(node.minutes))
    if node.expected_minutes is not None:
        notes.append(f"{minutes(node.expected_minutes)} in all")
    detail = node.detail.rstrip(".") if likely else node.detail
    return Node(
        node.id,
        _KINDS[node.kind],
        node.title,
        ". ".join(part for part in (detail, likely) if part),
        "; ".join(notes),
        caution=node.caution,
    )


_SQUEEZES = (1.0, 0.86, 0.76, 0.7)
"""Widths of boxes to try on a paper: narrow ones take more lines, but fewer pages."""


_LOOKS_WIDE = 1.0
"""Width of boxes that name looks, since nothing stands beyond them."""


class _Artist:
    """Draws the steps: the answer stands on the line that leads to the box."""

    across = True
    stacks = False
    gaps = Gaps(within=7, between=16)
    _LABEL = 88.0
    _CONNECTOR = Node("", NodeKind.CONNECTOR, text="step 000, page 000")

    def __init__(self, boxes: Mapping[str, Node], squeeze: float) -> None:
        self._squeeze = squeeze
        self._label = self._LABEL * squeeze
        self._boxes = boxes
        self._measured = {i: shapes.measure(_numbered(b), self._wide(b)) for i, b in boxes.items()}
        self._connector = shapes.measure(self._CONNECTOR)

    def size(self, cell: Cell) -> Size:
        box = self._box_of(cell)
        up, down = self._reach(cell)
        return Size(self._label + box.width, up + down + 6)

    def _wide(self, box: Node) -> float:
        return _LOOKS_WIDE if box.kind is NodeKind.CONNECTOR else self._squeeze

    def _box_of(self, cell: Cell) -> shapes.MeasuredNode:
        return self._measured[cell.target] if cell.full else self._connector

    def _reach(self, cell: Cell) -> tuple[float, float]:
        """How far a cell reaches up and down from the arrow, above which its answer stands."""
        half = self._box_of(cell).height / 2
        above = len(self._lines(cell)) * NOTE_SIZE * LEADING + 3
        return max(half, above), max(half, NOTE_SIZE * LEADING + 3)

    def _lines(self, cell: Cell) -> Sequence[str]:
        words = cell.twig.words if cell.twig else ""
        if not cell.full and cell.start:
            words = "other answers"
        return wrap(words, self._label - 14, NOTE_SIZE)

    def words(self, cell: Cell) -> str:
        answer = f"{cell.twig.words}: " if cell.twig and cell.twig.words else ""
        return answer + " ".join(self._boxes[cell.target].lines())

    def title(self, target: str) -> str:
        return self._boxes[target].title

    def tells(self, target: str) -> Role:
        return "name" if self._boxes[target].kind is NodeKind.FIX else ""

    def entry(self, cell: Cell, corner: Point) -> Point:
        return corner[0], corner[1] + 3 + self._reach(cell)[0]

    def exit(self, cell: Cell, corner: Point) -> Point:
        x, y = self.entry(cell, corner)
        return x + self._label + self._box_of(cell).width, y

    def marks(self, cell: Cell, corner: Point, signs: Signs, page: int) -> list[Mark]:
        x, y = self.entry(cell, corner)
        left = x + self._label
        marks: list[Mark] = []
        if cell.twig or not cell.full:
            marks += _way(x, left, y)
            lines = self._lines(cell)
            for index, line in enumerate(reversed(lines)):
                baseline = y - 4 - index * NOTE_SIZE * LEADING
                marks.append(Text(x + 2, baseline, line, NOTE_SIZE, role="answer"))
            if cell.twig and cell.twig.likely:
                place = Text(x + 2, y + 11.5, cell.twig.likely, NOTE_SIZE, colour=GREY)
                marks.append(place)
        else:
            for index, line in enumerate(self._origin(cell, signs, page)):
                baseline = y - 3 + index * NOTE_SIZE * LEADING
                words = Text(left - 14, baseline, line, NOTE_SIZE, "end", colour=GREY, role="fixed")
                marks.append(words)
            origins = set(signs.origins.get((cell.target, cell.start), ()))
            if len(origins) == 1:
                there = signs.page[(origins.pop(), 0)]
                marks.append(Link(x, y - 14, self._label - 12, 30, there))
        return marks + self._box(cell, left, y, signs, page)

    def _origin(self, cell: Cell, signs: Signs, page: int) -> list[str]:
        origins = signs.origins.get((cell.target, cell.start), ())
        if not origins:
            return ["start"]
        if len(set(origins)) > 2:
            return ["from several", "steps"]
        steps = [f"from step {signs.number[i]}" for i in dict.fromkeys(origins)]
        return steps if len(steps) > 1 else [*steps, signs.where(origins[0], 0, page)]

    def _box(self, cell: Cell, left: float, y: float, signs: Signs, page: int) -> list[Mark]:
        if cell.full:
            box = self._boxes[cell.target]
            number = signs.number.get(cell.target)
            named = box if number is None else _numbered(box, str(number))
            measured = shapes.measure(named, self._wide(box))
            return shapes.draw(measured, left, y - measured.height / 2)
        step = signs.number[cell.target]
        where = signs.where(cell.target, cell.start, page)
        measured = shapes.measure(Node("", NodeKind.CONNECTOR, text=f"step {step}, {where}"))
        corner = (left, y - measured.height / 2)
        there = signs.page[(cell.target, cell.start)]
        way = Link(*corner, measured.width, measured.height, there)
        return [*shapes.draw(measured, *corner), way]


def _numbered(box: Node, number: str = "0") -> Node:
    """Only checks, and fixes that may not be the end of it, have a number."""
    ends = (NodeKind.HAND_OVER, NodeKind.CONNECTOR)
    return box if box.kind in ends else replace(box, badge=number)
