"""A scene as an SVG file, with titles that screen readers can read out."""

from __future__ import annotations

import zlib

from stillflow.engine.charts import text as words
from stillflow.engine.charts.scene import DASHES, Link, Mark, Outline, Scene, Text

FONT = "Helvetica, Arial, Arimo, 'Liberation Sans', sans-serif"


def write_svg(scene: Scene) -> bytes:
    """The scene as a self-contained SVG 1.1 file, UTF-8."""
    safe = words.escape
    mark = f"{zlib.crc32((scene.title + scene.description).encode()):08x}"
    w, h = _number(scene.width), _number(scene.height)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}pt" height="{h}pt" '
        f'viewBox="0 0 {w} {h}" role="img" aria-labelledby="title-{mark} desc-{mark}" '
        f'font-family="{FONT}">',
        f'<title id="title-{mark}">{safe(scene.title, "svg")}</title>',
        f'<desc id="desc-{mark}">{safe(scene.description, "svg")}</desc>',
        f'<rect width="{w}" height="{h}" fill="#ffffff"/>',
    ]
    for group in scene.groups:
        lines.append("<g>")
        if group.title:
            lines.append(f"<title>{safe(group.title, 'svg')}</title>")
        lines.extend(filter(None, map(_element, group.marks)))
        lines.append("</g>")
    lines.append("</svg>\n")
    return "\n".join(lines).encode("utf-8")


def _element(mark: Mark) -> str:
    if isinstance(mark, Text):
        return _text(mark)
    # Each page is a file of its own, under a name that is not known here.
    return "" if isinstance(mark, Link) else _path(mark)


def _text(mark: Text) -> str:
    style = ' font-weight="bold"' if mark.bold else ""
    if mark.anchor != "start":
        style += f' text-anchor="{mark.anchor}"'
    label = words.clean(mark.text)
    if words.is_measured(label) and len(label) > 1:
        # Keeps the words inside their box where the reader's machine has a wider typeface.
        length = _number(words.width(label, mark.size, mark.bold))
        style += f' textLength="{length}" lengthAdjust="spacingAndGlyphs"'
    return (
        f'<text x="{_number(mark.x)}" y="{_number(mark.y)}" font-size="{_number(mark.size)}" '
        f'fill="{mark.colour}"{style}>{words.escape(label, "svg")}</text>'
    )


def _path(mark: Outline) -> str:
    steps = [f"M{_pair(mark.start)}"]
    for segment in mark.segments:
        steps.append(("L" if len(segment) == 1 else "C") + " ".join(map(_pair, segment)))
    if mark.closed:
        steps.append("Z")
    dash = ""
    if DASHES[mark.dash]:
        dash = f' stroke-dasharray="{" ".join(_number(d * mark.width) for d in DASHES[mark.dash])}"'
    pen = f'stroke="{mark.stroke or "none"}" stroke-width="{_number(mark.width)}"'
    return f'<path d="{"".join(steps)}" fill="{mark.fill or "none"}" {pen}{dash}/>'


def _pair(point: tuple[float, float]) -> str:
    return f"{_number(point[0])},{_number(point[1])}"


def _number(value: float) -> str:
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
