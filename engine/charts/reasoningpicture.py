"""The reasoning path as a picture: which faults get a box, which column each box stands in.

The model is in `reasoning`; drawing is left to `graphdrawing`.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import replace

from stillflow.engine.base import in_percent, percent
from stillflow.engine.charts.chart import Chart
from stillflow.engine.charts.graphdrawing import draw_graphs
from stillflow.engine.charts.picture import Edge, Node, NodeKind, Picture
from stillflow.engine.charts.reasoning import PathFact, PathFault, ReasoningPath, Strength, focused

_WEIGHTS: dict[Strength, int] = {
    "computed": 2,
    "slight": 1,
    "substantial": 1,
    "strong": 2,
    "very-strong": 3,
    "decisive": 4,
}
_ARROW_WORDS: dict[Strength, str] = {
    "computed": "computed",
    "slight": "slightly",
    "substantial": "substantially",
    "strong": "strongly",
    "very-strong": "very strongly",
    "decisive": "decisively",
}


_CAPTIONS = {
    NodeKind.READING: "What was found",
    NodeKind.LOOK: "What was found",
    NodeKind.UNHELPFUL: "What was found",
    NodeKind.RULE: "Rules",
    NodeKind.DERIVED: "What follows",
    NodeKind.FAULT: "Faults",
    NodeKind.RULED_OUT: "Faults",
}


def reasoning_picture(path: ReasoningPath) -> Picture:
    """The path as a picture."""
    shown = _Shown(path)
    facts = sorted(path.facts, key=lambda f: (not f.helpful, f.asked or 0, f.id))
    nodes = [_fact(fact) for fact in facts]
    nodes += [
        Node(r.id, NodeKind.RULE, text=r.because, note=f"source: {r.source}" if r.source else "")
        for r in path.rules
    ]
    nodes += [Node(d.id, NodeKind.DERIVED, d.title) for d in path.derived]
    nodes += shown.nodes()
    return Picture(
        title=path.title,
        alt=_in_words(path, shown),
        nodes=tuple(nodes),
        edges=tuple(_edges(path, shown)),
        columns=_columns(path, nodes),
        order=shown.order(),
    )


class _Shown:
    """Which faults get a box of their own; the rest share one, as do those ruled out alike."""

    def __init__(self, path: ReasoningPath) -> None:
        likely = sorted(
            (f for f in path.faults if not f.ruled_out_by), key=lambda f: (-f.probability, f.id)
        )
        self.likely = [
            f
            for place, f in enumerate(likely)
            if place == 0 or f.against or (place < _MOST_BOXES and f.probability >= _WORTH_A_BOX)
        ]
        self.rest = [f for f in likely if f not in self.likely]
        self.groups: list[list[PathFault]] = []
        by_reason: dict[object, list[PathFault]] = {}
        for fault in path.faults:
            if not fault.ruled_out_by:
                continue
            arrows = frozenset(
                (k.tail, k.direction, k.strength) for k in path.links if k.head == fault.id
            )
            reason = (fault.ruled_out_by, arrows)
            if reason not in by_reason:
                by_reason[reason] = []
                self.groups.append(by_reason[reason])
            by_reason[reason].append(fault)
        self.box: dict[str, str] = {f.id: f.id for f in self.likely}
        self.box.update({f.id: group[0].id for group in self.groups for f in group})
        self.box.update({f.id: _REST for f in self.rest})

    def order(self) -> tuple[tuple[str, str], ...]:
        """The likelier above the less likely, and all of them above what is ruled out."""
        chain = [f.id for f in self.likely]
        pairs = list(itertools.pairwise(chain))
        pairs += [(chain[-1], group[0].id) for group in self.groups if chain]
        return tuple(pairs)

    def nodes(self) -> list[Node]:
        nodes = [
            Node(f.id, NodeKind.FAULT, f.title, chance, f.against, bar=f.probability)
            for f, chance in ((one, percent(one.probability)) for one in self.likely)
        ]
        if self.rest:
            total = sum(f.probability for f in self.rest)
            count = len(self.rest)
            title = f"{count} other faults" if count > 1 else "1 other fault"
            together = " together" if count > 1 else ""
            nodes.append(
                Node(_REST, NodeKind.FAULT, title, percent(total) + together, bar=min(total, 1.0))
            )
        for group in self.groups:
            title = "; ".join(f.title for f in group)
            nodes.append(
                Node(group[0].id, NodeKind.RULED_OUT, title, f"ruled out: {group[0].ruled_out_by}")
            )
        return nodes


_REST = "\x00rest"
_MOST_BOXES = 6
"""How many of the likeliest faults have a box of their own."""
_WORTH_A_BOX = 0.02
"""Below this probability a fault is gathered with the others."""


def _fact(fact: PathFact) -> Node:
    kind = NodeKind.READING if fact.share is not None else NodeKind.LOOK
    share = ""
    if fact.share is not None:
        share = f"{in_percent(fact.share)} of expected"
        if fact.expected:
            share += f" ({fact.expected})"
    return Node(
        fact.id,
        kind if fact.helpful else NodeKind.UNHELPFUL,
        fact.title,
        fact.found,
        share if fact.helpful else "told nothing apart",
        badge=str(fact.asked) if fact.asked else "",
        bar=fact.share,
    )


def _edges(path: ReasoningPath, shown: _Shown) -> Iterable[Edge]:
    drawn_into: dict[str, set[str]] = {}
    for link in path.links:
        drawn_into.setdefault(link.tail, set()).add(shown.box.get(link.head, link.head))
    done = set()
    for link in path.links:
        head = shown.box.get(link.head, link.head)
        if head == _REST:
            # Many weak arrows into the gathered faults would drown the ones that matter.
            if drawn_into[link.tail] != {_REST} or (link.tail, head) in done:
                continue
            done.add((link.tail, head))
            yield Edge(link.tail, head, "some of these", "plain")
            continue
        if (link.tail, head) in done:
            continue
        done.add((link.tail, head))
        if link.direction is None:
            yield Edge(link.tail, head)
            continue
        words = f"{_ARROW_WORDS[link.strength]} {link.direction}" if link.strength else ""
        weight = _WEIGHTS[link.strength] if link.strength else 1
        yield Edge(link.tail, head, words or link.direction, link.direction, weight)


def _columns(path: ReasoningPath, nodes: list[Node]) -> tuple[tuple[str, ...], ...]:
    """Facts first, faults last, and rules as far right as what they conclude allows.

    What follows from a rule and is used by no other stands beside the faults.
    """
    kinds = {node.id: node.kind for node in nodes}
    used = {link.tail for link in path.links}
    derived = {d.id for d in path.derived if d.id in used}
    inputs: dict[str, list[str]] = {}
    outputs: dict[str, list[str]] = {}
    for link in path.links:
        inputs.setdefault(link.head, []).append(link.tail)
        outputs.setdefault(link.tail, []).append(link.head)
    level: dict[str, int] = {}

    def depth(identifier: str) -> int:
        if identifier not in level:
            level[identifier] = 0
            above = [depth(i) for i in inputs.get(identifier, ())]
            level[identifier] = 1 + max(above, default=-1)
        return level[identifier]

    inner = [r.id for r in path.rules] + sorted(derived)
    last = max((depth(i) for i in inner), default=0)
    last += last % 2 == 0
    for rule in path.rules:
        if not derived.intersection(outputs.get(rule.id, ())):
            level[rule.id] = last
    columns: list[list[str]] = [[] for _ in range(last + 3)]
    for node in nodes:
        if node.kind in (NodeKind.FAULT, NodeKind.RULED_OUT):
            columns[-1].append(node.id)
        elif kinds[node.id] is NodeKind.DERIVED and node.id not in derived:
            columns[-2].append(node.id)
        elif kinds[node.id] in (NodeKind.RULE, NodeKind.DERIVED):
            columns[level[node.id]].append(node.id)
        else:
            columns[0].append(node.id)
    return tuple(tuple(column) for column in columns if column)


def _in_words(path: ReasoningPath, shown: _Shown) -> str:
    sentences = [
        f"The reasoning from {len(path.facts)} things found, through {len(path.rules)} rules."
    ]
    if shown.likely:
        best = ", ".join(f"{f.title} ({percent(f.probability)})" for f in shown.likely[:3])
        sentences.append(f"Likeliest: {best}.")
    out = [f.title for group in shown.groups for f in group]
    if out:
        sentences.append(f"Ruled out: {', '.join(out)}.")
    return " ".join(sentences)


def reasoning_chart(
    path: ReasoningPath,
    focus: Sequence[str] = (),
    earlier: Sequence[ReasoningPath] = (),
) -> Chart:
    """The path as a chart to render.

    Args:
        path: what to show.
        focus: ids of faults or derived facts; only what bears on them is shown.
        earlier: paths that are drawn whole before it, of a visit with several fixes.

    Raises:
        InputError: nothing on the path has an id in `focus`.
    """
    if focus:
        path = focused(path, *focus)
    pictures = [reasoning_picture(one) for one in (*earlier, path)]
    data = path.model_dump(mode="json")
    if earlier:
        data["earlier"] = [one.model_dump(mode="json") for one in earlier]
    return Chart(
        "reasoning-path",
        _together(pictures),
        data,
        lambda paper: draw_graphs(pictures, _CAPTIONS, paper),
    )


def _together(pictures: Sequence[Picture]) -> Picture:
    """Pictures as one, for formats that have no pages; in none is a part of another."""
    last = pictures[-1]
    if len(pictures) == 1:
        return last
    marked = [(f"{number}:".__add__, one) for number, one in enumerate(pictures, 1)]
    return replace(
        last,
        alt=" ".join(picture.alt for picture in pictures),
        nodes=tuple(replace(n, id=name(n.id)) for name, p in marked for n in p.nodes),
        edges=tuple(
            replace(e, tail=name(e.tail), head=name(e.head)) for name, p in marked for e in p.edges
        ),
        columns=tuple(tuple(map(name, column)) for name, p in marked for column in p.columns),
        order=tuple((name(a), name(b)) for name, p in marked for a, b in p.order),
    )
