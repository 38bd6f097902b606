"""The neutral picture every chart is made of: nodes, edges, columns and a title block.

A picture says what is shown and what it means; it knows no coordinates and no file format.
`dotsource`, `mermaid` and `layout` read it. What goes into a picture is left to the charts.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from stillflow.engine.base import FiniteModel


class NodeKind(StrEnum):
    """What a node is. Each kind has its own outline, so that colour is never needed."""

    READING = "reading"
    LOOK = "look"
    UNHELPFUL = "unhelpful"
    RULE = "rule"
    DERIVED = "derived"
    FAULT = "fault"
    RULED_OUT = "ruled-out"
    CHECK = "check"
    FIX = "fix"
    HAND_OVER = "hand-over"
    CONNECTOR = "connector"
    EVENT = "event"
    CONDITION = "condition"
    STATION = "station"


KIND_WORDS: dict[NodeKind, str] = {
    NodeKind.READING: "a reading taken",
    NodeKind.LOOK: "something looked at or tried",
    NodeKind.UNHELPFUL: "asked, but it told nothing apart",
    NodeKind.RULE: "a rule and its reason",
    NodeKind.DERIVED: "what follows from it",
    NodeKind.FAULT: "a fault and how likely it is",
    NodeKind.RULED_OUT: "ruled out: less than 1 %",
    NodeKind.CHECK: "a check to do",
    NodeKind.FIX: "the fix",
    NodeKind.HAND_OVER: "ends without a fix",
    NodeKind.CONNECTOR: "goes on elsewhere",
    NodeKind.EVENT: "an event",
    NodeKind.CONDITION: "a condition",
    NodeKind.STATION: "a place to put the gauge",
}
"""What the key of a chart says of each kind."""

Line = Literal["for", "against", "plain"]
ARROW_WORDS: dict[Line, str] = {
    "for": "speaks for; thicker is stronger",
    "against": "speaks against",
}
"""What the key of a chart says of the arrows that speak."""

Gate = Literal["", "or", "and", "inhibit", "basic", "undeveloped", "condition", "transfer"]


class TitleBlock(FiniteModel):
    """What stands on the edge of every chart.

    `date` is the day the chart is of (the visit's, or today's); `filters` are the choices that
    narrowed the chart down, each as one readable phrase.
    """

    title: str
    subtitle: str = ""
    date: datetime.date | None = None
    rules_version: str = ""
    filters: tuple[str, ...] = ()

    def footer(self) -> str:
        """The line at the foot: date, version of the rules, filters used."""
        parts = [self.date.isoformat()] if self.date else []
        if self.rules_version:
            parts.append(f"rules {self.rules_version}")
        parts.append(f"shown: {'; '.join(self.filters)}" if self.filters else "shown: everything")
        return " · ".join(parts)


@dataclass(frozen=True)
class Node:
    """One box.

    Attributes:
        id: unique in the picture.
        kind: what it is; chooses the outline.
        title: set in bold, first.
        text: set plain, below the title.
        note: small print, last.
        badge: a number in a circle on the corner (the order of asking, a step).
        bar: 0 to 1, drawn as a bar under the words; None for no bar.
        caution: what to beware of; drawn with a warning triangle.
        gate: the fault-tree symbol drawn below an event.
    """

    id: str
    kind: NodeKind
    title: str = ""
    text: str = ""
    note: str = ""
    badge: str = ""
    bar: float | None = None
    caution: str = ""
    gate: Gate = ""

    def lines(self) -> list[str]:
        """Everything the box says, as separate lines."""
        badge = f"{self.badge}. " if self.badge and self.title else self.badge
        caution = f"Caution: {self.caution}" if self.caution else ""
        return [t for t in (badge + self.title, self.text, caution, self.note) if t]


@dataclass(frozen=True)
class Edge:
    """One arrow. `line`: "for" solid with a point, "against" dashed with a bar, "plain" thin."""

    tail: str
    head: str
    label: str = ""
    line: Line = "plain"
    weight: int = 1


@dataclass(frozen=True)
class Picture:
    """A whole chart before layout.

    Attributes:
        title: the title block.
        alt: the chart in a sentence or two, for those who cannot see it.
        nodes: in reading order.
        edges: in reading order.
        across: left to right if true, top to bottom if not.
        columns: ids that stand in one column (or row), outermost first.
        order: pairs of one column of which the first stands above (or left of) the second.
    """

    title: TitleBlock
    alt: str
    nodes: tuple[Node, ...] = ()
    edges: tuple[Edge, ...] = ()
    across: bool = True
    columns: tuple[tuple[str, ...], ...] = ()
    order: tuple[tuple[str, str], ...] = ()

    def kinds(self) -> tuple[NodeKind, ...]:
        """The kinds that occur, in the order of `NodeKind`."""
        present = {node.kind for node in self.nodes}
        return tuple(kind for kind in NodeKind if kind in present)
