"""Which checks bear on which faults, so that holes are seen: the data, and the page of it.

A check raises a fault when one of its answers alone makes a rule speak for it, and lowers it when
one makes a rule speak against it; a reading does what the airflow model says of its levels. What
only several answers say together is listed apart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from itertools import groupby
from pathlib import PurePosixPath
from textwrap import wrap

from stillflow.engine.audit.lookup import answers_fire
from stillflow.engine.audit.unused import entries_of
from stillflow.engine.base import Model, Strength
from stillflow.engine.inference import bearings_of, spot_of
from stillflow.engine.ruleset import Check, Knowledge, Source, checks_used

WIDTH = 96

_GRADES = {strength: grade for grade, strength in enumerate(Strength)}
"""From 1; what is computed has no grade of its own."""

_SETTLES, _RULES_OUT = _GRADES[Strength.VERY_STRONG], _GRADES[Strength.STRONG]


SEEN = 0.05
"""A level counts for or against where at least so many first readings fall in it."""


class FaultCover(Model):
    """What bears on one fault.

    Attributes:
        raised_by: check -> grade of the strongest evidence for the fault that one answer gives,
            1 slight to 5 decisive.
        lowered_by: the same against it.
        together: checks that bear on it only together with others.
    """

    id: str
    title: str
    place: str
    raised_by: Mapping[str, int]
    lowered_by: Mapping[str, int]
    together: tuple[str, ...]


class Coverage(Model):
    """Faults and checks of a rule set, and what joins them.

    Attributes:
        faults: by place, then id.
        checks: check -> the group it is shown under.
        rules: how many rules there are.
        sources: where entries come from, with how many do; remembered ones by themselves.
    """

    faults: tuple[FaultCover, ...]
    checks: Mapping[str, str]
    rules: int
    sources: Mapping[str, int] = {}


def cover(knowledge: Knowledge) -> Coverage:
    """Work out which checks bear on which faults."""
    grades: dict[tuple[str, int], dict[str, int]] = {}
    for check in knowledge.checks.values():
        for fault_id, sign, grade in _said(knowledge, check):
            of_fault = grades.setdefault((fault_id, sign), {})
            of_fault[check.id] = max(of_fault.get(check.id, 0), grade)
    together: dict[str, set[str]] = {}
    for rule in knowledge.rules.values():
        checks = checks_used(knowledge, rule)
        for _, faults in knowledge.evidence[rule.id]:
            for fault_id in faults:
                together.setdefault(fault_id, set()).update(check.id for check in checks)
    faults_covered = []
    for fault in sorted(knowledge.faults.values(), key=lambda one: (one.place, one.id)):
        raised, lowered = (_ranked(grades.get((fault.id, sign), {})) for sign in (1, -1))
        alone = raised.keys() | lowered.keys()
        faults_covered.append(
            FaultCover(
                id=fault.id,
                title=fault.title,
                place=fault.place,
                raised_by=raised,
                lowered_by=lowered,
                together=tuple(sorted(together.get(fault.id, set()) - alone)),
            )
        )
    return Coverage(
        faults=tuple(faults_covered),
        checks={check.id: _group(knowledge, check) for check in knowledge.checks.values()},
        rules=len(knowledge.rules),
        sources=Counter(_origin(knowledge.sources[e.source]) for _, e in entries_of(knowledge)),
    )


def _origin(source: Source) -> str:
    return f"{source.id}, from memory" if source.remembered else source.id


def _said(knowledge: Knowledge, check: Check) -> Iterator[tuple[str, int, int]]:
    """Fault, sign and grade of all that single answers to a check say."""
    for rule_id in set().union(*answers_fire(knowledge, check).values()):
        for item, faults in knowledge.evidence[rule_id]:
            if item.strength is not Strength.COMPUTED:
                yield from ((fault, item.sign, _GRADES[item.strength]) for fault in faults)
    bearings = bearings_of(knowledge)
    if check.kind == "reading" and bearings is not None:
        for chance in bearings.chances(spot_of(check)):
            factors = bearings.factors(chance)
            for fault, seen, factor in zip(knowledge.faults, chance, factors, strict=True):
                # With the fault where it speaks for it, with the others where against.
                for sign, often in ((1, seen), (-1, seen / factor)):
                    if often >= SEEN and (grade := _graded(factor**sign)):
                        yield fault, sign, grade


def _graded(factor: float) -> int:
    """The grade of the strongest word that a computed factor comes up to; 0 if to none."""
    reached = (grade for strength, grade in _GRADES.items() if factor >= strength.factor)
    return max(reached, default=0)


def page(covered: Coverage, worked: Mapping[str, Collection[str]] | None = None) -> str:
    """The page, in Markdown that can be read as plain text.

    Args:
        covered: what it shows.
        worked: kind of worked case -> the faults that are fixed in some; left out if not given.
    """
    lines = [
        "<!-- Written by: stillflow rules coverage > rules/COVERAGE.md (do not edit by hand) -->",
        "# Which checks bear on which faults",
        "",
        *wrap(
            f"{len(covered.faults)} faults, {len(covered.checks)} checks, {covered.rules} rules. "
            "A number is the grade of the strongest evidence that one answer gives: 1 slight, "
            "2 substantial, 3 strong, 4 very strong, 5 decisive. What a reading says is graded by "
            "the airflow model, in a nominal house, taken alone.",
            WIDTH,
        ),
        "",
        "## Holes",
        "",
        *_holes(covered),
        "",
        "## Where the entries come from",
        "",
        *_census(covered),
        "",
        *(_worked(covered, worked) if worked is not None else ()),
        "## At a glance",
        "",
        *_matrix(covered),
        "",
        "## Fault by fault",
        *_faults(covered),
    ]
    return "\n".join(lines) + "\n"


def _census(covered: Coverage) -> Iterator[str]:
    total = sum(covered.sources.values())
    yield from wrap(
        f"{total} entries name a source. What is usual, how long things take, how big faults are "
        "and how often people are mistaken are judgements, whatever the source.",
        WIDTH,
    )
    yield ""
    ranked = sorted(covered.sources.items(), key=lambda one: (-one[1], one[0]))
    yield from (f"- {name}: {count}" for name, count in ranked)


def _worked(covered: Coverage, worked: Mapping[str, Collection[str]]) -> Iterator[str]:
    yield from ("## Worked cases", "")
    for kind, fixed in worked.items():
        lacking = ", ".join(one.id for one in covered.faults if one.id not in fixed) or "none"
        yield from _item(f"Faults without a {kind} case: {lacking}.")
    yield ""


def holes(covered: Coverage) -> dict[str, tuple[str, ...]]:
    """Ids of what is thin, by what is thin about it."""
    faults = covered.faults
    spoken = {name for one in faults for name in (*one.raised_by, *one.lowered_by)}
    spoken |= {name for one in faults for name in one.together}
    return {
        "Faults that no answer settles (nothing very strong or decisive for them)": tuple(
            one.id for one in faults if max(one.raised_by.values(), default=0) < _SETTLES
        ),
        "Faults that no answer rules out (nothing strong against them)": tuple(
            one.id for one in faults if max(one.lowered_by.values(), default=0) < _RULES_OUT
        ),
        "Faults that fewer than two checks raise": tuple(
            one.id for one in faults if len(one.raised_by) < 2
        ),
        "Checks that bear on no fault": tuple(
            name for name in covered.checks if name not in spoken
        ),
    }


def _ranked(grades: Mapping[str, int]) -> dict[str, int]:
    return dict(sorted(grades.items(), key=lambda pair: (-pair[1], pair[0])))


def _group(knowledge: Knowledge, check: Check) -> str:
    if check.condition is not None:
        return f"{check.condition} readings"
    return PurePosixPath(knowledge.places["checks", check.id].file).stem.replace("-", " ")


def _holes(covered: Coverage) -> Iterator[str]:
    for name, ids in holes(covered).items():
        yield from _item(f"{name}: {', '.join(ids) or 'none'}.")


def _matrix(covered: Coverage) -> Iterator[str]:
    groups = sorted(set(covered.checks.values()))
    letters = {group: chr(ord("a") + index) for index, group in enumerate(groups)}
    yield from wrap(
        "Each column is a group of checks, each cell the strongest evidence for the fault, a "
        "stroke, and the strongest against it; a dot where the group says nothing.",
        WIDTH,
    )
    yield ""
    yield from wrap("; ".join(f"{letter} {group}" for group, letter in letters.items()), WIDTH)
    width = max((len(one.id) for one in covered.faults), default=0)
    for place, faults in groupby(covered.faults, key=lambda one: one.place):
        yield ""
        yield "```"
        yield f"{place:<{width}}" + "".join(f"{letter:^5}" for letter in letters.values()).rstrip()
        for one in faults:
            cells = "".join(f"{_cell(covered, one, group):^5}" for group in groups)
            yield f"{one.id:<{width}}{cells}".rstrip()
        yield "```"


def _cell(covered: Coverage, one: FaultCover, group: str) -> str:
    best = [
        max((grade for name, grade in by.items() if covered.checks[name] == group), default=0)
        for by in (one.raised_by, one.lowered_by)
    ]
    return "/".join(str(grade or "-") for grade in best) if any(best) else "."


def _faults(covered: Coverage) -> Iterator[str]:
    for place, faults in groupby(covered.faults, key=lambda one: one.place):
        yield ""
        yield f"### {place}"
        for one in faults:
            yield ""
            yield f"**{one.id}** - {one.title}"
            yield ""
            yield from _item(f"raised by {_listed(one.raised_by)}")
            yield from _item(f"lowered by {_listed(one.lowered_by)}")
            if one.together:
                yield from _item(f"only together with others: {', '.join(one.together)}")


def _listed(by: Mapping[str, int]) -> str:
    return ", ".join(f"{name} {grade}" for name, grade in by.items()) or "nothing"


def _item(text: str) -> list[str]:
    return wrap(
        text,
        WIDTH,
        initial_indent="- ",
        subsequent_indent="  ",
        break_on_hyphens=False,
        break_long_words=False,
    )
