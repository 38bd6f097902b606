"""Exercises: a chart with its fault names, its figures or its answers left blank to be written in.

Nothing moves, so the sheet with the answers is the same chart drawn in full, with the same step
numbers at the same places.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Literal, get_args

from stillflow.engine.charts.scene import Group, Link, Mark, Outline, Role, Scene, Text, polyline
from stillflow.engine.charts.shapes import GREY, NOTE_SIZE
from stillflow.engine.charts.text import width

Blank = Literal["names", "figures", "answers"]
BLANKS: tuple[Blank, ...] = get_args(Blank)

_ROLE: dict[Blank, Role] = {"names": "name", "figures": "figure", "answers": "answer"}
# Not the 2 of inH2O, nor the number of a code such as E20.
_FIGURE = re.compile(r"(?<![A-Za-z0-9])[0-9]+(?:[.,][0-9]+)*")
_WRITE = "Name: ____________________"
_EDGE = 28.35


def blanked(scene: Scene, what: Blank) -> Scene:
    """The page with lines to write on in place of what is to be found out.

    Its words for screen readers go too, since they would tell.
    """
    groups = [Group("", tuple(_left(group.marks, what))) for group in scene.groups]
    size = NOTE_SIZE
    name = Text(scene.width - _EDGE, scene.height - _EDGE - 3, _WRITE, size, "end", role="fixed")
    words = f"An exercise: {what} are left blank."
    return replace(scene, description=words, groups=[*groups, Group("", (name,))], parts=())


def _left(marks: tuple[Mark, ...], what: Blank) -> Iterator[Mark]:
    role = _ROLE[what]
    for mark in marks:
        if isinstance(mark, Link) or mark.role == "fixed":
            yield mark
        elif isinstance(mark, Outline):
            if mark.role != role:
                yield mark
        elif what == "figures":
            yield replace(mark, text=_FIGURE.sub(_dashes, mark.text))
        elif mark.role == role:
            yield _line(mark)
        else:
            yield mark


def _dashes(figure: re.Match[str]) -> str:
    """A dash for each digit, which is as wide as the digit, so nothing moves."""
    return re.sub("[0-9]", "_", figure[0])


def _line(words: Text) -> Mark:
    long = width(words.text, words.size, words.bold)
    start = words.x - {"start": 0.0, "middle": long / 2, "end": long}[words.anchor]
    y = words.y + 1.5
    return polyline([(start, y), (start + long, y)], stroke=GREY, width=0.6)
