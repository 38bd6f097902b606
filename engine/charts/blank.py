"""Exercises: a chart with its fault names, its figures or its answers left blank to be written in.

Nothing moves, so the sheet with the answers is the same chart drawn in full, with the same step
numbers at the same places. What is left blank is the same wherever it stands, so that neither its
length nor a code beside it tells.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
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
    "answers": ("answer", "measured", "verdict", "place"),
}
# Not the 2 of inH2O, the number of a code such as E20, nor where something goes on.
_FIGURE = re.compile(
    r"(to [0-9]+, (?:this page|page [0-9]+))|<?(?<![A-Za-z0-9])[0-9]+(?:[.,/][0-9]+)*"
)
_CODE = re.compile(r"^[EJ][0-9]+(, |$)")
_DASHES = "__"
_WRITE = "Name: ____________________"
_WHERE = "Most suction is lost between ______________ and ______________"
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
    # In the margin above the title, where nothing else stands whatever the paper.
    size = max(scene.smallest_text(), 1.0)
    edge = _EDGE * size / NOTE_SIZE
    high = 0.7 * edge
    write = [Text(scene.width - edge, high, _WRITE, size, "end", role="fixed")]
    if what == "answers" and any(one.role == "place" for one in marks):
        write.append(Text(edge, high, _WHERE, size, role="fixed"))
    words = f"An exercise: {what} are left blank."
    return replace(scene, description=words, groups=[*groups, Group("", tuple(write))], parts=())


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
    for mark in _merged(marks, roles):
        if isinstance(mark, Link) or mark.role == "fixed":
            yield mark
        elif isinstance(mark, Outline):
            if mark.role not in roles:
                yield mark
        elif what == "figures":
            yield replace(mark, text=_FIGURE.sub(lambda found: found[1] or _DASHES, mark.text))
        elif mark.role in roles:
            if mark.role != "place":
                yield _line(mark, longest[mark.size, mark.bold])
        elif what == "names":
            yield replace(mark, text=_CODE.sub("", mark.text))
        else:
            yield mark


def _merged(marks: tuple[Mark, ...], roles: Sequence[Role]) -> Iterator[Mark]:
    """The marks with one line in place of several of one name, whose number would tell."""
    run: list[Text] = []
    for mark in marks:
        if isinstance(mark, Text) and mark.role in roles:
            last = run[-1] if run else mark
            same = (last.x, last.size, last.bold, last.role, last.anchor)
            if (mark.x, mark.size, mark.bold, mark.role, mark.anchor) == same:
                run.append(mark)
                continue
        if run:
            yield _middle(run)
            run = []
        if isinstance(mark, Text) and mark.role in roles:
            run = [mark]
        else:
            yield mark
    if run:
        yield _middle(run)


def _middle(run: Sequence[Text]) -> Text:
    return replace(run[0], y=sum(one.y for one in run) / len(run))


def _line(words: Text, long: float) -> Mark:
    start = words.x - {"start": 0.0, "middle": long / 2, "end": long}[words.anchor]
    y = words.y + 1.5
    return polyline([(start, y), (start + long, y)], stroke=GREY, width=0.6)
