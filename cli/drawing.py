"""Charts written to files: the format follows from the file's name."""

from __future__ import annotations

from pathlib import Path

from stillflow.engine import Session
from stillflow.engine.charts.reasoning import reasoning_chart
from stillflow.engine.charts.render import Chart, render
from stillflow.engine.errors import InputError, Place
from stillflow.engine.pathview import reasoning_path
from stillflow.engine.trace import rounds

ENDINGS = {
    ".svg": "svg",
    ".png": "png",
    ".pdf": "pdf",
    ".dot": "dot",
    ".mmd": "mermaid",
    ".json": "json",
}


def write_chart(chart: Chart, path: Path) -> None:
    """Write a chart in the format its file name asks for.

    Raises:
        InputError: no such format, or the file cannot be written.
    """
    if path.suffix.lower() not in ENDINGS:
        right = f"end it in {', '.join(ENDINGS)}"
        raise InputError(f"'{path.suffix}' is not a format for charts", Place(str(path)), right)
    data = render(chart, ENDINGS[path.suffix.lower()])[0].data
    write_file(path, data)


def write_file(path: Path, data: bytes) -> None:
    """Write bytes. Errors as `write_chart`."""
    try:
        path.write_bytes(data)
    except OSError as problem:
        reason = problem.strerror or "it cannot be written"
        raise InputError(reason.lower(), Place(str(path)), "choose another place") from None


def draw_reasoning(session: Session, path: Path, fault: str | None = None) -> None:
    """Draw the round that led to the last fix, or the one still open. Errors as `write_chart`."""
    every = rounds(session)
    fixed = [one for one in every if one.repair is not None]
    view = reasoning_path(session, fixed[-1] if fixed else every[-1], fault)
    focus = "" if fault is None else f"fault:{fault}"
    write_chart(reasoning_chart(view, focus), path)
