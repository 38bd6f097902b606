"""What a drill comes to: the trainee's route beside the planner's, and what to practise.

The planner plays the same house with the same luck, so what is over is not luck.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from stillflow.engine.base import counted, minutes, percent
from stillflow.engine.drill.house import DrillHouse
from stillflow.engine.drill.play import ENDINGS, WELL, Done, Drill, Ending, Possible, Walked
from stillflow.engine.ruleset import Knowledge

KNOWN = 0.8
"""From here on what is wrong could have been known."""

TOO_LITTLE = 0.4
"""A fix tried on less than this, where the planner would have done something else, is too early."""

TOLD_NOTHING = 0.01
"""A check that moves no fault's probability by as much told nothing."""

SLOW = 1.3
"""More than so many times the planner's minutes is worth practising again."""

MOST_STEPS = 200

PAST, HINT, GUESS = 10, 5, 5
"""Marks lost for a danger walked past (or a fix not proved), a hint, a fix tried on too little."""


@dataclass(frozen=True)
class Deduction:
    """Marks lost, and for what."""

    marks: int
    why: str


@dataclass(frozen=True)
class Review:
    """How a drill went, beside how the planner plays it.

    Attributes:
        yours: as the trainee played it.
        planners: as the planner played it.
        known: the step after which what was really wrong could have been known; None if never.
        told_nothing: checks that moved nothing.
        too_little: fixes tried on too little.
        walked_past: dangers walked past.
        practise: what to do next, a sentence each.
        practise_faults: ids of the faults to be practised again.
        losses: what the mark lacks of 100, the largest first.
        would_show: faults that stayed hidden, each with the quickest check that shows it, in words.
    """

    yours: Drill
    planners: Drill
    known: Done | None
    told_nothing: tuple[Done, ...]
    too_little: tuple[Done, ...]
    walked_past: tuple[Walked, ...]
    practise: tuple[str, ...]
    practise_faults: tuple[str, ...]
    losses: tuple[Deduction, ...]
    would_show: tuple[tuple[str, str], ...]

    @property
    def mark(self) -> int:
        """Of 100."""
        return max(0, 100 - sum(one.marks for one in self.losses))

    @property
    def over(self) -> float:
        """Minutes more than the planner took; less than none if it was quicker."""
        return self.yours.minutes - self.planners.minutes

    @property
    def ended_well(self) -> bool:
        """Whether what was wrong was put right or is in the right hands."""
        return self.yours.ending in WELL

    @property
    def comparable(self) -> bool:
        """Whether the planner's minutes are a measure: both ended well."""
        return self.ended_well and self.planners.ending in WELL


def play_by_plan(knowledge: Knowledge, house: DrillHouse) -> Drill:
    """The house played from its beginning as the planner would."""
    drill = Drill(knowledge, house.fresh())
    while drill.ending is None:
        step = drill.session.next_step()
        if step.check is not None and len(drill.done) < MOST_STEPS:
            # Also what the house says cannot be, where the paperwork leaves that open.
            drill.do(Possible.of(knowledge.checks[step.check.id]))
        elif step.fix is not None and len(drill.done) < MOST_STEPS:
            drill.do(Possible.of(knowledge.faults[step.fix.fault]))
        elif step.step == "stop":
            drill.stop()
        else:
            drill.leave()
    return drill


def review(drill: Drill, planners: Drill | None = None) -> Review:
    """What a drill that has ended comes to; `planners` is `play_by_plan`, where it was played."""
    planners = planners or play_by_plan(drill.knowledge, drill.house)
    known = next(
        (one for one in drill.done if not one.is_fix and (one.truth or 0.0) >= KNOWN), None
    )
    nothing = tuple(one for one in drill.done if one.tells and one.moved < TOLD_NOTHING)
    little = tuple(
        one
        for one in drill.done
        if one.is_fix and one.likely < TOO_LITTLE and one.better and one.said == "done"
    )
    over = drill.minutes > SLOW * planners.minutes + 1.0
    bad = drill.ending in ("not-mended", "stopped-for-nothing", "hurt")
    again = drill.house.call.faults if (bad and drill.ending != "hurt") or over or little else ()
    return Review(
        yours=drill,
        planners=planners,
        known=known,
        told_nothing=nothing,
        too_little=little,
        walked_past=tuple(drill.walked_past),
        practise=tuple(_practise(drill, nothing, little, known, again)),
        practise_faults=tuple(again),
        losses=losses_of(
            drill.ending or "not-mended",
            drill.minutes,
            planners.minutes,
            planners.ending or "not-mended",
            past=len(drill.walked_past),
            hints=drill.hints,
            guesses=len(little),
            unproved=drill.unproved,
        ),
        would_show=tuple(_would_show(drill)),
    )


def losses_of(
    ending: Ending,
    minutes_taken: float,
    planners: float,
    planners_ending: Ending,
    *,
    past: int,
    hints: int,
    guesses: int,
    unproved: bool = False,
) -> tuple[Deduction, ...]:
    """What is lost of 100 marks: everything for a house left as it was, or a stop sign ignored.

    Else the share by which it took longer than the planner, and so much each for dangers walked
    past, hints, fixes tried on too little, and a fix that nothing proved.

    Args:
        ending: of the drill.
        minutes_taken: by the trainee.
        planners: the planner's minutes; they are a measure only if the planner ended well.
        planners_ending: how the planner ended.
        past: dangers walked past.
        hints: how many.
        guesses: fixes tried on too little.
        unproved: whether a fix was left unproved.
    """
    if ending not in WELL:
        return (Deduction(100, ENDINGS[ending]),)
    measured = planners_ending in WELL and minutes_taken > planners
    slow = 100 - round(100 * planners / minutes_taken) if measured else 0
    found = (
        Deduction(slow, "minutes beyond the planner's"),
        Deduction(PAST * past, f"{counted(past, 'danger')} walked past"),
        Deduction(HINT * hints, counted(hints, "hint")),
        Deduction(GUESS * guesses, f"{guesses} tried on too little"),
        Deduction(PAST * unproved, "a fix that nothing proved"),
    )
    return tuple(sorted((one for one in found if one.marks), key=lambda one: -one.marks))


def _would_show(drill: Drill) -> Iterator[tuple[str, str]]:
    """Faults that were left hidden, each with the quickest check that all but proves it."""
    knowledge, choices = drill.knowledge, {one.id: one for one in drill.choices if one.check}
    for name in drill.house.call.remaining if drill.ending == "not-mended" else ():
        showing = {check for (check, _), faults in knowledge.shown.items() if name in faults}
        found = [choices[one] for one in sorted(showing) if one in choices]
        if found:
            quickest = min(found, key=lambda one: one.minutes)
            yield knowledge.faults[name].title, quickest.title


def _practise(
    drill: Drill,
    nothing: tuple[Done, ...],
    little: tuple[Done, ...],
    known: Done | None,
    again: tuple[str, ...],
) -> list[str]:
    said = []
    if drill.ending == "hurt":
        said.append(
            "Ask about danger signs before anything else, and stop where there are any: nothing in "
            "a house is worth a fire."
        )
    elif drill.walked_past:
        said.append(
            "Before each step, say what can hurt here: mains, a fan that starts, dust, heights, "
            "old walls, suction, heat, noise."
        )
    if little:
        said.append(
            "Before a fix, ask how sure you are: look at what its fault would show, and at what "
            f"else shows the same. '{little[0].title}' was {percent(little[0].likely)} likely."
        )
    if len(nothing) > 1:
        said.append(
            f"{counted(len(nothing), 'check')} told nothing apart. Before a check, say what each "
            "answer would change; if nothing, take another."
        )
    fixed = next((one for one in drill.done if one.is_fix and one.helped), None)
    if known is not None and (fixed is None or fixed.began - known.ended > 10.0):
        left = "" if fixed is None else f", {minutes(fixed.began - known.ended)} before you did it"
        said.append(f"After step {known.number} enough was known for the fix{left}.")
    if drill.unproved and drill.ending == "mended":
        said.append("Prove a fix: read again where it was short, and let the customer try.")
    if again:
        titles = " and ".join(f"'{drill.knowledge.faults[name].title}'" for name in again)
        said.append(f"Do {titles} again, in another house.")
    if not said:
        said.append("Nothing of this; go on to another house, or a level up.")
    return said
