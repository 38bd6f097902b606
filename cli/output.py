"""The one way out: all that stillflow writes to a terminal, a pipe or standard error.

Without rich, which a program that wants JSON need not wait for.
"""

from __future__ import annotations

import json
import re
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import IO, TypeVar

import click

Item = TypeVar("Item")

_QUIET = 10.0
"""Seconds between two lines about how far a long thing is, where no person watches it."""


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


@contextmanager
def progress(label: str) -> Iterator[Callable[[int, int], None]]:
    """Say on standard error how far a long thing is: a bar for a person, else a line now and then.

    What it gives is to be told how many of how many are done.
    """
    shown = sys.stderr.isatty()
    with click.progressbar(length=1, label=label, file=sys.stderr, hidden=not shown) as bar:
        last = time.monotonic()

        def told(done: int, count: int) -> None:
            nonlocal last
            bar.length = max(count, 1)
            bar.update(done - bar.pos)
            if not shown and time.monotonic() - last > _QUIET:
                last = time.monotonic()
                say(f"{label}: {done:,} of {count:,}", err=True)

        yield told


def watched(items: Iterable[Item], count: int, label: str) -> Iterator[Item]:
    """The same items, while how many of them are done is told."""
    with progress(label) as told:
        for done, item in enumerate(items):
            told(done, count)
            yield item
        told(count, count)


def plain(words: str) -> str:
    """Words with control characters written out as JSON writes them.

    What people, files and programs call things must not move the cursor, colour the screen, or
    turn the order of letters round.
    """
    return _CONTROL.sub(lambda found: f"\\u{ord(found[0]):04x}", words)


_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
