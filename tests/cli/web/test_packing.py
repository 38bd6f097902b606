"""What works beside the server ends with it."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

PROGRAM = Path(__file__).parents[2] / "support" / "killed_server.py"


def runs(number: str) -> bool:
    """Whether a process of this number is there and no zombie."""
    try:
        return ") Z " not in Path(f"/proc/{number}/stat").read_text("utf-8")
    except OSError:
        return False


def test_a_server_that_is_killed_leaves_nobody_behind() -> None:
    ended = subprocess.run(
        [sys.executable, str(PROGRAM)], capture_output=True, text=True, timeout=60, check=False
    )
    number = ended.stdout.strip()
    assert number.isdigit(), ended.stderr
    until = time.monotonic() + 20
    while runs(number) and time.monotonic() < until:
        time.sleep(0.1)
    assert not runs(number)
