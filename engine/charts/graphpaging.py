"""A picture in columns cut into parts that fit a page each: a few rules, and all they touch.

Boxes on the way are repeated on every page that needs them, so that each page reads by itself.
What fits is the caller's to say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from stillflow.engine.charts.picture import Node, NodeKind, Picture


def cut(picture: Picture, fits: Callable[[Picture], bool]) -> list[Picture]:
    """The parts of a picture, in the order in which the checks behind them were asked.

    Args:
        picture: what to cut.
        fits: whether a part is legible on one page; a part that cannot be smaller is kept anyway.
    """
    if fits(picture):
        return [picture]
    touched = {end for edge in picture.edges for end in (edge.tail, edge.head)}
    loose = [node.id for node in picture.nodes if node.id not in touched]
    pages: list[list[str]] = []
    for rule in _speaking(picture):
        for page in pages:
            if fits(_around(picture, [*page, rule])):
                page.append(rule)
                break
        else:
            pages.append([rule])
    parts = [_around(picture, page) for page in pages]
    if not loose:
        return parts
    for index in reversed(range(len(pages))):
        whole = _around(picture, pages[index], loose)
        if fits(whole):
            return [*parts[:index], whole, *parts[index + 1 :]]
    return [*parts, _around(picture, (), loose)]


def _speaking(picture: Picture) -> list[str]:
    """The rules that lead to a conclusion rather than only to other rules."""
    kinds = {node.id: node.kind for node in picture.nodes}
    used = {edge.tail for edge in picture.edges}
    order: dict[str, int] = {}
    for edge in picture.edges:
        if kinds[edge.tail] is NodeKind.RULE and edge.head not in used:
            order.setdefault(edge.tail, _asked(picture, edge.tail))
    return sorted(order, key=lambda rule: order[rule])


def _asked(picture: Picture, rule: str) -> int:
    """The number of the first check behind a rule; 0 for what was known at the start."""
    behind = _behind(picture, [rule])
    numbers = [int(n.badge or 0) for n in picture.nodes if n.id in behind and _is_fact(n)]
    return min(numbers, default=0)


def _is_fact(node: Node) -> bool:
    return node.kind in (NodeKind.READING, NodeKind.LOOK, NodeKind.UNHELPFUL)


def _behind(picture: Picture, rules: Iterable[str]) -> set[str]:
    """Rules and all that leads to them."""
    found = set(rules)
    waiting = list(found)
    while waiting:
        head = waiting.pop()
        new = {edge.tail for edge in picture.edges if edge.head == head} - found
        found |= new
        waiting += new
    return found


def _around(picture: Picture, rules: Iterable[str], loose: Iterable[str] = ()) -> Picture:
    """What leads to some rules and what they conclude, and nodes that no arrow touches."""
    rules = set(rules)
    behind = _behind(picture, rules)
    # What a rule further back concludes besides is told on the page of that rule.
    edges = tuple(
        e for e in picture.edges if e.tail in rules or behind.issuperset((e.tail, e.head))
    )
    kept = behind | {edge.head for edge in edges} | set(loose)
    return replace(
        picture,
        nodes=tuple(node for node in picture.nodes if node.id in kept),
        edges=edges,
        columns=tuple(
            column
            for column in (tuple(i for i in column if i in kept) for column in picture.columns)
            if column
        ),
        order=_order(picture.order, kept),
    )


def _order(pairs: tuple[tuple[str, str], ...], kept: set[str]) -> tuple[tuple[str, str], ...]:
    """Which of those kept stand above which, also across those that are not kept."""
    below: dict[str, list[str]] = {}
    for first, second in pairs:
        below.setdefault(first, []).append(second)
    found: dict[tuple[str, str], None] = {}
    for first in (one for one in below if one in kept):
        waiting = list(below[first])
        while waiting:
            second = waiting.pop(0)
            if second in kept:
                found[first, second] = None
            else:
                waiting += below.get(second, [])
    return tuple(found)
