"""Where the boxes stand that no arrow touches: at the foot of their column, or below the drawing.

Where all others stand is left to `layout`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from stillflow.engine.charts.picture import Picture
from stillflow.engine.charts.scene import Point
from stillflow.engine.charts.tidy import Gaps, Size

GAPS = Gaps(within=11, between=28)
BESIDE = "Also found, with no bearing on these faults"
"""What is written over the rows below a drawing."""
_HEADING = 36.0
_ABREAST = 4
"""How many stand in a row at least."""


def stack_loose(
    picture: Picture, corners: dict[str, Point], sizes: Mapping[str, Size]
) -> float | None:
    """Give the nodes that no arrow touches a place at the foot of their column.

    What was found and would make the drawing higher stands below it, in rows.

    Returns:
        The baseline of the words over these rows; None without any.
    """
    bound = list(corners)
    lowest = max((corners[i][1] + sizes[i].height for i in bound), default=0.0)
    widest = max((corners[i][0] + sizes[i].width for i in bound), default=0.0)
    below: list[str] = []
    left = 0.0
    for index, column in enumerate(picture.columns):
        here = [i for i in column if i in bound]
        if here:
            left = min(corners[i][0] for i in here)
        bottom = max((corners[i][1] + sizes[i].height for i in here), default=-GAPS.within)
        for loose in (i for i in column if i not in bound):
            end = bottom + GAPS.within + sizes[loose].height
            if index == 0 and (below or end > lowest):
                below.append(loose)
                continue
            corners[loose] = (left, bottom + GAPS.within)
            bottom = end
        left += max((sizes[i].width for i in column), default=0.0) + GAPS.between
    lowest = max((corners[i][1] + sizes[i].height for i in corners), default=-GAPS.within)
    if not below:
        return None
    top = lowest + _HEADING
    _set_in_rows(below, corners, sizes, top if bound else 0.0, widest)
    return top - 14 if bound else None


def _set_in_rows(
    names: Sequence[str],
    corners: dict[str, Point],
    sizes: Mapping[str, Size],
    top: float,
    wide: float,
) -> None:
    step = max(sizes[i].width for i in names) + GAPS.within
    abreast = max(int((wide + GAPS.within) // step), _ABREAST)
    for start in range(0, len(names), abreast):
        row = names[start : start + abreast]
        for place, name in enumerate(row):
            corners[name] = (place * step, top)
        top += max(sizes[i].height for i in row) + GAPS.within
