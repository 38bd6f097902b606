"""The reasoning path: from what was found, through the rules, to the faults.

Holds the neutral model of a path; `reasoningpicture` chooses what gets a box. Where the path
comes from (a visit's trace) is left to the caller.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from stillflow.engine.base import InputError, Model
from stillflow.engine.charts.picture import TitleBlock

RULED_OUT = 0.005
"""Only what is less likely than this, "<1 %", may be called ruled out."""

Strength = Literal["computed", "slight", "substantial", "strong", "very-strong", "decisive"]


class PathFact(Model):
    """One thing found out on the visit.

    Attributes:
        id: unique among all parts of the path.
        title: what was read or looked at ("Sealed suction at the inlet").
        found: the answer, with its unit ("90 inH2O", "no").
        asked: its place in the order of asking, from 1; None for what was known at the start.
        share: reading / expected, where that is known.
        expected: what a healthy system would show, with its unit.
        helpful: False where the answer did not tell any faults apart.
    """

    id: str
    title: str
    found: str = ""
    asked: int | None = Field(default=None, ge=1)
    share: float | None = Field(default=None, ge=0)
    expected: str = ""
    helpful: bool = True


class PathRule(Model):
    """One rule that fired, with the sentence that gives its reason, and its source."""

    id: str
    because: str
    source: str = ""


class PathDerived(Model):
    """Something that a rule concluded and other rules use."""

    id: str
    title: str


class PathFault(Model):
    """One fault and its probability (0 to 1).

    Attributes:
        id: unique among all parts of the path.
        title: what is wrong.
        probability: how likely it is, 0 to 1.
        ruled_out_by: in words what ruled it out, if anything did.
        against: in words why others are likelier, where it is not ruled out for all that.
    """

    id: str
    title: str
    probability: float = Field(ge=0, le=1)
    ruled_out_by: str = ""
    against: str = ""


class PathLink(Model):
    """One arrow. Arrows into faults have a direction and a strength; others have neither."""

    tail: str
    head: str
    direction: Literal["for", "against"] | None = None
    strength: Strength | None = None


class ReasoningPath(Model):
    """A whole path.

    Links run from facts to rules, from rules to derived facts and faults, and from derived facts
    to rules. Raises InputError where a link's end is not there or two parts have one id.
    """

    title: TitleBlock
    facts: tuple[PathFact, ...] = ()
    rules: tuple[PathRule, ...] = ()
    derived: tuple[PathDerived, ...] = ()
    faults: tuple[PathFault, ...] = ()
    links: tuple[PathLink, ...] = ()

    @model_validator(mode="after")
    def _hangs_together(self) -> ReasoningPath:
        parts = [f.id for f in self.facts] + [r.id for r in self.rules]
        parts += [d.id for d in self.derived] + [f.id for f in self.faults]
        known = set(parts)
        if len(known) != len(parts):
            raise InputError("two parts of the reasoning path have the same id")
        rules = {rule.id for rule in self.rules}
        for link in self.links:
            if not known.issuperset((link.tail, link.head)):
                raise InputError(
                    f"the reasoning path has an arrow from {link.tail!r} to {link.head!r}, "
                    "of which one is not there"
                )
            if (link.tail in rules) == (link.head in rules):
                raise InputError(
                    f"the arrow from {link.tail!r} to {link.head!r} does not lead into or out of "
                    "a rule"
                )
        return self


def focused(path: ReasoningPath, *focus: str) -> ReasoningPath:
    """Only what bears on some conclusions (faults or derived facts).

    Raises:
        InputError: nothing on the path has such an id.
    """
    known = [*(f.id for f in path.faults), *(d.id for d in path.derived)]
    for one in focus:
        if one not in known:
            raise InputError(
                f"there is no conclusion {one!r} on this path",
                right=f"known are: {', '.join(known)}",
            )
    kept = set(focus)
    waiting = list(focus)
    while waiting:
        head = waiting.pop()
        for link in path.links:
            if link.head == head and link.tail not in kept:
                kept.add(link.tail)
                waiting.append(link.tail)
    titles = {f.id: f.title for f in path.faults} | {d.id: d.title for d in path.derived}
    named = " and ".join(f"“{titles[one]}”" for one in focus)
    title = path.title.model_copy(
        update={"filters": (*path.title.filters, f"only what bears on {named}")}
    )
    return ReasoningPath(
        title=title,
        facts=tuple(f for f in path.facts if f.id in kept),
        rules=tuple(r for r in path.rules if r.id in kept),
        derived=tuple(d for d in path.derived if d.id in kept),
        faults=tuple(f for f in path.faults if f.id in kept),
        links=tuple(k for k in path.links if k.tail in kept and k.head in kept),
    )
