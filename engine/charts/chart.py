"""A chart as bytes in any of the formats, for callers to write where they like."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

from stillflow.engine.base import InputError
from stillflow.engine.charts.blank import BLANKS, Blank, blanked, leaves_blank
from stillflow.engine.charts.dotsource import dot_source
from stillflow.engine.charts.mermaid import mermaid_source
from stillflow.engine.charts.page import (
    LEAST_POSTER_TYPE,
    LEAST_TYPE,
    PAPERS,
    POSTERS,
    Body,
    KeyItem,
    OnPaper,
    PaperName,
    Room,
    Sheet,
    paper_of,
)
from stillflow.engine.charts.picture import Picture, TitleBlock
from stillflow.engine.charts.program import has_house_typeface
from stillflow.engine.charts.scene import Role, Scene, Text, magnified
from stillflow.engine.charts.shapes import NOTE_SIZE
from stillflow.engine.charts.text import clean, unknown

Format = Literal["svg", "png", "pdf", "dot", "mermaid", "json"]

FORMATS: tuple[Format, ...] = get_args(Format)
DRAWN: tuple[Format, ...] = ("svg", "png", "pdf")
PLOTTED: tuple[Format, ...] = (*DRAWN, "json")
"""What charts can be made as that are no graphs of boxes."""

_SIZES = (
    *map(float, (72, 64, 56, 48, 42, 38, 34, 30, 27, 24, 22, 20, 18, 17, 16, 15, 14, 13)),
    *(half / 2.0 for half in range(24, 11, -1)),
    *(5.0, 4.0),
)
"""Points of type of which the largest that fits is looked for."""


@dataclass(frozen=True)
class Chart:
    """A chart ready to be rendered.

    Attributes:
        name: what sort of chart it is ("decision-tree").
        picture: the whole chart, unpaged.
        data: the model it was made from, as plain JSON values.
        pages: draws the chart's pages for a paper (None: one page as large as it needs).
        formats: what it can be rendered as; not every chart is a graph.
        body: draws what stands in the middle of a sheet, for charts that can stand side by side.
    """

    name: str
    picture: Picture
    data: dict[str, Any]
    pages: Callable[[OnPaper], list[Scene]]
    formats: tuple[Format, ...] = FORMATS
    body: Callable[[Room | None], Body] | None = None


def plot_chart(
    name: str,
    title: TitleBlock,
    alt: str,
    data: dict[str, Any],
    key: tuple[KeyItem, ...],
    draw: Callable[[Sheet], list[Scene]],
) -> Chart:
    """A chart that is no graph of boxes, so that it cannot be made as DOT or Mermaid.

    Args:
        name: as of a `Chart`, as are the others.
        title: what stands on its edge.
        alt: the chart in a sentence or two.
        data: the model it was made from.
        key: what its symbols mean.
        draw: draws the pages on a sheet.
    """

    def pages(paper: OnPaper) -> list[Scene]:
        return draw(Sheet(title, alt, key, paper))

    return Chart(name, Picture(title, alt), data, pages, PLOTTED)


def body_chart(
    name: str,
    picture: Picture,
    data: dict[str, Any],
    body: Callable[[Room | None], Body],
    formats: tuple[Format, ...] = FORMATS,
    subtitle_tells: Role = "",
) -> Chart:
    """A chart of one page, which can stand beside others; the rest is as of a `Chart`."""

    def pages(paper: OnPaper) -> list[Scene]:
        sheet = Sheet(picture.title, picture.alt, body(None).key, paper, subtitle_tells)
        drawn = body(sheet.room())
        return [sheet.compose(drawn.things, drawn.size)]

    return Chart(name, picture, data, pages, formats, body)


@dataclass(frozen=True)
class ChartFile:
    """One file of a rendered chart.

    Attributes:
        data: its content.
        format: one of `FORMATS`.
        page: which page it is, from 1.
        pages: how many files there are.
        smallest_text: the smallest type on it in points; 0 for formats without a size.
        unknown: characters on it for which the typeface has no letter, so that each is drawn as a
            box; none where the reader's machine brings the letters.
    """

    data: bytes
    format: str
    page: int
    pages: int
    smallest_text: float = 0.0
    unknown: tuple[str, ...] = ()


def render(
    chart: Chart,
    output: str = "svg",
    paper: PaperName | None = None,
    dpi: int = 150,
    blank: Blank | None = None,
    portrait: bool | None = False,
    text_size: float | None = None,
) -> list[ChartFile]:
    """Render a chart; the same chart gives the same bytes.

    Args:
        chart: what to render.
        output: one of `FORMATS`.
        paper: cuts a large tree into pages and fits every page to the sheet.
        dpi: dots per inch of a PNG.
        blank: what to leave blank, for an exercise; only on pictures.
        portrait: the paper upright; None for whichever way takes fewer pages.
        text_size: points of the smallest type, or less where a paper has no room for it; by default
            10, as little as 8 where a paper needs it, and on posters 14 or as much larger as takes
            no more pages.

    Returns:
        SVG and PNG give one file for each page; the other formats give one file.

    Raises:
        InputError: unknown format or paper, a format this chart cannot have, or an unreasonable
            `dpi`.
        SetupError: the format cannot be made on this machine; says which can.
    """
    for value, known, name in ((output, FORMATS, "format"), (paper, PAPERS, "paper")):
        if value is not None and value not in known:
            right = f"choose one of {', '.join(known)}"
            raise InputError(f"there is no chart {name} {value!r}", right=right)
    if output not in chart.formats:
        what = f"this chart ({chart.name}) cannot be made as {output}"
        raise InputError(what, right=f"choose one of {', '.join(chart.formats)}")
    if not 30 <= dpi <= 1200:
        raise InputError(
            f"a picture cannot be made at {dpi} dots per inch", right="give 30 to 1200"
        )
    if blank is not None and output not in DRAWN:
        right = f"choose one of {', '.join(DRAWN)}"
        raise InputError(f"an exercise cannot be made as {output}", right=right)
    if output in ("dot", "mermaid", "json"):
        words = {"dot": dot_source, "mermaid": mermaid_source}.get(output)
        text = words(chart.picture) if words else _json(chart)
        return [ChartFile(text.encode("utf-8"), output, 1, 1)]
    if paper is not None:
        scenes = on_paper(chart, paper, portrait, text_size)
    else:
        scenes = [magnified(one, (text_size or NOTE_SIZE) / NOTE_SIZE) for one in chart.pages(None)]
    if blank is not None:
        if not any(leaves_blank(scene, blank) for scene in scenes):
            can = [one for one in BLANKS if any(leaves_blank(scene, one) for scene in scenes)]
            right = f"leave blank {' or '.join(can)}" if can else "draw it without --blank"
            raise InputError(f"there are no {blank} on this chart ({chart.name})", right=right)
        scenes = [blanked(scene, blank) for scene in scenes]
    smallest = _smallest(scenes)
    if output == "pdf":
        from stillflow.engine.charts.pdf import write_pdf

        title = chart.picture.title
        data = write_pdf(scenes, title.date, title.title)
        return [ChartFile(data, output, 1, 1, smallest, _unknown(scenes))]
    boxes = output == "png" and has_house_typeface()
    return [
        ChartFile(
            _drawn(scene, output, dpi),
            output,
            number,
            len(scenes),
            scene.smallest_text(),
            _unknown([scene]) if boxes else (),
        )
        for number, scene in enumerate(scenes, 1)
    ]


def on_paper(
    chart: Chart, paper: PaperName, portrait: bool | None, text_size: float | None
) -> list[Scene]:
    """The pages of a chart on a paper; the rest is as of `render`.

    Where type of the size asked for does not fit, it is the largest that does, so that asking for
    more never gives less.
    """
    enough = text_size or (LEAST_POSTER_TYPE if paper in POSTERS else LEAST_TYPE)
    upright = bool(portrait)
    scenes = _fitted(chart, paper, upright, text_size, enough)
    if portrait is None and (len(scenes) > 1 or not _is(scenes, enough)):
        others = _fitted(chart, paper, True, text_size, enough)

        # Fewer pages are no gain where what stands on them cannot be read.
        def worth(pages: list[Scene]) -> tuple[float, int]:
            return round(min(_smallest(pages), enough), 1), -len(pages)

        if worth(others) > worth(scenes):
            upright, scenes = True, others
    if paper in POSTERS and text_size is None:
        for points in _SIZES[_SIZES.index(LEAST_POSTER_TYPE) - 1 :: -1]:
            larger = chart.pages(paper_of(paper, upright, points))
            if len(larger) > len(scenes) or not _is(larger, points):
                break
            scenes = larger
    return scenes


def _fitted(
    chart: Chart, paper: PaperName, upright: bool, text_size: float | None, enough: float
) -> list[Scene]:
    """The pages with type of the size asked for, or of the largest that fits."""
    scenes = chart.pages(paper_of(paper, upright, text_size))
    if _is(scenes, enough):
        return scenes
    # One by one, since what is too large at one size may fit at a larger one, cut otherwise.
    for points in (one for one in _SIZES if one < enough):
        smaller = chart.pages(paper_of(paper, upright, points))
        if _is(smaller, points):
            return smaller
    return scenes


def _is(scenes: Sequence[Scene], points: float) -> bool:
    """Whether no type came out smaller than this."""
    return _smallest(scenes) >= points - 0.05


def _smallest(scenes: Sequence[Scene]) -> float:
    return min(scene.smallest_text() for scene in scenes)


def _unknown(scenes: Sequence[Scene]) -> tuple[str, ...]:
    marks = (mark for scene in scenes for group in scene.groups for mark in group.marks)
    labels = "".join(clean(mark.text) for mark in marks if isinstance(mark, Text))
    return tuple(sorted(unknown(labels)))


def _drawn(scene: Scene, output: str, dpi: int) -> bytes:
    if output == "svg":
        from stillflow.engine.charts.svg import write_svg

        return write_svg(scene)
    from stillflow.engine.charts.png import write_png

    return write_png(scene, dpi)


def _json(chart: Chart) -> str:
    content = {"chart": chart.name, "description": chart.picture.alt, **chart.data}
    return json.dumps(content, ensure_ascii=False, indent=2) + "\n"
