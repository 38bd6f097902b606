"""Exercises: a chart with its fault names, its figures or its answers left blank to be written in.

Nothing moves, so the sheet with the answers is the same chart drawn in full, with the same step
numbers at the same places. What is left blank is the same wherever it stands, so that neither its
length nor a code beside it tells.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Literal, get_args

from stillflow.engine.charts.scene import Group, Link, Mark, Outline, Role, Scene, Text, polyline
from stillflow.engine.charts.shapes import GREY, NOTE_SIZE
from stillflow.engine.charts.text import width

Blank = Literal["names", "figures", "answers"]
BLANKS: tuple[Blank, ...] = get_args(Blank)

_ROLES: dict[Blank, tuple[Role, ...]] = {
    "names": ("name", "verdict"),
    "figures": ("figure", "measured"),
    "answers": ("answer", "measured", "verdict"),
}
# Not the 2 of inH2O, the number of a code such as E20, nor where something goes on.
_FIGURE = re.compile(
    r"(to [0-9]+, (?:this page|page [0-9]+))|<?(?<![A-Za-z0-9])[0-9]+(?:[.,/][0-9]+)*"
)
_CODE = re.compile(r"^[EJ][0-9]+(, |$)")
_DASHES = "__"
_WRITE = "Name: ____________________"
_EDGE = 28.35


def blanked(scene: Scene, what: Blank) -> Scene:
    """The page with lines to write on in place of what is to be found out.

    Its words for screen readers go too, since they would tell.
    """
    marks = [mark for group in scene.groups for mark in group.marks if isinstance(mark, Text)]
    longest: dict[tuple[float, bool], float] = {}
    for one in marks:
        if one.role in _ROLES[what]:
            kind = (one.size, one.bold)
            longest[kind] = max(longest.get(kind, 0.0), width(one.text, *kind))
    groups = [Group("", tuple(_left(group.marks, what, longest))) for group in scene.groups]
    size = NOTE_SIZE
    name = Text(scene.width - _EDGE, scene.height - _EDGE - 3, _WRITE, size, "end", role="fixed")
    words = f"An exercise: {what} are left blank."
    return replace(scene, description=words, groups=[*groups, Group("", (name,))], parts=())


def leaves_blank(scene: Scene, what: Blank) -> bool:
    """Whether anything on the page is of that sort."""
    marks = [mark for group in scene.groups for mark in group.marks if not isinstance(mark, Link)]
    if any(mark.role in _ROLES[what] for mark in marks):
        return True
    words = [mark for mark in marks if isinstance(mark, Text) and mark.role != "fixed"]
    return what == "figures" and any(_FIGURE.search(mark.text) for mark in words)


def _left(
    marks: tuple[Mark, ...], what: Blank, longest: Mapping[tuple[float, bool], float]
) -> Iterator[Mark]:
    roles = _ROLES[what]
    for mark in marks:
        if isinstance(mark, Link) or mark.role == "fixed":
            yield mark
        elif isinstance(mark, Outline):
            if mark.role not in roles:
                yield mark
        elif what == "figures":
            yield replace(mark, text=_FIGURE.sub(lambda found: found[1] or _DASHES, mark.text))
        elif mark.role in roles:
            yield _line(mark, longest[mark.size, mark.bold])
        elif what == "names":
            yield replace(mark, text=_CODE.sub("", mark.text))
        else:
            yield mark


def _line(words: Text, long: float) -> Mark:
    start = words.x - {"start": 0.0, "middle": long / 2, "end": long}[words.anchor]
    y = words.y + 1.5
    return polyline([(start, y), (start + long, y)], stroke=GREY, width=0.6)
