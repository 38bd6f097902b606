"""Scenes as one PDF file, a page each, in lines and letters (not pixels).

Needs the optional extra `pdf`: `fpdf2` writes the file, `fontpkg-arimo` brings the typeface that
labels are measured for, which is embedded so that every printer has it.
"""

from __future__ import annotations

import datetime
import importlib
import logging
from collections.abc import Iterable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from stillflow.engine.base import SetupError
from stillflow.engine.charts import text as words
from stillflow.engine.charts.scene import DASHES, Link, Mark, Outline, Scene, Text

_FACE = "Arimo"
_MISSING = "\u25a1"
_EPOCH = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)


def write_pdf(scenes: Sequence[Scene], date: datetime.date | None = None, title: str = "") -> bytes:
    """The scenes as the pages of one file, each page as large as its scene.

    Args:
        scenes: at least one.
        date: the day written into the file as its day of creation; without one a fixed day
            is written, so that the same input gives the same bytes.
        title: of the whole file; without one, the first scene's.

    Raises:
        SetupError: the extra `pdf` is not installed; says which formats can be made.
    """
    document = _document(scenes[0], date, title)
    with TemporaryDirectory(prefix="stillflow-pdf-", ignore_cleanup_errors=True) as folder:
        marks = (mark for scene in scenes for group in scene.groups for mark in group.marks)
        file = _typeface((mark.text for mark in marks if isinstance(mark, Text)), Path(folder))
        for style, weight in (("", 400), ("B", 700)):
            document.add_font(_FACE, style, file, variations={"wght": weight})
        for scene in scenes:
            document.add_page(format=(scene.width, scene.height))
            document.start_section(words.clean(scene.title))
            for part in scene.parts:
                document.start_section(words.clean(part), level=1)
            for group in scene.groups:
                for mark in group.marks:
                    _draw(document, mark)
        return bytes(document.output())


def _document(first: Scene, date: datetime.date | None, title: str) -> Any:
    try:
        fpdf = importlib.import_module("fpdf")
        importlib.import_module("fontpkg_arimo")
    except ImportError as problem:
        raise SetupError(
            f"PDF cannot be made here, because {problem.name} is not installed",
            right="install it with: pip install 'stillflow[pdf]'; "
            "formats that can be made now: svg, png, dot, mermaid, json",
        ) from problem
    logging.getLogger("fontTools.subset").setLevel(logging.WARNING)
    document = fpdf.FPDF(unit="pt", format=(first.width, first.height))
    document.set_auto_page_break(False)
    document.set_margin(0)
    document.set_title(words.clean(title or first.title))
    document.set_subject(words.clean(first.description))
    document.set_lang("en")
    when = datetime.datetime.combine(date, datetime.time(), datetime.UTC) if date else _EPOCH
    document.set_creation_date(when)
    return document


def _typeface(texts: Iterable[str], folder: Path) -> Path:
    """A file in a folder of the typeface with no letters but those of the texts.

    To make a weight of all letters that it has takes a second, and what tells how letters are to
    be joined is not looked at.
    """
    arimo = importlib.import_module("fontpkg_arimo")
    subset = importlib.import_module("fontTools.subset")
    options = subset.Options(layout_features=[], notdef_outline=True)
    font = subset.load_font(arimo.ROOT / "files" / "Arimo[wght].ttf", options)
    subsetter = subset.Subsetter(options)
    subsetter.populate(text="".join({letter for text in texts for letter in _label(text)}))
    subsetter.subset(font)
    path = folder / "Arimo.ttf"
    subset.save_font(font, path, options)
    return path


def _draw(document: Any, mark: Mark) -> None:
    if isinstance(mark, Text):
        _text(document, mark)
    elif isinstance(mark, Link):
        there = document.add_link(page=mark.page)
        document.link(mark.x, mark.y, mark.width, mark.height, there)
    elif mark.fill or mark.stroke:
        _path(document, mark)


def _label(text: str) -> str:
    """The letters of a text as they stand on paper, from left to right."""
    label = words.clean(text)
    for character in words.unknown(label):
        label = label.replace(character, _MISSING)
    if not label.isascii():
        bidi = importlib.import_module("fpdf.bidi")
        left_to_right = importlib.import_module("fpdf.enums").TextDirection.LTR
        label = bidi.BidiParagraph(label, left_to_right).get_reordered_string()
    return label


def _text(document: Any, mark: Text) -> None:
    label = _label(mark.text)
    if not label:
        return
    document.set_font(_FACE, "B" if mark.bold else "", mark.size)
    document.set_text_color(mark.colour)
    span = document.get_string_width(label)
    shift = {"start": 0.0, "middle": span / 2, "end": span}[mark.anchor]
    document.text(mark.x - shift, mark.y, label)


def _path(document: Any, mark: Outline) -> None:
    with document.new_path(*mark.start) as path:
        style = path.style
        style.auto_close = False
        style.fill_color = mark.fill or None
        style.stroke_color = mark.stroke or None
        style.stroke_width = mark.width
        dashes = DASHES[mark.dash]
        style.stroke_dash_pattern = [d * mark.width for d in dashes] if dashes else None
        for segment in mark.segments:
            if len(segment) == 1:
                path.line_to(*segment[0])
            else:
                path.curve_to(*segment[0], *segment[1], *segment[2])
        if mark.closed:
            path.close()
