"""Runs the command line in this process, as a user would."""

from __future__ import annotations

import contextlib
import io
import sys
from dataclasses import dataclass
from unittest import mock

from stillflow.cli.main import run


@dataclass(frozen=True)
class Outcome:
    """What a command printed and its exit code."""

    code: int
    out: str
    err: str


def stillflow(*args: str, typed: str = "") -> Outcome:
    """Run `stillflow ARGS`, with `typed` on standard input."""
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", newline="") for _ in range(2))
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        mock.patch.object(sys, "stdin", io.StringIO(typed)),
    ):
        code = run(list(args))
    for stream in (out, err):
        stream.seek(0)
    return Outcome(code, out.read(), err.read())
