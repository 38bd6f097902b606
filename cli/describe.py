"""Steps, beliefs and baselines as a person reads them on the screen."""

from __future__ import annotations

from collections.abc import Sequence

from stillflow.cli.screen import Screen, suction
from stillflow.engine import Session
from stillflow.engine.base import Station, in_percent, minutes, percent
from stillflow.engine.dialogue import (
    CheckStep,
    FixStep,
    Meaning,
    Measured,
    NextStep,
    PutBackStep,
    Said,
    Summary,
)
from stillflow.engine.inference import NO_ANSWER, Pair, inlet_words
from stillflow.engine.ruleset import Check

MODE_WORDS = {
    "leak": "leak",
    "obstruction": "obstruction",
    "weak-power": "weak power",
    "setting": "setting",
    "measurement": "measurement",
    "normal": "normal",
}


def about(value: float) -> str:
    """How long a step takes, as its heading says it."""
    words = minutes(value)
    return f"about {words}" if words[0].isdigit() else words


def place_words(step: CheckStep) -> str:
    """Where the gauge goes, in words."""
    if step.station is None:
        return ""
    return {
        Station.UNIT: "at the unit, tubing off",
        Station.UTILITY: "at the utility inlet",
        Station.INLET: f"at {step.inlet}",
        Station.OTHER: f"at {step.inlet}",
        Station.HOSE: f"at the hose end, hose in {step.inlet}",
    }[step.station]


def show_check(
    screen: Screen,
    step: CheckStep,
    number: int,
    reminder: str = "",
    then: CheckStep | None = None,
) -> None:
    """A check to make: what to do, its dangers, then the answers.

    Args:
        screen: where to.
        step: the check, with the cautions to show in full.
        number: of the step, from 1; 0 for a question that is asked beside them.
        reminder: the cautions that were shown in full before, in a line.
        then: the reading that is likely to be taken with it, while the gauge is there.
    """
    kind = "measure" if step.kind == "reading" else "look, ask or try"
    screen.gap()
    screen.head(f"{number}. {kind}" if number else "once more", about(step.minutes))
    screen.text(step.ask, style="bold")
    if step.station is not None:
        screen.text(f"Gauge {place_words(step)}, {step.condition}.")
    if then is not None:
        screen.text(f"Leave the gauge on: the {then.condition} reading most likely comes next.")
    if len(step.inlets) > 1:
        screen.text(f"Begin with {', then '.join(step.inlets[:4])}.")
    if step.opens:
        screen.text(f"First: {step.opens}.")
    screen.cautions(step.cautions)
    if reminder:
        screen.item("CAUTION", f"As before: {reminder}", 0, "bold red")
    for index, answer in enumerate(step.answers, 1):
        screen.item(f"{index}", answer.label)


def show_put_back(screen: Screen, before: PutBackStep, reminder: str = "") -> None:
    """What stands open and is put back before a step; arguments as `show_check`."""
    screen.gap()
    screen.head("first put back", about(before.minutes))
    screen.cautions(before.cautions)
    if reminder:
        screen.item("CAUTION", f"As before: {reminder}", 0, "bold red")
    screen.numbered(before.steps)


def show_how(screen: Screen, step: CheckStep) -> None:
    """How to do a check, and what its answers look like."""
    screen.gap()
    screen.text("How to:", style="bold")
    screen.cautions(step.cautions)
    if step.station is Station.OTHER and step.inlet and not step.asks_inlet:
        meant = inlet_words(step.inlet)
        screen.text(f"Choose {meant}; another only where it cannot be read, and say so: 92 at NAME")
    screen.numbered(step.how)
    looks = [(answer.label, answer.looks) for answer in step.answers if answer.looks]
    if looks:
        screen.text("What the answers look like:", style="bold")
        screen.items(f"{label}: {words}" for label, words in looks)
    if step.needs:
        screen.text(f"You need: {', '.join(step.needs)}.")


def show_fix(screen: Screen, fix: FixStep, number: int, reminder: str = "") -> None:
    """A fix: what to do, its dangers, then the steps; arguments as `show_check`."""
    screen.gap()
    screen.head(f"{number}. fix: {fix.title}", about(fix.minutes))
    screen.cautions(fix.cautions)
    if reminder:
        screen.item("CAUTION", f"As before: {reminder}", 0, "bold red")
    if fix.refer:
        screen.text(f"This work belongs to {fix.refer}.", style="bold")
    screen.item("make sure:", fix.confirm, 0)
    if len(fix.inlets) > 1:
        screen.item("where?", f"look at {', then '.join(fix.inlets[:4])}", 0)
    screen.numbered(fix.steps)
    if fix.parts:
        screen.text(f"Parts: {', '.join(fix.parts)}.")
    screen.item("look for:", fix.after, 0)


def show_belief(screen: Screen, step: NextStep, most: int = 4) -> None:
    """The likeliest faults; none for a visit that is over."""
    if step.ending is not None:
        return
    rows = [(fault.title, percent(fault.probability)) for fault in step.faults[:most]]
    screen.table(("if that was not all, likely" if step.verifying else "now likely", ""), rows)


def show_because(screen: Screen, step: NextStep) -> None:
    """Why this step now: the sentences, then the minutes."""
    screen.items(step.because)
    choice = step.choice
    if choice is None:
        return
    screen.item("-", f"From here about {minutes(choice.expected)} to a verified fix.")
    if step.check is not None and choice.saved >= 0.5:
        without = minutes(choice.fixing_only)
        screen.item("-", f"Trying fixes without further checks would take about {without}.")
    if choice.runner_up and choice.runner_up_expected is not None:
        second = minutes(choice.runner_up_expected)
        screen.item("-", f"The runner-up was: {choice.runner_up} (about {second}).")


def show_meanings(screen: Screen, meanings: Sequence[Meaning]) -> None:
    """What each answer would make of the belief, or that it ends the visit."""
    screen.text("If the answer is", style="bold")
    for meaning in meanings:
        then = f"then likeliest {meaning.fault} ({percent(meaning.probability)})"
        if meaning.stops:
            then = f"the visit ends here. {meaning.stops}"
        screen.item(percent(meaning.chance), f"{meaning.answer}: {then}")


def show_baseline(screen: Screen, session: Session, found: dict[Station, Pair]) -> None:
    """Expected beside found at each station that was measured, and at further inlets."""
    rows = []
    baseline = session.baseline
    # From the fan to the hose end, as the air path runs.
    for station in (one for one in Station if one in found):
        pair = found[station]
        for state in ("sealed", "working"):
            value = getattr(pair, state)
            expected = getattr(baseline.expected[station], state)
            if value is not None:
                share = in_percent(value / expected)
                rows.append(
                    (f"{state} at {station.words}", suction(value), suction(expected), share)
                )
    for (state, at), value in session.progress.situation.readings.items():
        if not isinstance(at, Station):
            expected = baseline.at(state, at)
            where = session.progress.inlets.words(at)
            share = in_percent(value / expected)
            rows.append((f"{state} at {where}", suction(value), suction(expected), share))
    screen.table(("inH2O", "found", "expected", "share"), rows)
    screen.text(f"Expected from {baseline.note}.", 2)


def show_said(screen: Screen, said: Said, mended: bool = False) -> None:
    """What the readings come to: the verdict, how big it would be, what is left at the hose.

    Args:
        screen: where to.
        said: what to show.
        mended: whether a fix is being proved, or was: belief is then over what else there might
            be, and would be mistaken for a finding.
    """
    if not mended:
        screen.text(said.verdict, style="bold")
        screen.items(said.sizes)
    screen.items(said.left)


def show_share(screen: Screen, session: Session, step: CheckStep | Check) -> bool:
    """A reading just taken beside what was expected there; whether one was taken."""
    state, station = step.condition, step.station
    last = next((one for one in reversed(session.events) if one.check == step.id), None)
    if last is None or last.answer in NO_ANSWER:
        return False  # The same was read at another inlet, and would be told for this one.
    taken = reversed(session.progress.accepted)
    value = next((one.answer for one in taken if one.check.id == step.id), None)
    if state is None or station is None or value is None:
        return False
    expected = session.baseline.at(state, station)
    share = in_percent(float(value) / expected)
    note = session.baseline.note
    screen.text(f"That is {float(value):.3g} of {expected:.0f} expected from {note}: {share}.")
    return True


def show_reading(screen: Screen, session: Session, step: CheckStep | Check) -> None:
    """A reading just taken beside what was expected there, and what all readings come to."""
    if not show_share(screen, session, step):
        return
    now = session.next_step()
    show_said(screen, session.said(), mended=bool(now.verifying) or now.ending is not None)


def show_summary(screen: Screen, summary: Summary, ended: bool = False) -> None:
    """What was measured, done, and measured again: the customer's page.

    Args:
        screen: where to.
        summary: what to show.
        ended: whether the ending was just shown, so that it need not be said twice.
    """
    screen.gap()
    screen.head("Summary")
    for label, words in summary.facts:
        screen.item(f"{label}:", words, 0)
    if summary.complaint:
        screen.item("complaint:", summary.complaint, 0)
    if summary.before:
        screen.text("Measured before:")
        screen.table(
            ("inH2O", "found", "expected"),
            [(r.label, suction(r.found), suction(r.expected)) for r in summary.before],
        )
    if summary.looked:
        screen.text("Looked at, asked and tried:")
    screen.items(summary.looked)
    if summary.sizes:
        screen.text("By these readings and what was seen:")
    screen.items(summary.sizes)
    for mark, lines in (
        ("done:", [f"{one.done}." for one in summary.done]),
        ("left undone:", summary.left),
        ("not there:", summary.absent),
    ):
        for line in lines:
            screen.item(mark, line, 0)
    screen.cautions(summary.cautions)
    for number, readings in enumerate((*summary.between, summary.after), 1):
        if readings:
            which = "" if number > len(summary.between) else f" fix {number}, before the next"
            screen.text(f"Measured after{which}:")
            _show_measured(screen, readings)
    screen.items(summary.proof)
    if not ended:
        screen.item("end:", summary.ending, 0)
    screen.item("rules:", summary.rules, 0)
    for step in summary.put_back:
        screen.item("put back:", step, 0)
    if summary.all_back:
        screen.item("put back:", "all that was opened or unplugged.", 0)


def _show_measured(screen: Screen, readings: Sequence[Measured]) -> None:
    """Readings after a fix, beside the first that was taken at the same place."""
    rows = [
        (
            one.label,
            "not read" if one.before is None else suction(one.before),
            suction(one.found),
            suction(one.expected),
        )
        for one in readings
    ]
    screen.table(("inH2O", "before", "found", "expected"), rows)


def show_ending(screen: Screen, step: NextStep) -> None:
    """Why the guided part ends, and who comes next."""
    ending = step.ending
    if ending is None:
        return
    title = {"stop": "STOP HERE", "refer": "Hand over", "done": "Done"}[step.step]
    screen.gap()
    screen.head(title)
    screen.text(ending.what, style="bold")
    if step.step == "stop":
        screen.items(step.because)
        screen.numbered(filter(None, (ending.do_not, ending.call and f"Call: {ending.call}")), 0)
    elif ending.call:
        screen.item("call:", ending.call, 0)
