"""A chart as bytes in any of the formats, for callers to write where they like."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal, get_args

from stillflow.engine.charts.dotsource import dot_source
from stillflow.engine.charts.mermaid import mermaid_source
from stillflow.engine.charts.page import PaperName
from stillflow.engine.charts.picture import Picture
from stillflow.engine.charts.scene import Scene
from stillflow.engine.errors import InputError

Format = Literal["svg", "png", "pdf", "dot", "mermaid", "json"]

FORMATS: tuple[Format, ...] = get_args(Format)


@dataclass(frozen=True)
class Chart:
    """A chart ready to be rendered.

    Attributes:
        name: what sort of chart it is ("decision-tree").
        picture: the whole chart, unpaged.
        data: the model it was made from, as plain JSON values.
        pages: draws the chart's pages for a paper (None: one page as large as it needs).
    """

    name: str
    picture: Picture
    data: dict[str, Any]
    pages: Callable[[PaperName | None], list[Scene]]


@dataclass(frozen=True)
class ChartFile:
    """One file of a rendered chart. `page` counts from 1; `smallest_text` is in points (0 for
    formats that have no size)."""

    data: bytes
    format: Format
    page: int
    pages: int
    smallest_text: float = 0.0


def render(
    chart: Chart, output: str = "svg", paper: PaperName | None = None, dpi: int = 150
) -> list[ChartFile]:
    """Render a chart; the same chart gives the same bytes.

    Args:
        chart: what to render.
        output: one of `FORMATS`.
        paper: cuts a large tree into pages and fits every page to the sheet.
        dpi: dots per inch of a PNG.

    Returns:
        SVG and PNG give one file for each page; the other formats give one file.

    Raises:
        InputError: unknown format.
        SetupError: the format cannot be made on this machine; says which can.
    """
    if output in ("dot", "mermaid", "json"):
        words = {"dot": dot_source, "mermaid": mermaid_source}.get(output)
        text = words(chart.picture) if words else _json(chart)
        return [ChartFile(text.encode("utf-8"), output, 1, 1)]  # type: ignore[arg-type]
    if output not in FORMATS:
        raise InputError(
            f"there is no chart format {output!r}", right=f"formats are: {', '.join(FORMATS)}"
        )
    scenes = chart.pages(paper)
    smallest = min(scene.smallest_text() for scene in scenes)
    if output == "pdf":
        from stillflow.engine.charts.pdf import write_pdf

        data = write_pdf(scenes, chart.picture.title.date)
        return [ChartFile(data, "pdf", 1, 1, smallest)]
    files = []
    for number, scene in enumerate(scenes, 1):
        if output == "svg":
            from stillflow.engine.charts.svg import write_svg

            data = write_svg(scene)
        else:
            from stillflow.engine.charts.png import write_png

            data = write_png(scene, dpi)
        files.append(
            ChartFile(data, output, number, len(scenes), scene.smallest_text())  # type: ignore[arg-type]
        )
    return files


def _json(chart: Chart) -> str:
    content = {"chart": chart.name, "description": chart.picture.alt, **chart.data}
    return json.dumps(content, ensure_ascii=False, indent=2) + "\n"
