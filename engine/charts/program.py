"""The program that lays graphs out and paints PNGs: finding it and running it.

Two programs will do: the one that the `graphviz-pure` package brings along, and a Graphviz
installed on the machine. The first is preferred, because it carries its own typeface and gives
the same bytes on every machine; labels are measured for that typeface.
"""

from __future__ import annotations

import functools
import shutil
import sys
from pathlib import Path
from typing import Literal

from stillflow.engine.base import SetupError

_BUNDLED = "graphviz-pure"


@functools.cache
def find_program() -> Path:
    """The layout program.

    Returns:
        Path of the `graphviz-pure` program, else of a `dot` on the PATH.

    Raises:
        SetupError: neither is there; says what to install and which formats need neither.
    """
    for candidate in (_from_package(), _beside_python(), shutil.which(_BUNDLED)):
        if candidate is not None and Path(candidate).is_file():
            return Path(candidate)
    system = shutil.which("dot")
    if system is not None:
        return Path(system)
    raise SetupError(
        "no Graphviz program was found, so no chart can be laid out",
        right="install one with: pip install graphviz-pure; "
        "formats that can be made without it: dot, mermaid, json",
    )


def has_house_typeface() -> bool:
    """Whether the program is the one with its own typeface; what others paint with is unknown."""
    return find_program().stem == _BUNDLED


def _from_package() -> Path | None:
    from importlib import metadata

    try:
        files = metadata.files(_BUNDLED) or []
    except metadata.PackageNotFoundError:
        return None
    for file in files:
        if file.stem == _BUNDLED and file.suffix in ("", ".exe"):
            return Path(str(file.locate()))
    return None


def _beside_python() -> Path | None:
    folder = Path(sys.executable).parent
    found = shutil.which(_BUNDLED, path=str(folder))
    return Path(found) if found else None


def run(source: str, output: Literal["json0", "png", "svg"], *, placed: bool = False) -> bytes:
    """Feed DOT source to the program.

    Args:
        source: one graph.
        output: "json0" for positions, "png" or "svg" for a picture.
        placed: True where the source already holds every position (no layout is done).

    Raises:
        SetupError: the program is missing or fails.
    """
    import graphviz
    from graphviz.backend import dot_command

    dot_command.DOT_BINARY = find_program()
    try:
        answer = graphviz.pipe(
            "neato" if placed else "dot",
            output,
            source.encode("utf-8"),
            neato_no_op=2 if placed else None,
            quiet=True,
        )
    except (graphviz.CalledProcessError, graphviz.ExecutableNotFound) as problem:
        detail = getattr(problem, "stderr", b"") or str(problem)
        words = detail.decode("utf-8", "replace") if isinstance(detail, bytes) else str(detail)
        raise SetupError(
            f"the Graphviz program {dot_command.DOT_BINARY} failed: {words[:300]}",
            right="formats that can be made without it: dot, mermaid, json",
        ) from problem
    return bytes(answer)
