"""A picture as Graphviz source: what is laid out here, and what people get as `dot`.

Every box has its measured size written into it, so that the same source is laid out by us and
can be drawn by any Graphviz. Reading positions back is left to `layout`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from stillflow.engine.charts import shapes
from stillflow.engine.charts.picture import Edge, Node, NodeKind, Picture
from stillflow.engine.charts.shapes import NOTE_SIZE
from stillflow.engine.charts.text import LEADING, clean, escape, wrap
from stillflow.engine.charts.tidy import Gaps, Size

_LABEL_ROOM = 104.0

_SHAPES: dict[NodeKind, dict[str, str]] = {
    NodeKind.READING: {"shape": "note"},
    NodeKind.LOOK: {"shape": "box", "style": "rounded"},
    NodeKind.UNHELPFUL: {"shape": "box", "style": "rounded,dotted", "fontcolor": shapes.GREY},
    NodeKind.RULE: {"shape": "box"},
    NodeKind.DERIVED: {"shape": "hexagon"},
    NodeKind.FAULT: {"shape": "box", "peripheries": "2"},
    NodeKind.RULED_OUT: {"shape": "box", "style": "dashed", "fontcolor": shapes.GREY},
    NodeKind.CHECK: {"shape": "box", "style": "rounded"},
    NodeKind.FIX: {"shape": "box", "peripheries": "2"},
    NodeKind.HAND_OVER: {"shape": "octagon", "style": "dashed"},
    NodeKind.CONNECTOR: {"shape": "cds"},
    NodeKind.EVENT: {"shape": "box"},
    NodeKind.CONDITION: {"shape": "ellipse"},
    NodeKind.STATION: {"shape": "note"},
}
_LINES = {
    "for": {"style": "solid", "arrowhead": "normal"},
    "against": {"style": "dashed", "arrowhead": "tee"},
    "plain": {"style": "solid", "arrowhead": "none"},
}
_GATE_WORDS = {
    "or": "[any one of these]",
    "and": "[all of these together]",
    "inhibit": "[only while the condition holds]",
    "basic": "[basic event]",
    "undeveloped": "[not taken further]",
    "condition": "[a condition]",
    "transfer": "[goes on elsewhere]",
}


def dot_source(
    picture: Picture, sizes: Mapping[str, Size] | None = None, gaps: Gaps | None = None
) -> str:
    """The picture in the DOT language.

    Args:
        picture: what to write.
        sizes: size of each node's box by id, where it is not the measured one.
        gaps: distances to keep.
    """
    import graphviz

    gaps = gaps or Gaps()
    names = {node.id: f"n{index}" for index, node in enumerate(picture.nodes)}
    graph = graphviz.Digraph(
        comment=clean(picture.title.title),
        graph_attr={
            "rankdir": "LR" if picture.across else "TB",
            "nodesep": _inches(gaps.within),
            "ranksep": _inches(gaps.between),
            "ordering": "" if picture.columns else "out",
            "fontname": "Helvetica",
            "labelloc": "t",
            "label": _lines([picture.title.title, picture.title.subtitle, picture.title.footer()]),
        },
        node_attr={"fontname": "Helvetica", "fontsize": str(NOTE_SIZE), "fixedsize": "true"},
        edge_attr={"fontname": "Helvetica", "fontsize": str(NOTE_SIZE)},
    )
    for node in picture.nodes:
        size = (sizes or {}).get(node.id)
        if size is None:
            measured = shapes.measure(node)
            # What a gate does is a line of words here, not a symbol.
            extra = NOTE_SIZE * LEADING if node.gate else 0.0
            size = Size(measured.width, measured.height + extra)
        graph.node(
            names[node.id],
            label=_label(node),
            width=_inches(size.width),
            height=_inches(size.height),
            **_SHAPES[node.kind],
        )
    for index, edge in enumerate(picture.edges):
        graph.edge(names[edge.tail], names[edge.head], id=f"e{index}", **_edge(edge, picture))
    _add_columns(graph, picture.columns, names)
    for first, second in picture.order:
        graph.edge(names[first], names[second], style="invis")
    return str(graph.source)


def _add_columns(graph: object, columns: Iterable[tuple[str, ...]], names: dict[str, str]) -> None:
    import graphviz

    assert isinstance(graph, graphviz.Digraph)
    filled = [column for column in columns if column]
    for index, column in enumerate(filled):
        rank = "min" if index == 0 else "max" if index == len(filled) - 1 else "same"
        with graph.subgraph() as part:
            part.attr(rank=rank)
            for identifier in column:
                part.node(names[identifier])


def _edge(edge: Edge, picture: Picture) -> dict[str, str]:
    attributes = {
        **_LINES[edge.line],
        "penwidth": str(edge.weight),
        "tailport": "e" if picture.across else "s",
        "headport": "w" if picture.across else "n",
    }
    if edge.label:
        attributes["label"] = _lines(wrap(edge.label, _LABEL_ROOM, NOTE_SIZE))
    return attributes


def _label(node: Node) -> str:
    room = shapes.LOOKS[node.kind].width - 20
    lines = [part for line in node.lines() for part in wrap(line, room, NOTE_SIZE)]
    if node.gate:
        lines.append(_GATE_WORDS[node.gate])
    return _lines(lines)


def _lines(lines: Iterable[str]) -> str:
    return "".join(escape(line, "dot") + "\\l" for line in lines if line)


def _inches(points: float) -> str:
    return f"{points / 72:.4f}"
