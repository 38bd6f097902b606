"""What the README shows, made by the commands themselves: terminal output, and drawn charts.

Run `python tests/support/readme.py` to write it all anew; tests hold it fresh.
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
DRAWN = "<!-- drawn -->\n```sh\n"
FIX_LINES = 5


def demo_excerpt() -> str:
    """The check that settles the demo's fault, down to its answer, and five lines of its fix."""
    with tempfile.TemporaryDirectory() as folder:
        lines = stillflow("demo", "--out", folder).out.splitlines()
    fix = next(index for index, line in enumerate(lines) if re.match(r"\d+\. fix: ", line))
    check = max(i for i, line in enumerate(lines[:fix]) if re.match(r"\d+\. ", line))
    answer = next(i for i in range(check, fix) if lines[i].startswith("> "))
    shown = [*lines[check : answer + 1], *lines[fix : fix + FIX_LINES]]
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


def drawn(text: str) -> dict[str, bytes]:
    """The charts the README shows, by the path they are kept at, drawn anew."""
    charts = {}
    for piece in text.split(DRAWN)[1:]:
        _, *args = shlex.split(piece[: piece.index("```")].replace("\\\n", " "))
        place = args.index("--out") + 1
        path = args[place]
        with tempfile.TemporaryDirectory() as folder:
            args[place] = str(Path(folder) / Path(path).name)
            outcome = stillflow(*args)
            assert outcome.code == 0, outcome.err
            charts[path] = Path(args[place]).read_bytes()
    return charts


if __name__ == "__main__":
    README.write_text(fresh(README.read_text()))
    for kept, data in drawn(README.read_text()).items():
        chart = README.parent / kept
        chart.parent.mkdir(exist_ok=True)
        chart.write_bytes(data)
