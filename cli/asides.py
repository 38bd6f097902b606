"""What can be looked at at any prompt of a visit: how, why, where, what was noted."""

from __future__ import annotations

import re
from datetime import datetime

from pydantic import ValidationError

from stillflow.cli.describe import show_belief, show_how, show_meanings
from stillflow.cli.intake import show_known
from stillflow.cli.screen import Screen, suction
from stillflow.engine import Session
from stillflow.engine.base import InputError, counted, minutes
from stillflow.engine.dialogue import NextStep, why_words
from stillflow.engine.inference import Event
from stillflow.engine.views import Whereabouts, note_words, whereabouts


def show_aside(screen: Screen, what: str, session: Session, step: NextStep) -> None:
    """Show what a person asks for with a word: how, why, where, notes or unit."""
    with screen.sheet():
        if what == "how":
            if step.check is not None:
                show_how(screen, step.check)
            elif step.fix is not None:
                screen.cautions(step.fix.cautions)
                screen.numbered(step.fix.steps)
        elif what == "where":
            show_where(screen, whereabouts(session))
        elif what == "notes":
            show_notes(screen, note_words(session))
        elif what == "unit":
            show_known(screen, session.knowledge, session.visit)
        else:
            show_why(screen, session, step)


def show_why(screen: Screen, session: Session, step: NextStep) -> None:
    """Why this now: the answer in a sentence first, then what it rests on."""
    screen.gap()
    words = why_words(step)
    if words:
        screen.text("Why this now:", style="bold")
        screen.text(words)
    # What speaks loudest; `stillflow why` tells all of it.
    screen.items([one for one in step.because if one != words][:2])
    if step.choice is not None and step.choice.runner_up:
        screen.item("-", f"The runner-up was: {step.choice.runner_up}")
    if not session.is_stopped:
        show_belief(screen, step, 3)
    if step.check is not None and not step.verifying:
        show_meanings(screen, session.meanings(step.check.id))


def show_where(screen: Screen, at: Whereabouts) -> None:
    """Where a visit stands: readings and their share, what is ruled out, what is open or undone."""
    screen.gap()
    spent = f"{counted(at.answers, 'answer')}, about {minutes(at.minutes)}"
    screen.head("Where we are", spent)
    for line in at.lifted:
        screen.item("stopped before:", line, 0)
    if at.readings:
        rows = [(label, suction(f), suction(e), share) for label, f, e, share in at.readings]
        screen.table(("inH2O", "found", "expected", "share"), rows)
    else:
        screen.text("Nothing has been measured yet.")
    if at.verdict:
        screen.text(at.verdict, style="bold")
    screen.items(at.sizes)
    for mark, lines in (("known:", at.known), ("done:", at.done), ("open:", at.open)):
        for line in lines:
            screen.item(mark, line, 0)
    for line in at.undone:
        screen.item("undone:", line, 0)
    if at.ruled_out:
        more = f", and {at.more} more" if at.more else ""
        screen.item("ruled out:", f"{'; '.join(at.ruled_out)}{more}.", 0)
    for line in at.notes:
        screen.item("noted:", line, 0)


def show_notes(screen: Screen, notes: tuple[str, ...]) -> None:
    """What was noted, and how to note more."""
    screen.gap()
    screen.items(notes)
    if not notes:
        screen.text("Nothing is noted yet.")
    screen.text("To note: note TEXT, part 2 x gasket at 12.50, price call 85, photo hall.jpg")


_NOTED = re.compile(r"(note|part|price|photo)(?:(?:\s*:\s*|\s+)(.*))?", re.IGNORECASE)
_PART = re.compile(
    r"(?P<kind>part|price) (?:(?P<count>[\d.]+) ?x )?(?P<what>.*?)"
    r"(?:\s*(?:\bat |\bfor |\s)(?P<price>\d+(?:[.,]\d+)?))?",
    re.IGNORECASE,
)


def note_said(line: str, at: datetime | None) -> Event | None:
    """A note, a part, a price or a photo's name that a line gives; None where it gives none.

    Raises:
        InputError: it gives one, but says nothing.
    """
    said = _NOTED.fullmatch(line.strip())
    if said is None:
        return None
    kind, rest = said[1].lower(), (said[2] or "").strip()
    text = f"{kind} {rest}"
    if not rest:
        right = "such as: note key is at the neighbour's; part 2 x gasket at 12.50"
        raise InputError(f"there is nothing to {kind}", right=right)
    if kind in ("note", "photo"):
        return Event(note=rest if kind == "note" else f"photo: {rest}", at=at)
    found = _PART.fullmatch(text)
    assert found is not None  # whatever stands there is at least a name
    return part_of(found["what"] or kind, found["count"] or "", found["price"] or "", at)


def part_of(what: str, count: str, price: str, at: datetime | None = None) -> Event:
    """A part or a line of the price as it was typed; count and price may be left out.

    Raises:
        InputError: count or price is no number, or cannot be one.
    """
    sums: dict[str, float | None] = {}
    for key, text in (("count", count), ("price", price)):
        typed = text.strip().replace(",", ".")
        try:
            sums[key] = float(typed) if typed else None
        except ValueError:
            raise InputError(f"'{typed[:20]}' is no {key}", right="such as 12.50") from None
    try:
        return Event(part=what[:200], at=at, **sums)
    except ValidationError:
        raise InputError("this count or price cannot be", right="such as 2 and 12.50") from None
