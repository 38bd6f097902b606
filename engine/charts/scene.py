"""A drawn page: outlines and lines of text at fixed places, before any file format.

Lengths are points (1/72 in), y grows downwards. The writers (`svg`, `png`, `pdf`) turn a scene
into bytes; what is drawn where is left to the charts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, TypedDict, Unpack

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]
Dash = Literal["solid", "dashed", "dotted"]

Role = Literal["", "name", "figure", "answer", "measured", "verdict", "place", "fixed"]
"""What a mark tells: a fault's name, a figure, an answer, an answer that is a figure, what all of
it comes to with the fault's name, an answer that is told by its place; `fixed` stays on an exercise
whatever is left blank (axes, numbers of steps, small print)."""

DASHES: dict[Dash, tuple[float, ...]] = {"solid": (), "dashed": (5, 3), "dotted": (1.2, 2.6)}

# Length of a Bezier handle that makes a quarter of a circle of radius 1.
_QUARTER = 0.5522847498


@dataclass(frozen=True)
class Outline:
    """One outline: a start and segments, each a line (one point) or a cubic curve (three)."""

    start: Point
    segments: tuple[tuple[Point, ...], ...]
    closed: bool = False
    fill: str = ""
    stroke: str = "#111111"
    width: float = 1.0
    dash: Dash = "solid"
    role: Role = ""


@dataclass(frozen=True)
class Text:
    """One line of text; (x, y) is on the baseline, at the side that `anchor` names."""

    x: float
    y: float
    text: str
    size: float
    anchor: Anchor = "start"
    bold: bool = False
    colour: str = "#111111"
    role: Role = ""


@dataclass(frozen=True)
class Link:
    """A place on the page that leads to another page (from 1), in files that can do that."""

    x: float
    y: float
    width: float
    height: float
    page: int


Mark = Outline | Text | Link


@dataclass(frozen=True)
class Group:
    """Marks that make one thing, and the words that say what it is."""

    title: str
    marks: tuple[Mark, ...]


@dataclass
class Scene:
    """One page. `title` and `description` are read out by screen readers.

    `parts` names what stands on it, for a table of contents.
    """

    width: float
    height: float
    title: str
    description: str
    groups: list[Group] = field(default_factory=list)
    parts: tuple[str, ...] = ()

    def add(self, title: str, marks: Sequence[Mark]) -> None:
        """Put one more thing on the page, on top of what is there."""
        if marks:
            self.groups.append(Group(title, tuple(marks)))

    def smallest_text(self) -> float:
        """The smallest type size on the page in points; 0 on a page without words."""
        return min(
            (m.size for group in self.groups for m in group.marks if isinstance(m, Text)),
            default=0.0,
        )


class Style(TypedDict, total=False):
    """How an outline is filled and stroked; the fields of `Outline`."""

    fill: str
    stroke: str
    width: float
    dash: Dash


def polygon(points: Sequence[Point], **style: Unpack[Style]) -> Outline:
    """A closed outline through `points`."""
    return Outline(points[0], tuple((p,) for p in points[1:]), closed=True, **style)


def polyline(points: Sequence[Point], **style: Unpack[Style]) -> Outline:
    """An open line through `points`."""
    return Outline(points[0], tuple((p,) for p in points[1:]), **style)


def rectangle(x: float, y: float, w: float, h: float, **style: Unpack[Style]) -> Outline:
    """A rectangle with its top left corner at (x, y)."""
    return polygon([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], **style)


def rounded(
    x: float, y: float, w: float, h: float, radius: float, **style: Unpack[Style]
) -> Outline:
    """A rectangle with its corners rounded to `radius`; half the height makes a pill."""
    r = min(radius, w / 2, h / 2)
    k = r * (1 - _QUARTER)
    right, bottom = x + w, y + h
    segments: tuple[tuple[Point, ...], ...] = (
        ((right - r, y),),
        ((right - k, y), (right, y + k), (right, y + r)),
        ((right, bottom - r),),
        ((right, bottom - k), (right - k, bottom), (right - r, bottom)),
        ((x + r, bottom),),
        ((x + k, bottom), (x, bottom - k), (x, bottom - r)),
        ((x, y + r),),
        ((x, y + k), (x + k, y), (x + r, y)),
    )
    return Outline((x + r, y), segments, closed=True, **style)


def circle(x: float, y: float, radius: float, **style: Unpack[Style]) -> Outline:
    """A circle about (x, y)."""
    return rounded(x - radius, y - radius, 2 * radius, 2 * radius, radius, **style)


def magnified(scene: Scene, scale: float) -> Scene:
    """The whole page larger or smaller."""
    if scale == 1.0:
        return scene
    groups = [
        Group(group.title, tuple(moved(mark, 0.0, 0.0, scale) for mark in group.marks))
        for group in scene.groups
    ]
    return replace(scene, width=scene.width * scale, height=scene.height * scale, groups=groups)


def stacked(scenes: Sequence[Scene]) -> Scene:
    """Pages as one, each below the one before."""
    first = scenes[0]
    if len(scenes) == 1:
        return first
    groups, top = [], 0.0
    for scene in scenes:
        for group in scene.groups:
            marks = tuple(moved(mark, 0.0, top) for mark in group.marks)
            groups.append(Group(group.title, marks))
        top += scene.height
    said = " ".join(scene.description for scene in scenes)
    wide = max(scene.width for scene in scenes)
    return replace(first, width=wide, height=top, description=said, groups=groups)


def moved(mark: Mark, dx: float, dy: float, scale: float = 1.0) -> Mark:
    """The mark scaled about the origin, then shifted."""
    # Field by field: a large chart moves a hundred thousand, and `replace` takes twice as long.
    if isinstance(mark, Text):
        x, y, size = mark.x * scale + dx, mark.y * scale + dy, mark.size * scale
        return Text(x, y, mark.text, size, mark.anchor, mark.bold, mark.colour, mark.role)
    if isinstance(mark, Link):
        x, y = mark.x * scale + dx, mark.y * scale + dy
        return Link(x, y, mark.width * scale, mark.height * scale, mark.page)
    return Outline(
        (mark.start[0] * scale + dx, mark.start[1] * scale + dy),
        tuple(
            [
                tuple([(x * scale + dx, y * scale + dy) for x, y in segment])
                for segment in mark.segments
            ]
        ),
        mark.closed,
        mark.fill,
        mark.stroke,
        mark.width * scale,
        mark.dash,
        mark.role,
    )


def transposed(outline: Outline) -> Outline:
    """The outline with across and down exchanged."""
    segments = tuple(tuple((y, x) for x, y in segment) for segment in outline.segments)
    x, y = outline.start
    return replace(outline, start=(y, x), segments=segments)
