"""A scene as a PNG file.

The Graphviz program paints it: the scene is handed over as drawing orders in the xdot language,
as the background of a graph without nodes, so that nothing is laid out again.
"""

from __future__ import annotations

import re

from stillflow.engine.charts import text as words
from stillflow.engine.charts.program import run
from stillflow.engine.charts.scene import Link, Mark, Outline, Point, Scene, Text, rectangle

_ALIGN = {"start": -1, "middle": 0, "end": 1}


def write_png(scene: Scene, dpi: int = 150) -> bytes:
    """The scene painted at `dpi` dots per inch.

    Raises:
        SetupError: there is no Graphviz program, or it cannot paint PNGs.
    """
    return run(paint_source(scene, dpi), "png", placed=True)


def paint_source(scene: Scene, dpi: int) -> str:
    """The DOT source of a graph without nodes, whose background is the scene."""
    w, h = scene.width, scene.height
    paper = rectangle(0, 0, w, h, fill="#ffffff", stroke="#ffffff", width=0.1)
    marks: list[Mark] = [paper, *(mark for group in scene.groups for mark in group.marks)]
    orders = "".join(_orders(mark, h) for mark in marks)
    # In a quoted DOT string only the quotation mark is escaped; backslashes stand as they are.
    quoted = orders.replace('"', '\\"')
    return (
        f'graph {{ graph [bb="0,0,{w:.2f},{h:.2f}", pad=0, margin=0, dpi={dpi}, '
        f'bgcolor="#ffffff", _background="{quoted}"] }}'
    )


def _orders(mark: Mark, height: float) -> str:
    if isinstance(mark, Text):
        return _text_orders(mark, height)
    return "" if isinstance(mark, Link) else _path_orders(mark, height)


def _sized(letter: str, text: str) -> str:
    return f"{letter} {len(text.encode('utf-8'))} -{text} "


def _text_orders(mark: Text, height: float) -> str:
    # A backslash before a quotation mark cannot be written in a quoted DOT string: two
    # apostrophes look the same.
    label = words.clean(mark.text).replace('\\"', "\\''")
    if not label:
        return ""
    if label.endswith("\\"):
        label += " "
    # Xdot does not count the first of any backslashes in a row.
    size = len(label.encode("utf-8")) - len(re.findall(r"\\+", label))
    span = words.width(label, mark.size, mark.bold)
    return (
        f"F {mark.size:.2f} 9 -Helvetica t {int(mark.bold)} {_sized('c', mark.colour)}"
        f"T {mark.x:.2f} {height - mark.y:.2f} {_ALIGN[mark.anchor]} {span:.2f} {size} -{label} "
    )


def _path_orders(mark: Outline, height: float) -> str:
    if not mark.stroke and not mark.fill:
        return ""
    order, points = _points(mark)
    places = " ".join(f"{x:.2f} {height - y:.2f}" for x, y in points)
    pen = mark.stroke or mark.fill
    return (
        _sized("S", f"setlinewidth({mark.width:.2f})")
        + _sized("S", mark.dash)
        + _sized("C", mark.fill or "#ffffff")
        + _sized("c", pen)
        + f"{order} {len(points)} {places} "
    )


def _points(mark: Outline) -> tuple[str, list[Point]]:
    if all(len(segment) == 1 for segment in mark.segments):
        points = [mark.start, *(segment[0] for segment in mark.segments)]
        if not mark.closed:
            return "L", points
        return ("P" if mark.fill else "p"), points
    points = [mark.start]
    segments = list(mark.segments)
    if mark.closed and segments[-1][-1] != mark.start:
        segments.append((mark.start,))
    for segment in segments:
        points.extend(segment if len(segment) == 3 else _straight(points[-1], segment[0]))
    return ("b" if mark.fill else "B"), points


def _straight(start: Point, end: Point) -> tuple[Point, Point, Point]:
    third = ((end[0] - start[0]) / 3, (end[1] - start[1]) / 3)
    return (
        (start[0] + third[0], start[1] + third[1]),
        (end[0] - third[0], end[1] - third[1]),
        end,
    )
