"""What a change of rules does to worked cases, kept visits and generated calls, and by which entry.

Cases and visits are replayed one by one, as in `replay`, which takes a second each, so mostly only
those that speak of what was changed; of generated calls only the final belief is compared, over
what was read and answered. An entry is blamed for what goes back to what it was once that entry
alone is taken out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stillflow.casebook.beliefs import ManyVisits, Told
from stillflow.casebook.cases import Case
from stillflow.casebook.replay import Row, replay
from stillflow.engine.base import Floats, InputError, KnowledgeError, answer_fact
from stillflow.engine.inference import Visit
from stillflow.engine.ruleset import Knowledge, Stop, Warn, checks_used

MOST_TAKEN_OUT = 60
"""Entries that are taken out one at a time; of more, the first by section and id."""


_NO_TIME = 0.05
"""Minutes that are none."""


@dataclass(frozen=True)
class Changed:
    """One case or visit that comes out otherwise.

    Attributes:
        kind: `case` or `visit`.
        name: of it.
        before, now: what was and is reached; fixes in order.
        first_before, first_now: the first fix of each, or what ended it.
        minutes: more now than before.
        breaks: it was as it should be, and is not any more.
        mends: the other way round.
        by: the entries without which it would be as before.
    """

    kind: str
    name: str
    before: str
    now: str
    first_before: str
    first_now: str
    minutes: float
    breaks: bool
    mends: bool
    by: tuple[str, ...]


@dataclass(frozen=True)
class Blamed:
    """One entry that was added, changed or retired, and what hangs on it.

    Attributes:
        entry: section and id, such as `rules/hose-whole`.
        how: `added`, `changed` or `retired`.
        rows: cases and visits that go back without it.
        conclusions: generated calls that go back to their old conclusion without it.
        shift: how far belief moves by it alone, as `Differences.shift`.
        minutes: more over all cases and visits by this entry alone.
        unknown: why it could not be taken out alone; empty if it could.
    """

    entry: str
    how: str
    rows: int
    conclusions: int
    shift: float
    minutes: float = 0.0
    unknown: str = ""


@dataclass(frozen=True)
class Differences:
    """Everything that differs.

    Attributes:
        cases, visits: how many were replayed.
        changed: those that come out otherwise.
        minutes: spent more now than before, over all of them.
        longer: those that take more or less time, name and minutes, the most first.
        guards: which cautions, stops and turns of the course are new, other or gone, in words.
        calls: generated calls.
        conclusions: those whose likeliest fault is another now.
        faults: (likeliest before, now, calls), most calls first.
        shift: total variation distance between the two beliefs, on average over the calls.
        largest: of any call.
        entries: what was changed in the rules, what moves most first.
    """

    cases: int
    visits: int
    changed: tuple[Changed, ...]
    minutes: float
    longer: tuple[tuple[str, float], ...]
    guards: tuple[str, ...]
    calls: int
    conclusions: int
    faults: tuple[tuple[str, str, int], ...]
    shift: float
    largest: float
    entries: tuple[Blamed, ...]

    @property
    def breaks(self) -> int:
        """Worked cases that came out as they should and do not any more."""
        return sum(one.breaks for one in self.changed if one.kind == "case")


def changed_entries(old: Knowledge, new: Knowledge) -> list[tuple[str, str, str]]:
    """Section, id and how of every entry that was written, changed or retired over the old rules.

    What only went along with one that was retired is not among them.
    """
    found = {
        (one.section, one.id): "retired" if one.how == "retired" else "changed"
        for one in new.replaced
        if one not in old.replaced and one.how != "gone"
    }
    added = dict.fromkeys(new.places.keys() - old.places.keys(), "added")
    return [(*key, how) for key, how in sorted((found | added).items())]


_SAID = {
    *("source", "from_memory", "range", "title", "title_at", "ask", "ask_at", "how", "label"),
    *("looks", "confirm", "after", "steps", "done", "because", "misleads", "says", "status"),
}
"""Keys of words and of doubts: no step and no belief hangs on them."""

_NAMED_NOWHERE = {
    *("sources", "ranges", "cautions", "phrases", "unsure", "alike", "complaints"),
    *("circumstances", "combinations"),
}
"""Sections that no replay of a case hangs on."""


def concerned(cases: Sequence[Case], old: Knowledge, new: Knowledge) -> list[Case]:
    """The cases that speak of what was changed: the others could come out otherwise by chance only.

    Those that come to a fault that was changed, that is of the same place and mode as one, or that
    a changed rule or check bears on; and those that say what is answered to a changed check. All
    of them where it is the house, the gauge, ways or the course that was changed.
    """
    faults: set[str] = set()
    checks: set[str] = set()
    for section, name, _ in changed_entries(old, new):
        versions = [(one, _entry(one, section, name)) for one in (old, new)]
        if section in _NAMED_NOWHERE or _core(versions[0][1]) == _core(versions[1][1]):
            continue
        if section not in ("faults", "checks", "rules"):
            return list(cases)
        for rules, entry in versions:
            if entry is None:
                continue
            if section == "faults":
                alike = (entry.place, entry.mode)
                faults |= {n for n, one in rules.faults.items() if (one.place, one.mode) == alike}
                continue
            bearing = [entry] if section == "rules" else []
            if section == "checks":
                checks.add(name)
                bearing = [rules.rules[one] for one in rules.rules_using([answer_fact(name)])]
            else:
                checks |= {check.id for check in checks_used(rules, entry)}
            for rule in bearing:
                faults.update(*(named for _, named in rules.evidence[rule.id]))
    return [
        case
        for case in cases
        if not faults.isdisjoint((*case.expect.fixes, *(case.house.faults if case.house else ())))
        or not checks.isdisjoint(case.finds)
    ]


def _entry(rules: Knowledge, section: str, name: str) -> Any:
    group = getattr(rules, section)
    if isinstance(group, Mapping):
        return group.get(name)
    return next((one for one in group if one.id == name), None)


def _core(entry: Any) -> object:
    """What is left of an entry without its words."""
    return (
        None
        if entry is None
        else _bare(entry.model_dump(mode="json", by_alias=True, warnings=False))
    )


def _bare(value: object) -> object:
    if isinstance(value, dict):
        return {key: _bare(one) for key, one in value.items() if key not in _SAID}
    return [_bare(one) for one in value] if isinstance(value, list) else value


def differences(
    old: Knowledge,
    new: Knowledge,
    items: Sequence[Case | Visit],
    calls: ManyVisits,
    taken_out: Callable[[str, str], Knowledge],
    told: Told = lambda _done, _count: None,
) -> Differences:
    """Hold a rule set against the one it is to replace.

    Args:
        old: the rules as they are.
        new: the rules as they would be.
        items: worked cases and kept visits.
        calls: generated calls; none is fine.
        taken_out: the new rules but for what they do to one entry, by section and id; raises
            KnowledgeError where that cannot be.
        told: is told what is done, of how much.
    """
    entries = changed_entries(old, new)[:MOST_TAKEN_OUT]
    whole = 2 * len(items) + len(entries)
    before, now = [], []
    for number, item in enumerate(items):
        told(2 * number, whole)
        before.append(_row(item, old))
        now.append(_row(item, new))
    moved = [n for n, row in enumerate(before) if _outcome(row) != _outcome(now[n])]
    longer = {n: now[n].minutes - one.minutes for n, one in enumerate(before)}
    longer = {n: minutes for n, minutes in longer.items() if abs(minutes) > _NO_TIME}
    touched = sorted({*moved, *longer})
    names = sorted({*old.faults, *new.faults})
    was, is_ = (_believed(calls, rules, names) for rules in (old, new))
    turned = np.flatnonzero(was.argmax(axis=1) != is_.argmax(axis=1))
    pairs = [(names[int(was[n].argmax())], names[int(is_[n].argmax())]) for n in turned]
    shifts = 0.5 * np.abs(was - is_).sum(axis=1)
    blamed: list[Blamed] = []
    by: dict[int, list[str]] = {n: [] for n in moved}
    for number, (section, entry_id, how) in enumerate(entries):
        told(2 * len(items) + number, whole)
        name = f"{section}/{entry_id}"
        try:
            without = taken_out(section, entry_id)
        except KnowledgeError as problem:
            blamed.append(Blamed(name, how, 0, 0, 0.0, unknown=str(problem)))
            continue
        left_out = {n: _row(items[n], without) for n in touched}
        back = [n for n in moved if _outcome(left_out[n]) == _outcome(before[n])]
        cost = sum(now[n].minutes - row.minutes for n, row in left_out.items())
        for n in back:
            by[n].append(name)
        left = _believed(calls, without, names)
        again = int((left[turned].argmax(axis=1) == was[turned].argmax(axis=1)).sum())
        alone = 0.5 * np.abs(left - is_).sum(axis=1)
        blamed.append(Blamed(name, how, len(back), again, _mean(alone), cost))
    told(whole, whole)
    blamed.sort(
        key=lambda one: (-one.rows, -one.conclusions, -abs(one.minutes), -one.shift, one.entry)
    )
    return Differences(
        cases=sum(isinstance(item, Case) for item in items),
        visits=sum(isinstance(item, Visit) for item in items),
        changed=tuple(_changed(before[n], now[n], tuple(by[n])) for n in moved),
        minutes=sum(b.minutes - a.minutes for a, b in zip(before, now, strict=True)),
        longer=tuple(
            (now[n].name, minutes)
            for n, minutes in sorted(longer.items(), key=lambda one: -abs(one[1]))
        ),
        guards=tuple(_guards_told(old, new)),
        calls=len(calls.visits),
        conclusions=len(turned),
        faults=tuple(
            sorted(
                ((*pair, pairs.count(pair)) for pair in set(pairs)),
                key=lambda one: (-one[2], one),
            )
        ),
        shift=_mean(shifts),
        largest=float(shifts.max()) if len(shifts) else 0.0,
        entries=tuple(blamed),
    )


def _guards_told(old: Knowledge, new: Knowledge) -> Iterator[str]:
    for section, name, _ in changed_entries(old, new):
        was, now = (_guards(section, _entry(one, section, name)) for one in (old, new))
        for words, told in (("no longer", was - now), ("new", now - was)):
            for one in sorted(told):
                yield f"{section}/{name}: {words}: {one}"


def _guards(section: str, entry: Any) -> set[str]:
    """What an entry does to keep people from harm, and in what order a visit goes, in words."""
    if entry is None:
        return set()
    if section == "cautions":
        return {f"the caution '{entry.text}'"}
    if section == "course":
        return {f"the turn '{entry.because}' (salience {entry.salience})"}
    step = getattr(entry, "fix", entry)
    shown = {*getattr(step, "cautions", ())}
    then = getattr(entry, "then", ())
    shown |= {one.caution for one in then if isinstance(one, Warn)}
    stops = {f"the stop '{one.stop}'" for one in then if isinstance(one, Stop)}
    return {f"the caution {one}" for one in shown} | stops


def _mean(values: Floats) -> float:
    return float(values.mean()) if len(values) else 0.0


def _row(item: Case | Visit, knowledge: Knowledge) -> Row:
    try:
        [row] = replay([item], knowledge).rows
    except InputError as problem:
        # The case names an entry that these rules do not have: it cannot come out as it should.
        assert isinstance(item, Case)
        return Row("case", item.name, "", "", False, 0, 0.0, (str(problem),))
    return row


def _outcome(row: Row) -> tuple[str, bool | None]:
    return row.reached, row.agrees


def _changed(before: Row, now: Row, by: tuple[str, ...]) -> Changed:
    return Changed(
        kind=now.kind,
        name=now.name,
        before=before.reached,
        now=now.reached,
        first_before=before.reached.partition(",")[0],
        first_now=now.reached.partition(",")[0],
        minutes=now.minutes - before.minutes,
        breaks=before.agrees is True and now.agrees is False,
        mends=before.agrees is False and now.agrees is True,
        by=by,
    )


def _believed(calls: ManyVisits, knowledge: Knowledge, names: Sequence[str]) -> Floats:
    """Final beliefs over these faults, zero in one that the rules do not have."""
    found = np.zeros((len(calls.visits), len(names)))
    if calls.visits:
        columns = [names.index(name) for name in knowledge.faults]
        found[:, columns] = calls.believed(knowledge)
    return found
