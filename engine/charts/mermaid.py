"""A picture as a Mermaid flow chart, for notes and web pages that draw those."""

from __future__ import annotations

from stillflow.engine.charts.picture import Edge, NodeKind, Picture
from stillflow.engine.charts.text import escape

_BRACKETS: dict[NodeKind, tuple[str, str]] = {
    NodeKind.READING: ("[/", "/]"),
    NodeKind.LOOK: ("(", ")"),
    NodeKind.UNHELPFUL: ("(", ")"),
    NodeKind.RULE: ("[", "]"),
    NodeKind.DERIVED: ("{{", "}}"),
    NodeKind.FAULT: ("[[", "]]"),
    NodeKind.RULED_OUT: ("[", "]"),
    NodeKind.CHECK: ("(", ")"),
    NodeKind.FIX: ("[[", "]]"),
    NodeKind.HAND_OVER: ("([", "])"),
    NodeKind.CONNECTOR: (">", "]"),
    NodeKind.EVENT: ("[", "]"),
    NodeKind.CONDITION: ("([", "])"),
    NodeKind.STATION: ("[/", "/]"),
}
_ARROWS = {"for": "-->", "against": "-.-x", "plain": "---"}
_GATE_WORDS = {
    "or": "any one of these",
    "and": "all of these together",
    "inhibit": "only while the condition holds",
    "basic": "basic event",
    "undeveloped": "not taken further",
    "condition": "a condition",
    "transfer": "goes on elsewhere",
}


def mermaid_source(picture: Picture) -> str:
    """The picture in Mermaid's flow-chart language."""
    title = picture.title
    names = {node.id: f"n{index}" for index, node in enumerate(picture.nodes)}
    lines = [
        f"flowchart {'LR' if picture.across else 'TB'}",
        f"  accTitle: {escape(title.title, 'mermaid')}",
        f"  accDescr: {escape(picture.alt, 'mermaid')}",
        "  classDef dotted stroke-dasharray:2 3",
        "  classDef dashed stroke-dasharray:6 4",
        f'  heading["{_joined([title.title, title.subtitle, title.footer()])}"]',
    ]
    for node in picture.nodes:
        words = node.lines()
        if node.gate:
            words.append(f"({_GATE_WORDS[node.gate]})")
        opening, closing = _BRACKETS[node.kind]
        lines.append(f'  {names[node.id]}{opening}"{_joined(words)}"{closing}')
        if node.kind is NodeKind.UNHELPFUL:
            lines.append(f"  class {names[node.id]} dotted")
        elif node.kind in (NodeKind.RULED_OUT, NodeKind.HAND_OVER):
            lines.append(f"  class {names[node.id]} dashed")
    lines += [_edge(edge, names) for edge in picture.edges]
    return "\n".join(lines) + "\n"


def _edge(edge: Edge, names: dict[str, str]) -> str:
    label = f'|"{escape(edge.label, "mermaid")}"|' if edge.label.strip() else ""
    return f"  {names[edge.tail]} {_ARROWS[edge.line]}{label} {names[edge.head]}"


def _joined(lines: list[str]) -> str:
    return "<br/>".join(escape(line, "mermaid") for line in lines if line) or " "
