"""Arrows of the house style: what speaks for ends in a point, what speaks against in a bar."""

from __future__ import annotations

from collections.abc import Sequence

from stillflow.engine.charts.picture import Line
from stillflow.engine.charts.scene import Dash, Mark, Outline, Point, polygon, polyline
from stillflow.engine.charts.shapes import INK


def curve_between(start: Point, end: Point) -> tuple[Point, ...]:
    """A cubic curve that leaves and arrives level."""
    middle = (start[0] + end[0]) / 2
    return (start, (middle, start[1]), (middle, end[1]), end)


def line_along(curve: Sequence[Point], line: Line, weight: float) -> Outline:
    """A cubic curve drawn as the kind of line asked for, without a tip."""
    segments = tuple(tuple(curve[i : i + 3]) for i in range(1, len(curve), 3))
    dash: Dash = "dashed" if line == "against" else "solid"
    return Outline(curve[0], segments, width=weight, dash=dash)


def arrow(curve: Sequence[Point], tip: Point, line: Line, weight: float) -> list[Mark]:
    """An arrow along a cubic curve (a start, then threes), which may stop short of the tip."""
    end = curve[-1]
    before = next((p for p in reversed(curve[:-1]) if p != end), curve[0])
    dx, dy = tip[0] - end[0], tip[1] - end[1]
    if abs(dx) + abs(dy) < 0.5:
        dx, dy = tip[0] - before[0], tip[1] - before[1]
    length = (dx * dx + dy * dy) ** 0.5 or 1.0
    ux, uy = dx / length, dy / length
    body = line_along(curve, line, weight)
    if line == "plain":
        return [body, polyline([end, tip], width=weight)]
    if line == "for":
        reach, half = 6.0 + weight, 2.6 + weight * 0.7
        foot = (tip[0] - ux * reach, tip[1] - uy * reach)
        point = [
            tip,
            (foot[0] - uy * half, foot[1] + ux * half),
            (foot[0] + uy * half, foot[1] - ux * half),
        ]
        return [body, polyline([end, foot], width=weight), polygon(point, fill=INK, width=0.5)]
    half = 4.0 + weight
    stop = (tip[0] - ux * 3, tip[1] - uy * 3)
    bar = [
        (stop[0] - uy * half, stop[1] + ux * half),
        (stop[0] + uy * half, stop[1] - ux * half),
    ]
    return [body, polyline([end, stop], width=weight), polyline(bar, width=2.4)]
