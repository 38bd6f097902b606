"""The one way in: lines typed by a person, or read from a pipe."""

from __future__ import annotations

import io
import re
import sys
from contextlib import suppress
from typing import TextIO

from stillflow.cli.output import say
from stillflow.engine.base import InputError

_LONGEST = 2000
"""Characters of a line that are taken; the longest answer, a complaint, has as many."""

_early: list[str] = []
"""Lines typed before their question stood there: while pages were turned, or pasted at once."""


def ask(question: str = "") -> str:
    """One line from the person, or from the pipe.

    At a terminal the line can be edited, and earlier ones called back.

    Raises:
        EOFError: the input has ended.
        InputError: there is no input at all.
    """
    stream = _stream()
    while True:
        if question:
            say(question)
        if _early:
            line = _early.pop(0)
            say(f"> {line}")
        else:
            line = _line(stream)
        if all(not "\ud800" <= mark <= "\udfff" for mark in line):
            # What is pasted as several lines comes as one where the line can be edited.
            first, *others = re.split(r"\r\n|\r|\n", line.rstrip("\r\n"))
            _early[:0] = others
            return first[:_LONGEST]
        say("This is not text in UTF-8; type it again.")


def turns_page() -> bool:
    """Whether the person goes on to the next page; False to leave the rest.

    What is typed instead of Enter is the answer to the question below: the rest is shown, and the
    question takes it.

    Raises:
        EOFError: the input has ended.
    """
    if _early or not _stream().isatty():
        return True
    line = input("-- more: Enter; q to leave it -- ")
    if line.strip() and line.strip().lower() != "q":
        _early.append(line)
    return line.strip().lower() != "q"


def _stream() -> TextIO:
    stream = sys.stdin
    if stream is None or stream.closed:
        raise InputError("there is nothing to read answers from", right="run it at a terminal")
    if isinstance(stream, io.TextIOWrapper) and stream.errors != "surrogateescape":
        stream.reconfigure(errors="surrogateescape")  # judged above, not by the decoder
    return stream


def _line(stream: TextIO) -> str:
    if stream is sys.__stdin__ and stream.isatty() and sys.stdout.isatty():
        with suppress(ImportError):
            import readline  # noqa: F401 - that it is there gives `input` its line editing
        return input("> ")
    say("> ", end="")
    line = stream.readline()
    if not line:
        say()
        raise EOFError
    if not stream.isatty():
        # A pipe does not echo; show what was answered, so that the log reads as a dialogue.
        say(line.rstrip("\n"))
    return line
