"""The fault tree drawn: the top event above, what brings it about below, with IEC 61025 symbols.

Reckoning is left to `faulttree`; only the picture is made here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

from stillflow.engine.base import chance, counted
from stillflow.engine.charts import shapes
from stillflow.engine.charts.chart import Chart
from stillflow.engine.charts.gates import HALF, HEIGHT, gate_key, symbol
from stillflow.engine.charts.page import OnPaper, Sheet
from stillflow.engine.charts.paging import Trunk
from stillflow.engine.charts.picture import Edge, Gate, Node, NodeKind, Picture, TitleBlock
from stillflow.engine.charts.scene import Anchor, Link, Mark, Point, Role, Scene, Text, polyline
from stillflow.engine.charts.shapes import GREY, NOTE_SIZE, MeasuredNode
from stillflow.engine.charts.tidy import Cell, Gaps, Size, Twig
from stillflow.engine.charts.trees import Signs, draw_tree
from stillflow.engine.faulttree import Analysis, FaultTree, PrimaryEvent
from stillflow.engine.faulttree import Gate as TreeGate

_SQUEEZES = (1.0, 0.9, 0.8)
_MOST_ABREAST = 2
"""More single causes than this under one gate are stacked, to keep the drawing narrow."""
_STACKS = (5, 4, 3, 2)
"""Causes in one stack at most: the first of these with which nothing must be made smaller."""
_LONG = 2**0.5
"""How much longer than wide a sheet is."""
_SQUEEZES_ACROSS = (1.6, 1.4, 1.25)
"""Widths of boxes in a tree that grows to the right: wide ones are low, so more stand on a page."""
_INDENT = 16.0
_STEP = 6.0
_SIDE = 24.0
"""Room beside a stacked cause for its symbol, drawn small."""
_ASIDE = 10.0
"""Between an inhibit gate and the conditions beside it."""


def faulttree_chart(tree: FaultTree, title: TitleBlock, analysis: Analysis | None = None) -> Chart:
    """The tree as a chart to render; with a paper it is cut into numbered pages.

    Args:
        tree: what to draw.
        title: its title block.
        analysis: its figures, which are then shown on every gate and kept in the JSON.
    """
    order = tree.upwards()[::-1]
    inputs = {name: _inputs(tree, name) for name in order}
    uses = Counter(i for name in order for i in inputs[name])
    nodes = {name: _node(tree.by_id[name], uses[name], analysis) for name in order}
    conditions = sum(1 for node in nodes.values() if node.gate == "condition")
    causes = sum(1 for node in nodes.values() if node.gate in ("basic", "undeveloped"))
    picture = Picture(
        title=title,
        alt=f"A fault tree. Top event: {tree.by_id[tree.top].title}. "
        f"Below it, {counted(causes, 'cause')}"
        + (f" and {counted(conditions, 'condition')}." if conditions else "."),
        nodes=tuple(nodes.values()),
        edges=tuple(Edge(name, i) for name in order for i in inputs[name]),
        across=False,
    )

    def pages(paper: OnPaper) -> list[Scene]:
        used: set[Gate] = {node.gate for node in picture.nodes}
        used |= {"transfer"} if paper else set()
        sheet = Sheet(title, picture.alt, gate_key(used), paper)
        squeezes = _SQUEEZES if paper else _SQUEEZES[:1]
        scenes: list[Scene] = []
        for high in _STACKS:
            trunk, stacks = _trunk(tree, high)
            artists = [_Artist(nodes, stacks, _beside(tree), squeeze) for squeeze in squeezes]
            scenes = draw_tree(trunk, artists, sheet)
            if min(scene.smallest_text() for scene in scenes) >= NOTE_SIZE:
                break
        trunk, _ = _trunk(tree, None)
        squeezes = _SQUEEZES_ACROSS if paper else _SQUEEZES_ACROSS[:1]
        lying = [_Lying(nodes, {}, _beside(tree), squeeze) for squeeze in squeezes]
        return min(scenes, draw_tree(trunk, lying, sheet), key=_awkward)

    data = {"title": title.model_dump(mode="json"), "tree": tree.model_dump(mode="json")}
    if analysis is not None:
        data["analysis"] = analysis.as_data()
    return Chart("fault-tree", picture, data, pages)


def _awkward(scenes: Sequence[Scene]) -> tuple[bool, int, float]:
    """What one drawing of a tree is less handy for than another: small type, pages, a long sheet.

    On pages of the same paper only the first two tell.
    """
    small = min(scene.smallest_text() for scene in scenes) < NOTE_SIZE - 0.05
    wide, high = scenes[0].width, scenes[0].height
    longest = min(max(wide, _LONG * high), max(high, _LONG * wide))
    return small, len(scenes), longest


def _inputs(tree: FaultTree, name: str) -> tuple[str, ...]:
    part = tree.by_id[name]
    return part.inputs if isinstance(part, TreeGate) else ()


def _beside(tree: FaultTree) -> dict[str, tuple[str, ...]]:
    """The conditions of each inhibit gate: they are drawn beside it, not below."""
    return {gate.id: tree.conditions(gate) for gate in tree.gates if gate.kind == "inhibit"}


def _node(part: TreeGate | PrimaryEvent, uses: int, analysis: Analysis | None) -> Node:
    if isinstance(part, TreeGate):
        note = "" if analysis is None else chance(analysis.gates[part.id])
        if analysis is not None and part.id == analysis.top:
            note += " in all"
        return Node(part.id, NodeKind.EVENT, part.title, note=note, gate=part.kind)
    notes = [part.code, "" if part.probability is None else chance(part.probability)]
    if uses > 1:
        notes.append(f"one event under {uses} gates")
    kind = NodeKind.CONDITION if part.kind == "condition" else NodeKind.EVENT
    note = ", ".join(one for one in notes if one)
    return Node(part.id, kind, part.title, note=note, gate=part.kind)


def _trunk(tree: FaultTree, most: int | None) -> tuple[Trunk, dict[str, tuple[str, ...]]]:
    """The tree to cut into pages, and which causes stand in each stack, at most so many.

    With None there are no stacks.
    """
    twigs: dict[str, list[Twig]] = {}
    stacks: dict[str, tuple[str, ...]] = {}
    weight: dict[str, float] = {}
    beside = _beside(tree)
    for depth, name in enumerate(tree.upwards()[::-1]):
        weight[name] = -depth
        inputs = [i for i in _inputs(tree, name) if i not in beside.get(name, ())]
        single = [i for i in inputs if isinstance(tree.by_id[i], PrimaryEvent)]
        twigs[name] = [Twig(i) for i in inputs if i not in single]
        if most is None or len(single) <= _MOST_ABREAST:
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
    stacks = True
    gaps = Gaps(within=14, between=22)

    def __init__(
        self,
        nodes: Mapping[str, Node],
        stacked: Mapping[str, tuple[str, ...]],
        beside: Mapping[str, tuple[str, ...]],
        squeeze: float,
    ) -> None:
        self._nodes = nodes
        self._stacked = stacked
        self._squeeze = squeeze
        self._boxes = {i: shapes.measure(_numbered(n), squeeze) for i, n in nodes.items()}
        self._beside = {
            gate: [self._boxes[i] for i in conditions] for gate, conditions in beside.items()
        }

    def size(self, cell: Cell) -> Size:
        rows = self._rows(cell)
        if rows:
            high = sum(box.height + _step(cell) for box, _ in rows) + _step(cell)
            return Size(_INDENT + rows[0][0].width + _SIDE, high)
        box = self._boxes[cell.target]
        if not cell.full:
            # Below a connector's triangle stands where it leads.
            return Size(box.width, box.height + HEIGHT + _STEP + NOTE_SIZE * 2.5)
        conditions = self._beside.get(cell.target, [])
        half = max((HALF + _ASIDE + one.width for one in conditions), default=0.0)
        return Size(max(box.width, 2 * half), box.height + self._band(cell) + _STEP)

    def _band(self, cell: Cell) -> float:
        """Height of what stands below a box: the symbol, and conditions beside it."""
        return max(HEIGHT, sum(one.height + _STEP for one in self._beside.get(cell.target, [])))

    def _rows(
        self, cell: Cell, signs: Signs | None = None, page: int = 0
    ) -> list[tuple[MeasuredNode, Gate]]:
        """What a stack holds, each with its symbol: single causes, or ways to gates elsewhere."""
        rows: list[tuple[MeasuredNode, Gate]] = [
            (self._boxes[i], self._nodes[i].gate) for i in self._stacked.get(cell.target, ())
        ]
        for way in cell.held:
            rows.append((self._way(self._nodes[way.target], way, signs, page), "transfer"))
        return rows

    def _way(self, node: Node, cell: Cell, signs: Signs | None, page: int) -> MeasuredNode:
        """The box of a node that is drawn elsewhere, and says where."""
        # Room for any number is kept before the numbers are known.
        number, where = ("000", "page 00") if signs is None else _where(cell, signs, page)
        note = ", ".join(part for part in (node.note, f"to {number}, {where}") if part)
        return shapes.measure(replace(_numbered(node, number), note=note), self._squeeze)

    def words(self, cell: Cell) -> str:
        if cell.held:
            names: Sequence[str] = [way.target for way in cell.held]
        else:
            names = self._stacked.get(cell.target, (cell.target,))
        if cell.full and cell.target in self._beside:
            names = [*names, *(box.node.id for box in self._beside[cell.target])]
        return "; ".join(" ".join(self._nodes[i].lines()) for i in names)

    def title(self, target: str) -> str:
        return self._nodes[target].title

    def tells(self, target: str) -> Role:
        return ""

    def entry(self, cell: Cell, corner: Point) -> Point:
        if cell.held or cell.target in self._stacked:
            return corner[0] + _INDENT / 2, corner[1]
        return corner[0] + self.size(cell).width / 2, corner[1]

    def exit(self, cell: Cell, corner: Point) -> Point:
        size = self.size(cell)
        sag = HEIGHT * 0.15 if self._nodes[cell.target].gate == "or" else 0.0
        low = (self._band(cell) - HEIGHT) / 2
        return corner[0] + size.width / 2, corner[1] + size.height - low - sag

    def marks(self, cell: Cell, corner: Point, signs: Signs, page: int) -> list[Mark]:
        rows = self._rows(cell, signs, page)
        if rows:
            return self._stack(cell, rows, corner, signs)
        node = self._nodes[cell.target]
        size = self.size(cell)
        box = self._boxes[cell.target]
        x, y = corner
        middle = x + size.width / 2
        foot = y + box.height
        low = foot + _STEP + ((self._band(cell) - HEIGHT) / 2 if cell.full else 0.0)
        marks: list[Mark] = [polyline([(middle, foot), (middle, low)], width=1.1)]
        if cell.full and cell.target in self._beside:
            marks += self._conditions(cell, (middle, foot + _STEP))
        marks += symbol(node.gate if cell.full else "transfer", middle, low)
        number, where = _where(cell, signs, page)
        shown = shapes.measure(_numbered(node, number), self._squeeze)
        marks += shapes.draw(shown, middle - box.width / 2, y)
        if not cell.full:
            marks += _below([f"to {number}", where], middle, foot + _STEP + HEIGHT)
            marks.append(Link(*corner, *size, signs.page[(cell.target, 0)]))
        elif not cell.twig:
            marks += self._origin(cell, (middle, low), signs, page)
        return marks

    def _conditions(self, cell: Cell, place: Point) -> list[Mark]:
        """Beside an inhibit gate, what must hold; `place` is the top of the band's middle."""
        boxes = self._beside[cell.target]
        x, y = place
        level = y + self._band(cell) / 2
        top = level - sum(box.height + _STEP for box in boxes) / 2 + _STEP / 2
        marks: list[Mark] = []
        for box in boxes:
            start, end = (x + HALF, level), (x + HALF + _ASIDE, top + box.height / 2)
            marks.append(polyline([start, end], width=1.1))
            marks += shapes.draw(box, end[0], top)
            top += box.height + _STEP
        return marks

    def _origin(self, cell: Cell, place: Point, signs: Signs, page: int) -> list[Mark]:
        """Beside the top of a piece, the triangle of where it comes from."""
        origins = list(dict.fromkeys(signs.origins.get((cell.target, cell.start), ())))
        if not origins:
            return []
        x, y = place
        # Conditions stand to the right.
        side = -1 if cell.target in self._beside else 1
        marks = symbol("transfer", x + side * 30, y + 8, 0.5)
        edge = HALF if cell.target in self._beside else 13.5
        marks.append(polyline([(x + side * edge, y + 16), (x + side * 26.5, y + 16)], width=1.1))
        lines = ["from " + ", ".join(str(signs.number[i]) for i in origins[:3])]
        if len(origins) == 1:
            lines.append(signs.where(origins[0], 0, page))
            left = x + 22 if side > 0 else x - 22 - 60
            marks.append(Link(left, y + 4, 60, 26, signs.page[(origins[0], 0)]))
        anchor: Anchor = "start" if side > 0 else "end"
        for index, line in enumerate(lines):
            at = (x + side * 42, y + 14 + index * 11.5)
            marks.append(Text(*at, line, NOTE_SIZE, anchor, colour=GREY, role="fixed"))
        return marks

    def _stack(
        self, cell: Cell, rows: Sequence[tuple[MeasuredNode, Gate]], corner: Point, signs: Signs
    ) -> list[Mark]:
        x, y = corner
        trunk = x + _INDENT / 2
        marks: list[Mark] = []
        top = y + _step(cell)
        last = y
        for index, (box, sign) in enumerate(rows):
            middle = top + box.height / 2
            left = x + _INDENT
            marks.append(polyline([(trunk, middle), (left, middle)], width=1.1))
            marks += shapes.draw(box, left, top)
            edge = left + box.width
            marks.append(polyline([(edge, middle), (edge + 5, middle)], width=1.1))
            marks += symbol(sign, edge + 14, middle - HEIGHT * 0.3, 0.6)
            if cell.held:
                there = signs.page[(cell.held[index].target, 0)]
                marks.append(Link(left, top, box.width + _SIDE, box.height, there))
            last = middle
            top += box.height + _step(cell)
        return [polyline([(trunk, y), (trunk, last)], width=1.1), *marks]


class _Lying(_Artist):
    """The same from left to right: beside each box its symbol, and causes one below the other."""

    across = True
    stacks = False
    gaps = Gaps(within=6, between=22)

    def size(self, cell: Cell) -> Size:
        up, down = self._spread(cell)
        return Size(self._box(cell).width + (_STEP + HEIGHT if cell.below else _SIDE), up + down)

    def _box(self, cell: Cell, signs: Signs | None = None, page: int = 0) -> MeasuredNode:
        node = self._nodes[cell.target]
        if cell.full:
            if not cell.below:
                return self._boxes[cell.target]
            number = "0" if signs is None else str(signs.number[cell.target])
            return shapes.measure(_numbered(node, number), self._squeeze)
        if cell.start:
            node = replace(node, title=f"{node.title}: the rest")
        return self._way(node, cell, signs, page)

    def _spread(self, cell: Cell) -> tuple[float, float]:
        """How far a cell reaches up and down from the line that arrives at it."""
        half = self._box(cell).height / 2
        if not cell.below:
            return half, half
        up = max(half, HALF)
        down = max(up, self._foot(cell))
        conditions = self._beside.get(cell.target, [])
        if conditions:
            down = self._foot(cell) + _ASIDE + sum(one.height + _STEP for one in conditions)
        return up, down

    def _foot(self, cell: Cell) -> float:
        """How far down its box goes, with what stands below the top of a piece."""
        return max(self._box(cell).height / 2, HALF) + (0.0 if cell.twig else _ORIGIN)

    def entry(self, cell: Cell, corner: Point) -> Point:
        return corner[0], corner[1] + self._spread(cell)[0]

    def exit(self, cell: Cell, corner: Point) -> Point:
        x, y = self.entry(cell, corner)
        sag = HEIGHT * 0.15 if self._nodes[cell.target].gate == "or" else 0.0
        return x + self._box(cell).width + _STEP + HEIGHT - sag, y

    def marks(self, cell: Cell, corner: Point, signs: Signs, page: int) -> list[Mark]:
        x, y = self.entry(cell, corner)
        box = self._box(cell, signs, page)
        edge = x + box.width
        gate = self._nodes[cell.target].gate
        marks: list[Mark] = []
        if not cell.below:
            marks += [polyline([(edge, y), (edge + 5, y)], width=1.1)]
            marks += symbol(gate if cell.full else "transfer", edge + 14, y - HEIGHT * 0.3, 0.6)
            if not cell.full:
                there = signs.page[(cell.target, cell.start)]
                marks.append(Link(*corner, *self.size(cell), there))
        else:
            marks += [polyline([(edge, y), (edge + _STEP, y)], width=1.1)]
            marks += self._below_gate(cell, edge + _STEP, y)
            marks += symbol(gate, edge + _STEP, y, across=True)
        marks += shapes.draw(box, x, y - box.height / 2)
        if cell.below and not cell.twig:
            marks += self._from(cell, (x, y + box.height / 2), signs, page)
        return marks

    def _below_gate(self, cell: Cell, x: float, y: float) -> list[Mark]:
        """Below an inhibit gate, what must hold; (x, y) is the middle of the gate's left edge."""
        marks: list[Mark] = []
        top = y + self._foot(cell) + _ASIDE
        middle = x + HEIGHT / 2
        for box in self._beside.get(cell.target, []):
            marks.append(polyline([(middle, y), (middle, top)], width=1.1))
            marks += shapes.draw(box, x + HEIGHT - box.width, top)
            top += box.height + _STEP
        return marks

    def _from(self, cell: Cell, corner: Point, signs: Signs, page: int) -> list[Mark]:
        """Below the top of a piece, the triangle of where it comes from."""
        origins = list(dict.fromkeys(signs.origins.get((cell.target, cell.start), ())))
        if not origins:
            return []
        x, y = corner
        words = "from " + ", ".join(str(signs.number[i]) for i in origins[:3])
        marks = symbol("transfer", x + 8, y + 3, 0.4)
        if len(origins) == 1:
            words += f", {signs.where(origins[0], 0, page)}"
            marks.append(Link(x, y, 100, _ORIGIN, signs.page[(origins[0], 0)]))
        marks.append(Text(x + 18, y + 13, words, NOTE_SIZE, colour=GREY, role="fixed"))
        return marks


_ORIGIN = 18.0
"""Room in points below the top of a lying piece for where it comes from."""


def _step(cell: Cell) -> float:
    """Between the boxes of a stack: gates have a number on their corner."""
    return 2 * _STEP if cell.held else _STEP


def _where(cell: Cell, signs: Signs, page: int) -> tuple[str, str]:
    """The number of a gate, and where it is drawn in full."""
    return str(signs.number.get(cell.target)), signs.where(cell.target, 0, page)


def _numbered(node: Node, number: str = "0") -> Node:
    """Only what goes on below has a number."""
    return replace(node, badge=number) if node.gate in ("or", "and", "inhibit") else node


def _below(lines: list[str], x: float, y: float) -> list[Mark]:
    return [
        Text(x, y + (index + 1) * NOTE_SIZE * 1.15, line, NOTE_SIZE, "middle", False, GREY, "fixed")
        for index, line in enumerate(lines)
    ]
