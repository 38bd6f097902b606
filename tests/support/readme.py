"""The terminal output shown in the README, made by the commands themselves.

Run `python tests/support/readme.py` to write it anew; a test holds it fresh.
"""

from __future__ import annotations

import re
import shlex
import tempfile
from pathlib import Path

from command import stillflow

README = Path(__file__).parents[2] / "README.md"
DEMO = "<!-- from the demo -->\n```text\n"
CHECKED = "<!-- checked output -->\n```text\n"
DEMO_LINES = 5


def demo_excerpt() -> str:
    """Five lines of the check that settles the demo's fault, and five of its fix."""
    with tempfile.TemporaryDirectory() as folder:
        lines = stillflow("demo", "--out", folder).out.splitlines()
    fix = next(index for index, line in enumerate(lines) if re.match(r"\d+\. fix: ", line))
    check = max(i for i, line in enumerate(lines[:fix]) if re.match(r"\d+\. ", line))
    shown = [*lines[check : check + DEMO_LINES], *lines[fix : fix + DEMO_LINES]]
    return "\n".join(shown) + "\n"


def fresh(text: str) -> str:
    """The README with every shown output made anew."""
    head, rest = text.split(DEMO)
    text = head + DEMO + demo_excerpt() + rest[rest.index("```") :]
    pieces = text.split(CHECKED)
    made = [pieces[0]]
    for piece in pieces[1:]:
        command = piece.splitlines()[0]
        outcome = stillflow(*shlex.split(command.removeprefix("$ stillflow ")))
        made.append(f"{command}\n{outcome.out}{piece[piece.index('```') :]}")
    return CHECKED.join(made)


if __name__ == "__main__":
    README.write_text(fresh(README.read_text()))
