"""The fault tree drawn: the top event above, what brings it about below, with IEC 61025 symbols.

Reckoning is left to `faulttree`; only the picture is made here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from stillflow.engine.base import chance, counted
from stillflow.engine.charts import shapes
from stillflow.engine.charts.chart import Chart
from stillflow.engine.charts.gates import HEIGHT, gate_key, symbol
from stillflow.engine.charts.page import PaperName, Sheet
from stillflow.engine.charts.paging import Trunk
from stillflow.engine.charts.picture import Edge, Gate, Node, NodeKind, Picture, TitleBlock
from stillflow.engine.charts.scene import Mark, Point, Scene, Text, polyline
from stillflow.engine.charts.shapes import GREY, NOTE_SIZE
from stillflow.engine.charts.tidy import Cell, Gaps, Size, Twig
from stillflow.engine.charts.trees import Signs, draw_tree
from stillflow.engine.faulttree import Analysis, FaultTree, PrimaryEvent
from stillflow.engine.faulttree import Gate as TreeGate

_SQUEEZES = (1.0, 0.9, 0.8)
_MOST_ABREAST = 2
"""More single causes than this under one gate are stacked, to keep the drawing narrow."""
_STACKS = (5, 4, 3, 2)
"""Causes in one stack at most: the first of these with which nothing must be made smaller."""
_INDENT = 16.0
_STEP = 6.0
_SIDE = 24.0
"""Room beside a stacked cause for its symbol, drawn small."""


def faulttree_chart(tree: FaultTree, title: TitleBlock, analysis: Analysis | None = None) -> Chart:
    """The tree as a chart to render; with a paper it is cut into numbered pages.

    Args:
        tree: what to draw.
        title: its title block.
        analysis: its figures, which are then shown on the top event and kept in the JSON.
    """
    order = tree.upwards()[::-1]
    top_words = "" if analysis is None else f"{chance(analysis.probability)} in all"
    nodes = {name: _node(tree.by_id[name], top_words if name == tree.top else "") for name in order}
    causes = sum(1 for name in order if isinstance(tree.by_id[name], PrimaryEvent))
    picture = Picture(
        title=title,
        alt=f"A fault tree. Top event: {tree.by_id[tree.top].title}. "
        f"Below it, {counted(causes, 'cause')}.",
        nodes=tuple(nodes.values()),
        edges=tuple(Edge(name, i) for name in order for i in _inputs(tree, name)),
        across=False,
    )

    def pages(paper: PaperName | None) -> list[Scene]:
        used: set[Gate] = {node.gate for node in picture.nodes}
        used |= {"transfer"} if paper else set()
        sheet = Sheet(title, picture.alt, gate_key(used), paper)
        squeezes = _SQUEEZES if paper else _SQUEEZES[:1]
        scenes: list[Scene] = []
        for high in _STACKS:
            trunk, stacks = _trunk(tree, high)
            scenes = draw_tree(trunk, [_Artist(nodes, stacks, s) for s in squeezes], sheet)
            if min(scene.smallest_text() for scene in scenes) >= NOTE_SIZE:
                break
        return scenes

    data = {"title": title.model_dump(mode="json"), "tree": tree.model_dump(mode="json")}
    if analysis is not None:
        data["analysis"] = {
            "method": analysis.method,
            "probability": analysis.probability,
            "remark": analysis.remark,
            "cut_sets": analysis.cut_set_rows(),
            "importance": analysis.rows(),
        }
    return Chart("fault-tree", picture, data, pages)


def _inputs(tree: FaultTree, name: str) -> tuple[str, ...]:
    part = tree.by_id[name]
    return part.inputs if isinstance(part, TreeGate) else ()


def _node(part: TreeGate | PrimaryEvent, note: str) -> Node:
    if isinstance(part, PrimaryEvent) and part.probability is not None:
        note = chance(part.probability)
    return Node(part.id, NodeKind.EVENT, part.title, note=note, gate=part.kind)


def _trunk(tree: FaultTree, most: int) -> tuple[Trunk, dict[str, tuple[str, ...]]]:
    """The tree to cut into pages, and which causes stand in each stack, at most so many."""
    twigs: dict[str, list[Twig]] = {}
    stacks: dict[str, tuple[str, ...]] = {}
    weight: dict[str, float] = {}
    for depth, name in enumerate(tree.upwards()[::-1]):
        weight[name] = -depth
        inputs = _inputs(tree, name)
        single = [i for i in inputs if isinstance(tree.by_id[i], PrimaryEvent)]
        twigs[name] = [Twig(i) for i in inputs if i not in single]
        if len(single) <= _MOST_ABREAST:
            twigs[name] = [Twig(i) for i in inputs]
            continue
        count = -(-len(single) // most)
        high = -(-len(single) // count)
        for start in range(0, len(single), high):
            stack = f"{name}\x00{start}"
            stacks[stack] = tuple(single[start : start + high])
            twigs[stack] = []
            twigs[name].append(Twig(stack))
    return Trunk(tree.top, twigs, weight), stacks


class _Artist:
    """Draws events: a box with what happens, and below it the symbol of how."""

    across = False
    gaps = Gaps(within=14, between=22)

    def __init__(
        self, nodes: Mapping[str, Node], stacks: Mapping[str, tuple[str, ...]], squeeze: float
    ) -> None:
        self._nodes = nodes
        self._stacks = stacks
        self._squeeze = squeeze
        self._boxes = {i: shapes.measure(_numbered(n), squeeze) for i, n in nodes.items()}

    def size(self, cell: Cell) -> Size:
        if cell.target in self._stacks:
            boxes = [self._boxes[i] for i in self._stacks[cell.target]]
            high = sum(box.height + _STEP for box in boxes) + _STEP
            return Size(_INDENT + boxes[0].width + _SIDE, high)
        box = self._boxes[cell.target]
        # Below a connector's triangle stands where it leads.
        under = 0.0 if cell.full else NOTE_SIZE * 2.5
        return Size(box.width, box.height + HEIGHT + _STEP + under)

    def words(self, cell: Cell) -> str:
        names = self._stacks.get(cell.target, (cell.target,))
        return "; ".join(" ".join(self._nodes[i].lines()) for i in names)

    def entry(self, cell: Cell, corner: Point) -> Point:
        if cell.target in self._stacks:
            return corner[0] + _INDENT / 2, corner[1]
        return corner[0] + self.size(cell).width / 2, corner[1]

    def exit(self, cell: Cell, corner: Point) -> Point:
        size = self.size(cell)
        sag = HEIGHT * 0.15 if self._nodes[cell.target].gate == "or" else 0.0
        return corner[0] + size.width / 2, corner[1] + size.height - sag

    def marks(self, cell: Cell, corner: Point, signs: Signs, page: int) -> list[Mark]:
        if cell.target in self._stacks:
            return self._stack(cell, corner)
        node = self._nodes[cell.target]
        box = self._boxes[cell.target]
        x, y = corner
        middle = x + box.width / 2
        foot = y + box.height
        marks: list[Mark] = [polyline([(middle, foot), (middle, foot + _STEP)], width=1.1)]
        if cell.full:
            marks += symbol(node.gate, middle, foot + _STEP)
        else:
            marks += symbol("transfer", middle, foot + _STEP)
        number = signs.number.get(cell.target)
        shown = _numbered(node, str(number))
        marks += shapes.draw(shapes.measure(shown, self._squeeze), x, y)
        if not cell.full:
            there = signs.page[(cell.target, cell.start)]
            lines = [f"to {number}" + (" (the rest)" if cell.start else "")]
            lines.append("this page" if there == page else f"page {there}")
            marks += _below(lines, middle, foot + _STEP + HEIGHT)
        elif not cell.twig:
            marks += self._origin(cell, (middle, foot + _STEP), signs, page)
        return marks

    def _origin(self, cell: Cell, place: Point, signs: Signs, page: int) -> list[Mark]:
        """Beside the top of a piece, the triangle of where it comes from."""
        origins = dict.fromkeys(signs.origins.get((cell.target, cell.start), ()))
        if not origins:
            return []
        x, y = place
        marks = symbol("transfer", x + 30, y + 8, 0.5)
        marks.append(polyline([(x + 13.5, y + 16), (x + 26.5, y + 16)], width=1.1))
        lines = ["from " + ", ".join(str(signs.number[i]) for i in list(origins)[:3])]
        if len(origins) == 1:
            there = signs.page[(next(iter(origins)), 0)]
            lines.append("this page" if there == page else f"page {there}")
        for index, line in enumerate(lines):
            marks.append(Text(x + 42, y + 14 + index * 11.5, line, NOTE_SIZE, colour=GREY))
        return marks

    def _stack(self, cell: Cell, corner: Point) -> list[Mark]:
        x, y = corner
        trunk = x + _INDENT / 2
        marks: list[Mark] = []
        top = y + _STEP
        last = y
        for name in self._stacks[cell.target]:
            box = self._boxes[name]
            middle = top + box.height / 2
            left = x + _INDENT
            marks.append(polyline([(trunk, middle), (left, middle)], width=1.1))
            marks += shapes.draw(box, left, top)
            edge = left + box.width
            marks.append(polyline([(edge, middle), (edge + 5, middle)], width=1.1))
            marks += symbol(self._nodes[name].gate, edge + 14, middle - HEIGHT * 0.3, 0.6)
            last = middle
            top += box.height + _STEP
        return [polyline([(trunk, y), (trunk, last)], width=1.1), *marks]


def _numbered(node: Node, number: str = "0") -> Node:
    """Only what goes on below has a number."""
    return replace(node, badge=number) if node.gate in ("or", "and") else node


def _below(lines: list[str], x: float, y: float) -> list[Mark]:
    return [
        Text(x, y + (index + 1) * NOTE_SIZE * 1.15, line, NOTE_SIZE, "middle", colour=GREY)
        for index, line in enumerate(lines)
    ]
