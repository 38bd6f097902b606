"""Where the boxes and arrows of a picture come to stand: Graphviz lays them out.

Coordinates are points from the top left corner, y downwards. Drawing is left to `shapes`, the
paper to `page`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from stillflow.engine.charts.dotsource import dot_source
from stillflow.engine.charts.picture import Picture
from stillflow.engine.charts.program import run
from stillflow.engine.charts.scene import Point
from stillflow.engine.charts.tidy import Gaps, Size


@dataclass(frozen=True)
class Route:
    """The way of one arrow: the points of its cubic curve, and its tip."""

    curve: tuple[Point, ...]
    tip: Point


@dataclass(frozen=True)
class Placed:
    """A laid-out picture: the top left corner of each box, the way of each arrow."""

    corners: Mapping[str, Point]
    routes: tuple[Route, ...]


def lay_out(picture: Picture, sizes: Mapping[str, Size], gaps: Gaps) -> Placed:
    """Lay out a picture with boxes of these sizes, by node id; errors as `program.run`."""
    graph = json.loads(run(dot_source(picture, sizes, gaps), "json0"))
    return _placed(picture, graph, sizes)


def _placed(picture: Picture, graph: dict[str, Any], sizes: Mapping[str, Size]) -> Placed:
    centres = {
        thing["name"]: _point(thing["pos"]) for thing in graph.get("objects", ()) if "pos" in thing
    }
    ways = {edge["id"]: edge for edge in graph.get("edges", ()) if "id" in edge}
    boxes = {}
    for index, node in enumerate(picture.nodes):
        x, y = centres[f"n{index}"]
        size = sizes[node.id]
        boxes[node.id] = (x - size.width / 2, -y - size.height / 2)
    routes = [_route(ways[f"e{index}"]) for index in range(len(picture.edges))]
    # The program's own frame has room for the title in it, which is drawn elsewhere here.
    points = [p for route in routes for p in (*route.curve, route.tip)]
    points += boxes.values()
    left = min((x for x, _ in points), default=0.0)
    top = min((y for _, y in points), default=0.0)

    def shift(point: Point) -> Point:
        return point[0] - left, point[1] - top

    return Placed(
        {i: shift(corner) for i, corner in boxes.items()},
        tuple(Route(tuple(map(shift, r.curve)), shift(r.tip)) for r in routes),
    )


def _route(edge: Mapping[str, str]) -> Route:
    tip: Point | None = None
    curve: list[Point] = []
    for word in edge["pos"].split(";")[0].split():
        if word.startswith("e,"):
            tip = _flipped(word[2:])
        elif not word.startswith("s,"):
            curve.append(_flipped(word))
    return Route(tuple(curve), tip or curve[-1])


def _point(pair: str) -> Point:
    x, y = pair.split(",")[:2]
    return float(x), float(y)


def _flipped(pair: str) -> Point:
    x, y = _point(pair)
    return x, -y
