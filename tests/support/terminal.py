"""Runs the command line at a terminal of its own, as a person would: lines typed when asked for."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import struct
import subprocess
import sys
import termios
import time

_ESCAPES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]|\x1b[=>]")
_WAITS = re.compile(r"(?:\n> |leave it -- )$")


def at_terminal(*args: str, typed: list[str], rows: int = 24, seconds: float = 60) -> list[str]:
    """Run `stillflow ARGS` on a terminal of 80 columns.

    Args:
        args: of the command.
        typed: one line for each prompt, the pager's included.
        rows: of the terminal.
        seconds: after which it is given up.

    Returns:
        What stood there at each prompt and at the end, since the prompt before, without styles.
    """
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", rows, 80, 0, 0))
    environment = {**os.environ, "TERM": "xterm", "LINES": str(rows), "COLUMNS": "80"}
    command = [sys.executable, "-c", "from stillflow.cli.main import main; main()", *args]
    running = subprocess.Popen(
        command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment, close_fds=True
    )
    os.close(theirs)
    screens, seen, waiting = [], "", list(typed)
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if not select.select([ours], [], [], 0.2)[0]:
            continue
        try:
            chunk = os.read(ours, 65536)
        except OSError:  # the other side has been closed
            break
        if not chunk:
            break
        seen += _ESCAPES.sub("", chunk.decode(errors="replace")).replace("\r\n", "\n")
        if _WAITS.search(seen):
            screens.append(seen)
            seen = ""
            os.write(ours, waiting.pop(0).encode() + b"\n" if waiting else b"\x04")
    running.kill()
    running.wait()
    os.close(ours)
    return [*screens, seen]
