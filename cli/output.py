"""The one way out: all that stillflow writes to a terminal, a pipe or standard error.

Without rich, which a program that wants JSON need not wait for.
"""

from __future__ import annotations

import json
import re
from typing import IO

import click


def say(
    words: str = "", *, err: bool = False, end: str = "\n", file: IO[str] | None = None
) -> None:
    """Words to standard output, standard error or a text stream, with `plain` characters only."""
    click.echo(f"{plain(words)}{end}", err=err, nl=False, file=file)


def show(rendered: str, file: IO[str] | None = None) -> None:
    """What the screen has rendered: its words were made `plain` before, its own styles stay."""
    click.echo(rendered, file=file)


def say_json(value: object) -> None:
    """A value as JSON, for programs."""
    say(json.dumps(value, indent=2, ensure_ascii=False))


def send(content: bytes | str) -> None:
    """What a file would hold, to standard output: text as UTF-8, whatever the terminal's letters.

    Bytes go out as they are, for pictures.
    """
    click.echo(plain(content).encode() if isinstance(content, str) else content, nl=False)


def plain(words: str) -> str:
    """Words with control characters written out as JSON writes them.

    What people, files and programs call things must not move the cursor, colour the screen, or
    turn the order of letters round.
    """
    return _CONTROL.sub(lambda found: f"\\u{ord(found[0]):04x}", words)


_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
