"""Calls played at the prompt and written down, 80 columns wide, for a trainer to read aloud.

Run it to write them anew: python tests/support/recordings.py
"""

from __future__ import annotations

import re
import tempfile
from pathlib import Path
from textwrap import fill

from command import stillflow

from stillflow.casebook.cases import named_case, play
from stillflow.casebook.store import Casebook
from stillflow.engine import load_rules
from stillflow.engine.dialogue import NextStep
from stillflow.engine.inference import NO_ANSWER

FOLDER = Path(__file__).parents[2] / "casebook" / "recordings"
FIRST = 6
"""Steps of a call after which something is typed besides its answers."""

CALLS: dict[str, tuple[str, tuple[str, ...]]] = {
    "worn-brushes": ("worn-brushes", ("why", "where")),
    "clogged-hose": ("clogged-hose", ("note the label says 128", "label says 128", "notes")),
    "danger-in-the-middle": ("hissing-closed-inlet", ("danger", "3", "where", "yes")),
}
"""Name of a recording -> the worked case it plays, and what is typed besides in its middle."""


def recorded(name: str) -> str:
    """One call as it stands on the screen."""
    case_name, besides = CALLS[name]
    case = named_case(case_name)
    assert case is not None
    played = play(case, load_rules())
    turns = list(played.turns)
    middle = min(len(turns) // 2, FIRST)
    lines: list[str] = []
    for number, (turn, event) in enumerate(zip(turns, played.visit.events, strict=False)):
        if number == middle:
            lines += besides
        lines += typed_for(turn.step, turn.answer, event.inlet)
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{folder}/casebook.db"
        begun = Casebook(url).begin(case.visit.model_copy(update={"described": True, "id": ""}))
        typed = "".join(f"{line}\n" for line in lines)
        outcome = stillflow("visit", "--db", url, "--resume", begun.id, typed=typed)
    assert outcome.code == 0, outcome.err
    head = fill(f"{case.visit.site.name}: {case.visit.complaint}", 80)
    # Read aloud, what there was to learn comes when all is found. Nobody's casebook is named.
    lesson = fill(f"What there was to learn: {case.teaches}", 80)
    out = re.sub(r"\s+--db\s+sqlite:\S+", "", outcome.out)
    return f"{head}\n{out}\n{lesson}\n"


def screens(text: str) -> list[str]:
    """A recording prompt by prompt: what was shown, with the line typed at its end."""
    found: list[str] = []
    lines: list[str] = []
    for line in text.splitlines():
        lines.append(line)
        if line.startswith("> "):
            found.append("\n".join(lines))
            lines = []
    return [*found, "\n".join(lines)] if lines else found


def typed_for(step: NextStep, answer: float | str | bool, inlet: str | None) -> list[str]:
    if step.fix is not None:
        return ["yes" if answer else "no", *([inlet or ""] if step.fix.asks_inlet else [])]
    assert step.check is not None
    if answer in NO_ANSWER:
        return [str(answer)]
    options = [one.id for one in step.check.answers]
    asks = step.check.asks_inlet
    line = f"{answer:g}" if isinstance(answer, float) else str(answer)
    if line in options:
        asks = step.check.answers[options.index(line)].inlet
        line = str(options.index(line) + 1)
    return [line, *([inlet or ""] if asks else [])]


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name in CALLS:
        (FOLDER / f"{name}.txt").write_text(recorded(name), encoding="utf-8")
