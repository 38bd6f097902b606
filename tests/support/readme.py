"""What the README and the page of charts show, made by the commands themselves.

Run `python tests/support/readme.py` to write it all anew; tests hold it fresh.
"""

from __future__ import annotations

import re
import shlex
import tempfile
from pathlib import Path

from command import stillflow

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
CHARTS = ROOT / "casebook" / "charts" / "README.md"
DEMO = "<!-- from the demo -->\n```text\n"
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
    """The README with the output it shows made anew."""
    head, rest = text.split(DEMO)
    return head + DEMO + demo_excerpt() + rest[rest.index("```") :]


def drawn(text: str) -> dict[str, bytes]:
    """The charts the page of charts shows, by the path they are kept at, drawn anew."""
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
    for kept, data in drawn(CHARTS.read_text()).items():
        chart = ROOT / kept
        chart.parent.mkdir(exist_ok=True)
        chart.write_bytes(data)
