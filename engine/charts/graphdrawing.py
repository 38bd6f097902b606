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
_FAN = (24.0, 4.0, 84.0)
"""Room for arrows to part in: least, for each arrow, and most, in points."""
_SQUEEZES = (1.0, 0.88, 0.76, 0.66, 1.25, 1.5, 1.8, 2.2)
"""Widths of the boxes to try on a given paper; the one that keeps its words largest is taken."""


@dataclass(frozen=True)
class _Label:
    """The words on arrows, laid out as a small box from which the arrows part.

    Arrows that leave one box with the same words share them, so that a rule that speaks for five
    faults says so once.
    """

    id: str
    edges: tuple[Edge, ...]
    lines: tuple[str, ...]
    width: float
    height: float


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
    labels = _labels(picture, squeeze)
    # The arrows into the last column part within the labels' column, which is wider for it.
    least, each, most = _FAN
    fan = min(least + each * sum(len(label.edges) for label in labels), most)
    widest = max((label.width for label in labels), default=0.0)
    sizes.update({label.id: Size(widest + 1.4 * fan, label.height) for label in labels})
    inset = 0.4 * fan
    joined = _joined(picture, labels)
    placed = lay_out(joined, sizes, _GAPS)
    corners = dict(placed.corners)
    _stack_loose(picture, corners, sizes)
    routes = dict(zip(joined.edges, placed.routes, strict=True))
    drawing = _Drawing(corners, sizes, routes, inset)
    titles = {node.id: " ".join(node.lines()) for node in picture.nodes}
    things: list[tuple[str, list[Mark]]] = [("", drawing.captions(picture, captions))]
    for edge in picture.edges:
        words = " → ".join(t for t in (titles[edge.tail], edge.label, titles[edge.head]) if t)
        label = next((one for one in labels if edge in one.edges), None)
        marks = drawing.arrow(edge) if label is None else drawing.parting(edge, label, labels)
        things.append((words, marks))
    things += [("", drawing.stem(label)) for label in labels]
    for node in picture.nodes:
        things.append((titles[node.id], shapes.draw(measured[node.id], *corners[node.id])))
    lowered = [(w, [moved(m, 0, _CAPTION_HEIGHT) for m in marks]) for w, marks in things]
    room = Room(
        max((x + sizes[i].width for i, (x, _) in corners.items()), default=1.0),
        max((y + sizes[i].height for i, (_, y) in corners.items()), default=1.0) + _CAPTION_HEIGHT,
    )
    sheet = Sheet(picture.title, picture.alt, kind_key(picture.kinds()) + _key(picture), paper)
    return sheet.compose(lowered, room)


def _labels(picture: Picture, squeeze: float) -> list[_Label]:
    shared: dict[Edge, list[Edge]] = {}
    for edge in picture.edges:
        if edge.label:
            shared.setdefault(replace(edge, head=""), []).append(edge)
    labels = []
    for index, (alike, edges) in enumerate(shared.items()):
        lines = tuple(wrap(alike.label, _LABEL_ROOM * squeeze, NOTE_SIZE))
        wide = max((width(line, NOTE_SIZE) for line in lines), default=0.0) + 6
        high = len(lines) * NOTE_SIZE * LEADING + 2
        labels.append(_Label(f"\x00{index}", tuple(edges), lines, wide, high))
    return labels


def _joined(picture: Picture, labels: list[_Label]) -> Picture:
    """The picture to lay out: words on arrows are nodes in a column of their own."""
    touched = {end for edge in picture.edges for end in (edge.tail, edge.head)}
    edges = [edge for edge in picture.edges if not edge.label]
    for label in labels:
        edges.append(Edge(label.edges[0].tail, label.id))
        edges += [Edge(label.id, edge.head) for edge in label.edges]
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
    inset: float
    """How far the words of arrows stand from the left of their boxes, in points."""

    def captions(self, picture: Picture, captions: Mapping[Kind, str]) -> list[Mark]:
        kinds = {node.id: node.kind for node in picture.nodes}
        marks: list[Mark] = []
        for column in picture.columns:
            words = captions.get(kinds[column[0]], "")
            centre = self.corners[column[0]][0] + self.sizes[column[0]].width / 2
            place = Text(centre, 12 - _CAPTION_HEIGHT, words, TITLE_SIZE, "middle", True, GREY)
            marks.append(place)
        return marks

    def arrow(self, edge: Edge) -> list[Mark]:
        """An arrow without words."""
        route = self.routes[edge]
        return arrow(route.curve, route.tip, edge.line, _weight(edge))

    def stem(self, label: _Label) -> list[Mark]:
        """The line from a box to the words that its arrows share, and the words."""
        first = label.edges[0]
        route = self.routes[Edge(first.tail, label.id)]
        x, y = self.corners[label.id]
        end = (x + self.inset, y + label.height / 2)
        start = route.curve[0]
        if x - start[0] <= _GAPS.between + 1:
            # From the next column: nothing stands in between, and the whole gap can be used.
            curve = curve_between(start, end)
        else:
            curve = (*route.curve, route.curve[-1], end, end)
        marks: list[Mark] = [line_along(curve, first.line, _weight(first))]
        for index, line in enumerate(label.lines):
            baseline = y + (index + 1) * NOTE_SIZE * LEADING - 2.5
            marks.append(Text(end[0] + label.width / 2, baseline, line, NOTE_SIZE, "middle"))
        return marks

    def parting(self, edge: Edge, label: _Label, labels: list[_Label]) -> list[Mark]:
        """The arrow from its words to the box it leads to."""
        x, y = self.corners[label.id]
        start = (x + self.inset + label.width, y + label.height / 2)
        end = (self.corners[edge.head][0], self._arrival(edge, label, labels))
        return arrow(curve_between(start, (end[0] - 8, end[1])), end, edge.line, _weight(edge))

    def _arrival(self, edge: Edge, label: _Label, labels: list[_Label]) -> float:
        """Arrows into one box arrive side by side, in the order in which their words stand."""
        arriving = [one for one in labels if any(e.head == edge.head for e in one.edges)]
        arriving.sort(key=lambda one: (self.corners[one.id][1], one.id))
        top, high = self.corners[edge.head][1], self.sizes[edge.head].height
        return top + high * (arriving.index(label) + 1) / (len(arriving) + 1)


def _weight(edge: Edge) -> float:
    """Width of an arrow's line in points."""
    return 0.6 + 0.6 * edge.weight


def _key(picture: Picture) -> tuple[KeyItem, ...]:
    used = {edge.line for edge in picture.edges}
    entries: list[tuple[str, Line]] = []
    if "for" in used:
        entries.append(("speaks for; thicker is stronger", "for"))
    if "against" in used:
        entries.append(("speaks against", "against"))
    return line_key(entries)
