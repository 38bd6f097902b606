"""Inspections of what hands do: steps near mains or at a height must say so first.

Whether a step is near a danger is told by its tools, by what it opens, and by its words. Words
can mean two things (the plug of a cord, a plug of dirt), so each has the words that excuse it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from stillflow.engine.audit.finding import Severity, Slips, inspection
from stillflow.engine.audit.subject import Subject
from stillflow.engine.ruleset import Knowledge


@dataclass(frozen=True)
class DangerWords:
    """Words that tell of a danger, unless others in the same sentence excuse them."""

    words: re.Pattern[str]
    unless: re.Pattern[str] | None = None

    def seen_in(self, sentence: str) -> str:
        """The telling words in a sentence, or nothing."""
        found = self.words.search(sentence)
        if found is None or (self.unless is not None and self.unless.search(sentence)):
            return ""
        return found.group(0)


def _sign(words: str, unless: str = "") -> DangerWords:
    excuse = re.compile(unless, re.IGNORECASE) if unless else None
    return DangerWords(re.compile(words, re.IGNORECASE), excuse)


MAINS = (
    _sign(r"\b(mains|house current|voltage|volts?|breakers?|fuses?|circuits?|electric\w*)\b"),
    _sign(r"\bunplug\w*", r"\bunplug\w* (the |a |its )?hose|hose (is )?unplugged"),
    _sign(r"\b(wiring|wires?)\b", r"\b(no|never|bare|a) (bare )?wires?\b|wire brush"),
    _sign(r"\b(power|wall|electrical) (outlet|socket|point|strip)s?\b|\bsockets?\b"),
    _sign(r"\boutlets?\b", r"\b(dust|exhaust|air|blows?)\b"),
    _sign(r"\b(extension|supply|power|unit's|its|the) cord\b|\bcord and motor\b"),
    _sign(r"\b(its|own|the|unit's) plug\b", r"\b(dirt|debris|hair|lint|pliers|clog)\b"),
    _sign(r"\bplug (the unit|it) (in|back|straight)\b"),
    _sign(r"\bmotor( ?'s)? cover\b"),
    _sign(r"\bcontacts?\b", r"\b(good|bad|poor|loose) contact\b"),
)
"""What tells of mains voltage, or of work inside a machine that hangs on it."""

HEIGHTS = (
    _sign(r"\bladders?\b|\bsteps? ?stool\b|\bscaffold\w*"),
    _sign(r"\battics?\b|\broofs?\b|\brafters?\b|\bclimb\w*"),
)
"""What tells of a height to fall from."""

DUST = (
    _sign(r"\b(droppings|mold|moldy|mildew|nests?|silica|asbestos)\b"),
    _sign(r"\b(plaster|grout|concrete|drywall|building) dust\b"),
)
"""What tells of dust that makes people ill."""

FIRE = (
    _sign(r"\b(gasoline|petrol|solvents?|thinner|lighter fluid|acetone|alcohol)\b"),
    _sign(r"\b(flammable|torch|blowtorch|open flame|embers?|hot ash(es)?)\b"),
)
"""What tells of something that burns."""

_REFUSED = r"\b(never|not|nor|no|without|keep)\b"
FORBIDDEN = (
    _sign(
        r"\b(bridg|jumper|bypass|short|defeat|wedg|tap(e|ing) over)\w*\b[^.;]*"
        r"\b(protector|cut-?out|breaker|fuse|interlock|overload|ground)\b",
        _REFUSED,
    ),
    _sign(r"\bdischarg\w+\b[^.;]*\bcapacitors?\b", _REFUSED),
    _sign(
        r"\b(pour|spray|suck|vacuum)\w*\b[^.;]*"
        r"\b(gasoline|petrol|solvent|thinner|lighter fluid|acetone|alcohol|embers?|hot ash)\b",
        _REFUSED,
    ),
    _sign(
        r"\b(fingers?|hands?)\b[^.;]*\b(running|turning|spinning) (fan|motor|brush|roller)",
        _REFUSED,
    ),
    _sign(r"\b(sweep|blow|brush|vacuum)\w*\b[^.;]*\b(droppings|mold|asbestos)\b", _REFUSED),
)
"""What no caution makes right."""

_MAINS_TOOLS = frozenset({"meter", "multimeter", "voltmeter", "clamp-meter"})
_HEIGHT_TOOLS = frozenset({"ladder", "steps", "scaffold"})


@dataclass(frozen=True)
class Task:
    """What a person does: one check, or one fix."""

    section: str
    id: str
    ask: str
    does: Sequence[str]
    tools: frozenset[str]
    access: str | None
    cautions: tuple[str, ...]


def steps(knowledge: Knowledge) -> Iterator[Task]:
    """Every check and every fix."""
    for check in knowledge.checks.values():
        tools = frozenset(check.tools)
        yield Task("checks", check.id, check.ask, check.how, tools, check.access, check.cautions)
    for fault in knowledge.faults.values():
        fix = fault.fix
        yield Task("faults", fault.id, "", fix.steps, frozenset(), fix.access, fix.cautions)


def said_before(knowledge: Knowledge, step: Task) -> frozenset[str]:
    """The cautions that come before a step; what opening an access is shown with does as well."""
    opened = knowledge.accesses[step.access].cautions if step.access is not None else ()
    return frozenset((*step.cautions, *opened))


@inspection(Severity.HIGH)
def unsaid_mains(subject: Subject) -> Slips:
    """A check or fix near mains voltage without a caution about it."""
    yield from _unsaid(subject, "mains", MAINS, _MAINS_TOOLS)


@inspection(Severity.HIGH)
def unsaid_heights(subject: Subject) -> Slips:
    """A check or fix at a height without a caution about it."""
    yield from _unsaid(subject, "heights", HEIGHTS, _HEIGHT_TOOLS)


@inspection(Severity.HIGH)
def unsaid_other(subject: Subject) -> Slips:
    """A check or fix among harmful dust or what burns without a caution about it."""
    for about, signs in (("dust", DUST), ("fire", FIRE)):
        yield from _unsaid(subject, about, signs, frozenset())


@inspection(Severity.HIGH)
def forbidden(subject: Subject) -> Slips:
    """A step that bridges a safety device, or does what no caution makes right."""
    for step in steps(subject.knowledge):
        seen = _words(step, FORBIDDEN)
        if seen:
            what = f"'{seen}' is never a technician's step"
            yield step.section, step.id, what, "take it out, or say that it is not done"


@inspection(Severity.HIGH)
def unplugged_yet_run(subject: Subject) -> Slips:
    """A check or fix that has run what was unplugged for it, without plugging it in again."""
    accesses = subject.knowledge.accesses
    for step in steps(subject.knowledge):
        opened = accesses[step.access] if step.access is not None else None
        off = opened is not None and any(
            _UNPLUGGED.search(accesses[name].title) for name in (opened.id, *opened.also)
        )
        for said in _POWER.finditer(" ".join(step.does)):
            if said.lastgroup == "runs" and off:
                what = f"'{said.group(0)}' comes while it is unplugged"
                yield step.section, step.id, what, "say before that it is plugged in again"
                break
            off = said.lastgroup == "unplugged" or (said.lastgroup != "plugged" and off)


_UNPLUGGED = re.compile(r"\bunplug\w*|\bpull\w* (its|the) plug\b", re.IGNORECASE)
_POWER = re.compile(
    rf"(?P<unplugged>{_UNPLUGGED.pattern})"
    r"|(?P<plugged>\bplug (it|the (unit|hose)) (straight |back )?in|\bput (it|the hose) (back )?in"
    r"|\bhose in (an?|the) inlet\b)"
    r"|(?P<runs>\bwhile (it|the unit) runs\b|\b(run|start) (it|the unit)\b"
    r"|\b(unit|motor)( is)? running\b|\b(switch|turn) (it|the unit) on\b)",
    re.IGNORECASE,
)
"""What is said of the power, in the order in which it is done."""


def _unsaid(
    subject: Subject, about: str, signs: Sequence[DangerWords], tools: frozenset[str]
) -> Slips:
    knowledge = subject.knowledge
    # Of a caution that was retired it is told once, not at every step that had it.
    retired = subject.cautions_gone
    shipped = subject.shipped if retired else None
    before = (
        {}
        if shipped is None
        else {(one.section, one.id): said_before(shipped, one) for one in steps(shipped)}
    )
    dangers = {c.id for c in knowledge.cautions.values() if c.about == about}
    for step in steps(knowledge):
        said = said_before(knowledge, step) & dangers
        first = step.section == "checks" and knowledge.checks[step.id].first
        if said or first or before.get((step.section, step.id), frozenset()) & retired:
            continue
        seen = min(step.tools & tools, default="") or _words(step, signs)
        if seen:
            what = f"'{seen}' tells of {about}, and no caution does"
            known = f": {', '.join(sorted(dangers))}" if dangers else ""
            yield step.section, step.id, what, f"name a caution about {about}{known}"


def _words(step: Task, signs: Sequence[DangerWords]) -> str:
    sentences = (one for text in (step.ask, *step.does) for one in re.split(r"(?<=[.;?!])\s", text))
    return next((words for one in sentences for sign in signs if (words := sign.seen_in(one))), "")
