"""A picture drawn in columns as Graphviz lays it out, with the words of each arrow on the arrow.

Used for the reasoning path. Where to cut it into pages is decided in `graphpaging`; trees, which
have their own straight lines and pages, are in `trees`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from stillflow.engine.charts import shapes
from stillflow.engine.charts.arrows import arrow, curve_between, line_along
from stillflow.engine.charts.graphloose import BESIDE, GAPS, stack_loose
from stillflow.engine.charts.graphpaging import cut
from stillflow.engine.charts.layout import Route, lay_out
from stillflow.engine.charts.page import (
    KeyItem,
    OnPaper,
    Room,
    Sheet,
    arrow_key,
    kind_key,
    page_words,
)
from stillflow.engine.charts.picture import ARROW_WORDS, Edge, Node, NodeKind, Picture
from stillflow.engine.charts.scene import Mark, Point, Scene, Text, moved, stacked
from stillflow.engine.charts.shapes import GREY, NOTE_SIZE, TITLE_SIZE
from stillflow.engine.charts.text import LEADING, width, wrap
from stillflow.engine.charts.tidy import Size

_CAPTION_HEIGHT = 22.0
_LABEL_ROOM = 78.0
_ENOUGH_PAGES = 4
_SMALLER = 0.8
"""What words are made smaller to on a paper where they would take more than enough pages."""
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


def draw_graphs(
    pictures: Sequence[Picture], captions: Mapping[NodeKind, str], paper: OnPaper
) -> list[Scene]:
    """Pictures on one sheet, or each on as many of a paper as keep it legible.

    Args:
        pictures: what to draw, one after the other; nodes without arrows stand at the foot.
        captions: words over the column whose first node is of that kind.
        paper: the sheets to fit it on.

    Raises:
        SetupError: there is no Graphviz program.
    """
    if paper is None:
        return [stacked([_draw(one, captions, _sheet(one, paper), 1.0) for one in pictures])]
    parts = []
    for picture in pictures:
        sheet = _sheet(picture, paper)
        room = sheet.room()
        assert room is not None
        parts += [(sheet, part) for part in _parts(picture, room)]
    scenes = []
    for number, (sheet, part) in enumerate(parts, 1):
        page = page_words(number, len(parts))
        tries = (_draw(part, captions, sheet, squeeze, page) for squeeze in _SQUEEZES)
        scenes.append(max(tries, key=Scene.smallest_text))
    return scenes


def _sheet(picture: Picture, paper: OnPaper) -> Sheet:
    return Sheet(picture.title, picture.alt, kind_key(picture.kinds()) + _key(picture), paper)


def _parts(picture: Picture, room: Room) -> list[Picture]:
    """The parts to draw on a page each: as few as keep the words as large as they can be."""

    def parts(scale: float) -> list[Picture]:
        return cut(picture, lambda part: _scale(part, room) >= scale)

    found = parts(1.0)
    # One rule may need more than a page: then making the others larger only makes more pages.
    worst = min(_scale(part, room) for part in found)
    if worst < 1.0:
        found = parts(worst)
    return found if len(found) <= _ENOUGH_PAGES else parts(min(worst, _SMALLER))


def _scale(picture: Picture, room: Room) -> float:
    """About how large a picture can be drawn in a room, as a share of its own size."""
    scale = 0.0
    for squeeze in _SQUEEZES:
        wide = _LABEL_ROOM * squeeze + _FAN[2] + GAPS.between
        sizes = {n.id: shapes.measure(n, squeeze) for n in picture.nodes}
        touched = {end for edge in picture.edges for end in (edge.tail, edge.head)}
        loose = [sizes[i] for i in (picture.columns or ((),))[0] if i not in touched]
        stacks = []
        for index, column in enumerate(picture.columns):
            boxes = [sizes[i] for i in column if i in touched or index]
            if boxes:
                wide += max(box.width for box in boxes) + GAPS.between
            stacks.append(sum(box.height + GAPS.within for box in boxes))
        high = max(stacks, default=0.0) + _CAPTION_HEIGHT
        if loose and stacks[0] + sum(box.height + GAPS.within for box in loose) > max(stacks):
            abreast = max(int(wide // (loose[0].width + GAPS.within)), 1)
            high += sum(box.height + GAPS.within for box in loose) / abreast + _CAPTION_HEIGHT
        scale = max(scale, min(room.width / wide, room.height / high))
    return scale


def _draw(
    picture: Picture,
    captions: Mapping[NodeKind, str],
    sheet: Sheet,
    squeeze: float,
    page: str = "",
) -> Scene:
    measured = {node.id: shapes.measure(node, squeeze) for node in picture.nodes}
    sizes = {i: Size(m.width, m.height) for i, m in measured.items()}
    labels = _labels(picture, squeeze)
    # The arrows into the last column part within the labels' column, which is wider for it.
    least, each, most = _FAN
    fan = min(least + each * sum(len(label.edges) for label in labels), most)
    ends = _ends(picture) if labels else []
    widest = max([label.width for label in labels] + [sizes[i].width for i in ends], default=0.0)
    inset = 0.4 * fan
    spread = {label.id: Size(widest + 1.4 * fan, label.height) for label in labels}
    spread |= {i: Size(widest + 1.4 * fan, sizes[i].height) for i in ends}
    joined = _joined(picture, labels, ends)
    placed = lay_out(joined, {**sizes, **spread}, GAPS)
    corners = dict(placed.corners)
    corners.update({i: (corners[i][0] + inset, corners[i][1]) for i in ends})
    sizes.update({label.id: spread[label.id] for label in labels})
    foot = stack_loose(picture, corners, sizes)
    routes = dict(zip(joined.edges, placed.routes, strict=True))
    drawing = _Drawing(corners, sizes, routes, inset, widest if ends else 0.0)
    titles = {node.id: " ".join(node.lines()) for node in picture.nodes}
    things: list[tuple[str, list[Mark]]] = [("", drawing.captions(picture, captions))]
    if foot is not None:
        things[0][1].append(Text(0, foot, BESIDE, TITLE_SIZE, bold=True, colour=GREY))
    for edge in picture.edges:
        words = " → ".join(t for t in (titles[edge.tail], edge.label, titles[edge.head]) if t)
        label = next((one for one in labels if edge in one.edges), None)
        if label is not None:
            marks = drawing.parting(edge, label, labels)
        else:
            marks = drawing.to_end(edge) if edge.head in ends else drawing.arrow(edge)
        things.append((words, marks))
    things += [("", drawing.stem(label)) for label in labels]
    for node in picture.nodes:
        things.append((titles[node.id], shapes.draw(measured[node.id], *corners[node.id])))
    lowered = [(w, [moved(m, 0, _CAPTION_HEIGHT) for m in marks]) for w, marks in things]
    room = Room(
        max((x + sizes[i].width for i, (x, _) in corners.items()), default=1.0),
        max((y + sizes[i].height for i, (_, y) in corners.items()), default=1.0) + _CAPTION_HEIGHT,
    )
    return sheet.compose(lowered, room, page)


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


def _ends(picture: Picture) -> list[str]:
    """What follows from a rule and leads no further: it stands among the words of the arrows."""
    tails = {edge.tail for edge in picture.edges}
    heads = {edge.head for edge in picture.edges}
    kinds = {node.id: node.kind for node in picture.nodes}
    return [i for i in kinds if kinds[i] is NodeKind.DERIVED and i in heads and i not in tails]


def _joined(picture: Picture, labels: list[_Label], ends: Sequence[str]) -> Picture:
    """The picture to lay out: words on arrows are nodes in a column of their own."""
    touched = {end for edge in picture.edges for end in (edge.tail, edge.head)}
    edges = [edge for edge in picture.edges if not edge.label]
    for label in labels:
        edges.append(Edge(label.edges[0].tail, label.id))
        edges += [Edge(label.id, edge.head) for edge in label.edges]
    nodes = [node for node in picture.nodes if node.id in touched]
    nodes += [Node(label.id, NodeKind.CONNECTOR) for label in labels]
    inner = touched.difference(ends)
    columns = [tuple(i for i in column if i in inner) for column in picture.columns]
    columns.insert(-1, (*(label.id for label in labels), *ends))
    order = tuple(pair for pair in picture.order if touched.issuperset(pair))
    return replace(
        picture, nodes=tuple(nodes), edges=tuple(edges), columns=tuple(columns), order=order
    )


@dataclass(frozen=True)
class _Drawing:
    corners: Mapping[str, Point]
    sizes: Mapping[str, Size]
    routes: Mapping[Edge, Route]
    inset: float
    """How far the words of arrows stand from the left of their boxes, in points."""
    level: float = 0.0
    """Width in points over which arrows go on level after their words, past what follows."""

    def captions(self, picture: Picture, captions: Mapping[NodeKind, str]) -> list[Mark]:
        kinds = {node.id: node.kind for node in picture.nodes}
        marks: list[Mark] = []
        for column in picture.columns:
            words = captions.get(kinds[column[0]], "")
            first = min(column, key=lambda i: self.corners[i][0])
            centre = self.corners[first][0] + self.sizes[first].width / 2
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
        x, y = self.corners[label.id]
        end = (x + self.inset, y + label.height / 2)
        curve = self._way_in(self.routes[Edge(first.tail, label.id)], x, end)
        marks: list[Mark] = [line_along(curve, first.line, _weight(first))]
        for index, line in enumerate(label.lines):
            baseline = y + (index + 1) * NOTE_SIZE * LEADING - 2.5
            marks.append(Text(end[0] + label.width / 2, baseline, line, NOTE_SIZE, "middle"))
        return marks

    def to_end(self, edge: Edge) -> list[Mark]:
        """The line from a rule to what follows from it and leads no further."""
        x, y = self.corners[edge.head]
        end = (x, y + self.sizes[edge.head].height / 2)
        curve = self._way_in(self.routes[edge], x - self.inset, end)
        return arrow(curve, end, edge.line, _weight(edge))

    @staticmethod
    def _way_in(route: Route, left: float, end: Point) -> tuple[Point, ...]:
        start = route.curve[0]
        if left - start[0] <= GAPS.between + 1:
            # From the next column: nothing stands in between, and the whole gap can be used.
            return curve_between(start, end)
        return (*route.curve, route.curve[-1], end, end)

    def parting(self, edge: Edge, label: _Label, labels: list[_Label]) -> list[Mark]:
        """The arrow from its words to the box it leads to."""
        x, y = self.corners[label.id]
        start = (x + self.inset + label.width, y + label.height / 2)
        end = (self.corners[edge.head][0], self._arrival(edge, label, labels))
        turn = (max(start[0], x + self.inset + self.level), start[1])
        curve = (start, start, turn, *curve_between(turn, (end[0] - 8, end[1])))
        return arrow(curve, end, edge.line, _weight(edge))

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
    return tuple(arrow_key(words, line) for line, words in ARROW_WORDS.items() if line in used)
