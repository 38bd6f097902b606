"""Inspections of what hands do: steps near mains or at a height must say so first.

Whether a step is near a danger is told by its tools, by what it opens, and by its words. Words
can mean two things (the plug of a cord, a plug of dirt), so each has the words that excuse it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from stillflow.engine.audit.finding import Finding, Inspection, Severity
from stillflow.engine.audit.subject import Subject
from stillflow.engine.ruleset import Knowledge


@dataclass(frozen=True)
class Sign:
    """Words that tell of a danger, unless others in the same sentence excuse them."""

    words: re.Pattern[str]
    unless: re.Pattern[str] | None = None

    def seen_in(self, sentence: str) -> str:
        """The telling words in a sentence, or nothing."""
        found = self.words.search(sentence)
        if found is None or (self.unless is not None and self.unless.search(sentence)):
            return ""
        return found.group(0)


def _sign(words: str, unless: str = "") -> Sign:
    excuse = re.compile(unless, re.IGNORECASE) if unless else None
    return Sign(re.compile(words, re.IGNORECASE), excuse)


MAINS = (
    _sign(r"\b(mains|voltage|volts?|breakers?|fuses?|circuits?|electric\w*)\b"),
    _sign(r"\bunplug\w*", r"\bunplug\w* (the |a |its )?hose|hose (is )?unplugged"),
    _sign(r"\b(wiring|wires?)\b", r"\b(no|never|bare|a) (bare )?wires?\b|wire brush"),
    _sign(r"\b(power|wall|electrical) (outlet|socket|point|strip)s?\b|\bsockets?\b"),
    _sign(r"\boutlets?\b", r"\b(dust|exhaust|air|blows?)\b"),
    _sign(r"\b(extension|supply|power|unit's|its|the) cord\b|\bcord and motor\b"),
    _sign(r"\b(its|own|the|unit's) plug\b", r"\b(dirt|debris|hair|fluff|pliers|clog)\b"),
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

_MAINS_TOOLS = frozenset({"meter", "multimeter", "voltmeter", "clamp-meter"})
_HEIGHT_TOOLS = frozenset({"ladder", "steps", "scaffold"})


@dataclass(frozen=True)
class Task:
    """What a person does: one check, or one fix."""

    section: str
    id: str
    sentences: Sequence[str]
    tools: frozenset[str]
    access: str | None
    cautions: tuple[str, ...]


def steps(knowledge: Knowledge) -> Iterator[Task]:
    """Every check and every fix."""
    for check in knowledge.checks.values():
        sentences = [check.ask, *check.how]
        yield Task(
            "checks", check.id, sentences, frozenset(check.tools), check.access, check.cautions
        )
    for fault in knowledge.faults.values():
        fix = fault.fix
        yield Task("faults", fault.id, fix.steps, frozenset(), fix.access, fix.cautions)


class _Unsaid(Inspection):
    severity = Severity.HIGH
    about: str
    signs: tuple[Sign, ...]
    tools: frozenset[str]

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Steps that lack the caution."""
        knowledge = subject.knowledge
        dangers = {c.id for c in knowledge.cautions.values() if c.about == self.about}
        for step in steps(knowledge):
            # What opening an access is shown with comes before the step as well.
            said = set(step.cautions)
            if step.access is not None:
                said |= set(knowledge.accesses[step.access].cautions)
            if said & dangers:
                continue
            sign = self._sign(step)
            if sign:
                what = f"'{sign}' tells of {self.about}, and no caution does"
                known = f": {', '.join(sorted(dangers))}" if dangers else ""
                right = f"name a caution about {self.about}{known}"
                yield self.found(subject, step.section, step.id, what, right)

    def _sign(self, step: Task) -> str:
        tools = sorted(step.tools & self.tools)
        if tools:
            return tools[0]
        sentences = (one for text in step.sentences for one in re.split(r"(?<=[.;?!])\s", text))
        return next(
            (words for one in sentences for sign in self.signs if (words := sign.seen_in(one))), ""
        )


class UnsaidMains(_Unsaid):
    """Looks for mains in the tools, the access and the words of each step."""

    name = "unsaid-mains"
    finds = "A check or fix near mains voltage without a caution about it."
    about, signs, tools = "mains", MAINS, _MAINS_TOOLS


class UnsaidHeights(_Unsaid):
    """Looks for heights in the tools, the access and the words of each step."""

    name = "unsaid-heights"
    finds = "A check or fix at a height without a caution about it."
    about, signs, tools = "heights", HEIGHTS, _HEIGHT_TOOLS
