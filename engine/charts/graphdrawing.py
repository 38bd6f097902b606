"""A picture drawn in columns as Graphviz lays it out, with the words of each arrow on the arrow.

Used for the reasoning path. Trees, which have their own straight lines and pages, are in `trees`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from stillflow.engine.charts import shapes
from stillflow.engine.charts.arrows import arrow, curve_between, line_along
from stillflow.engine.charts.layout import Route, lay_out
from stillflow.engine.charts.page import KeyItem, PaperName, Room, Sheet, kind_key, line_key
from stillflow.engine.charts.picture import Edge, Kind, Line, Node, Picture
from stillflow.engine.charts.scene import Mark, Point, Scene, Text, moved
from stillflow.engine.charts.shapes import GREY, NOTE_SIZE, TITLE_SIZE
from stillflow.engine.charts.text import LEADING, width, wrap
from stillflow.engine.charts.tidy import Gaps, Size

_GAPS = Gaps(within=11, between=28)
_CAPTION_HEIGHT = 22.0
_LABEL_ROOM = 78.0
_SQUEEZES = (1.0, 0.88, 0.76, 0.66)
"""Widths of the boxes to try on a given paper; the one that keeps its words largest is taken."""


@dataclass(frozen=True)
class _Label:
    """The words on one arrow, laid out as a small box that the arrow passes through."""

    id: str
    edge: Edge
    lines: tuple[str, ...]
    size: Size


def draw_graph(
    picture: Picture, captions: Mapping[Kind, str], paper: PaperName | None
) -> list[Scene]:
    """The picture on one sheet.

    Args:
        picture: what to draw; nodes without arrows stand at the foot of their column.
        captions: words over the column whose first node is of that kind.
        paper: the sheet to fit it on.

    Raises:
        SetupError: there is no Graphviz program.
    """
    squeezes = (1.0,) if paper is None else _SQUEEZES
    tries = [_draw(picture, captions, paper, squeeze) for squeeze in squeezes]
    return [max(tries, key=Scene.smallest_text)]


def _draw(
    picture: Picture, captions: Mapping[Kind, str], paper: PaperName | None, squeeze: float
) -> Scene:
    measured = {node.id: shapes.measure(node, squeeze) for node in picture.nodes}
    sizes = {i: Size(m.width, m.height) for i, m in measured.items()}
    labels = [
        _label(index, edge, squeeze) for index, edge in enumerate(picture.edges) if edge.label
    ]
    sizes.update({label.id: label.size for label in labels})
    joined = _joined(picture, labels)
    placed = lay_out(joined, sizes, _GAPS)
    corners = dict(placed.corners)
    _stack_loose(picture, corners, sizes)
    drawing = _Drawing(corners, sizes, dict(zip(joined.edges, placed.routes, strict=True)))
    titles = {node.id: " ".join(node.lines()) for node in picture.nodes}
    things: list[tuple[str, list[Mark]]] = [("", drawing.captions(picture, captions))]
    by_edge = {label.edge: label for label in labels}
    for edge in picture.edges:
        words = " → ".join(t for t in (titles[edge.tail], edge.label, titles[edge.head]) if t)
        things.append((words, drawing.arrow(edge, by_edge.get(edge), labels)))
    for node in picture.nodes:
        things.append((titles[node.id], shapes.draw(measured[node.id], *corners[node.id])))
    lowered = [(w, [moved(m, 0, _CAPTION_HEIGHT) for m in marks]) for w, marks in things]
    room = Room(
        max((x + sizes[i].width for i, (x, _) in corners.items()), default=1.0),
        max((y + sizes[i].height for i, (_, y) in corners.items()), default=1.0) + _CAPTION_HEIGHT,
    )
    sheet = Sheet(picture.title, picture.alt, kind_key(picture.kinds()) + _key(picture), paper)
    return sheet.compose(lowered, room)


def _label(index: int, edge: Edge, squeeze: float) -> _Label:
    lines = tuple(wrap(edge.label, _LABEL_ROOM * squeeze, NOTE_SIZE))
    wide = max((width(line, NOTE_SIZE) for line in lines), default=0.0) + 6
    return _Label(f"\x00{index}", edge, lines, Size(wide, len(lines) * NOTE_SIZE * LEADING + 2))


def _joined(picture: Picture, labels: list[_Label]) -> Picture:
    """The picture to lay out: words on arrows are nodes in a column of their own."""
    by_edge = {label.edge: label for label in labels}
    touched = {end for edge in picture.edges for end in (edge.tail, edge.head)}
    edges = []
    for edge in picture.edges:
        if edge not in by_edge:
            edges.append(edge)
            continue
        middle = by_edge[edge].id
        edges.append(Edge(edge.tail, middle))
        edges.append(Edge(middle, edge.head))
    nodes = [node for node in picture.nodes if node.id in touched]
    nodes += [Node(label.id, Kind.CONNECTOR) for label in labels]
    columns = [tuple(i for i in column if i in touched) for column in picture.columns]
    columns.insert(-1, tuple(label.id for label in labels))
    order = tuple(pair for pair in picture.order if touched.issuperset(pair))
    return replace(
        picture, nodes=tuple(nodes), edges=tuple(edges), columns=tuple(columns), order=order
    )


def _stack_loose(picture: Picture, corners: dict[str, Point], sizes: Mapping[str, Size]) -> None:
    """Give the nodes that no arrow touches a place at the foot of their column."""
    left = 0.0
    for column in picture.columns:
        bound = [i for i in column if i in corners]
        if bound:
            left = min(corners[i][0] for i in bound)
        bottom = max((corners[i][1] + sizes[i].height for i in bound), default=-_GAPS.within)
        for loose in (i for i in column if i not in bound):
            corners[loose] = (left, bottom + _GAPS.within)
            bottom = corners[loose][1] + sizes[loose].height
        widest = max((sizes[i].width for i in column), default=0.0)
        left += widest + _GAPS.between


@dataclass(frozen=True)
class _Drawing:
    corners: Mapping[str, Point]
    sizes: Mapping[str, Size]
    routes: Mapping[Edge, Route]

    def captions(self, picture: Picture, captions: Mapping[Kind, str]) -> list[Mark]:
        kinds = {node.id: node.kind for node in picture.nodes}
        marks: list[Mark] = []
        for column in picture.columns:
            words = captions.get(kinds[column[0]], "")
            centre = self.corners[column[0]][0] + self.sizes[column[0]].width / 2
            place = Text(centre, 12 - _CAPTION_HEIGHT, words, TITLE_SIZE, "middle", True, GREY)
            marks.append(place)
        return marks

    def arrow(self, edge: Edge, label: _Label | None, labels: list[_Label]) -> list[Mark]:
        weight = 0.6 + 0.6 * edge.weight
        if label is None:
            route = self.routes[edge]
            return arrow(route.curve, route.tip, edge.line, weight)
        route = self.routes[Edge(edge.tail, label.id)]
        x, y = self.corners[label.id]
        middle = y + label.size.height / 2
        marks: list[Mark] = [line_along(route.curve, edge.line, weight)]
        high = NOTE_SIZE * LEADING
        for index, line in enumerate(label.lines):
            centre = x + label.size.width / 2
            marks.append(Text(centre, y + (index + 1) * high - 2.5, line, NOTE_SIZE, "middle"))
        start = (x + label.size.width, middle)
        end = (self.corners[edge.head][0], self._arrival(edge, labels))
        marks += arrow(curve_between(start, (end[0] - 8, end[1])), end, edge.line, weight)
        return marks

    def _arrival(self, edge: Edge, labels: list[_Label]) -> float:
        """Arrows into one box arrive side by side, in the order in which their words stand."""
        heights = sorted(
            (self.corners[other.id][1], other.edge.tail)
            for other in labels
            if other.edge.head == edge.head
        )
        own = next(o.id for o in labels if o.edge == edge)
        place = heights.index((self.corners[own][1], edge.tail))
        top, high = self.corners[edge.head][1], self.sizes[edge.head].height
        return top + high * (place + 1) / (len(heights) + 1)


def _key(picture: Picture) -> tuple[KeyItem, ...]:
    used = {edge.line for edge in picture.edges}
    entries: list[tuple[str, Line]] = []
    if "for" in used:
        entries.append(("speaks for; thicker is stronger", "for"))
    if "against" in used:
        entries.append(("speaks against", "against"))
    return line_key(entries)
