"""A rule, a fault or a check looked up, with all that the rule set says of it elsewhere.

Gathers what one entry leaves to others: the titles behind ids, the rules that speak for a fault,
the rules an answer makes fire.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TypedDict

import numpy as np

from stillflow.engine.audit.cards import (
    AnswerCard,
    Card,
    CheckCard,
    EvidenceCard,
    FaultCard,
    FixCard,
    Named,
    NumberCard,
    PlainCard,
    RuleCard,
    SourceCard,
    Stopping,
    Voice,
)
from stillflow.engine.base import InputError, Strength, answer_fact, nearest
from stillflow.engine.inference import bearings_of, rule_table, spot_of, typical
from stillflow.engine.ruleset import (
    Advice,
    Check,
    Condition,
    Doubt,
    Entry,
    Evidence,
    FactValue,
    Fault,
    Knowledge,
    Rule,
    Stop,
    Warn,
    checks_used,
    condition_words,
    effect_words,
    leaves,
    numbers_of,
    observation_of,
    observed,
    replaced_words,
    source_words,
)

PLAIN = {"cautions": "caution", "tools": "tool", "classes": "class", "sources": "source"}
"""Sections whose entries are shown key by key, and what one is called."""


def look_up(knowledge: Knowledge, entry_id: str) -> tuple[Card, ...]:
    """Whatever has this id: a fault, a check, a rule, or more than one of them.

    Raises:
        InputError: nothing has it; names the nearest that there is.
    """
    found: list[Card] = []
    if entry_id in knowledge.faults:
        found.append(fault_card(knowledge, knowledge.faults[entry_id]))
    if entry_id in knowledge.checks:
        found.append(check_card(knowledge, knowledge.checks[entry_id]))
    if entry_id in knowledge.rules:
        found.append(rule_card(knowledge, knowledge.rules[entry_id]))
    found += [
        plain_card(knowledge, section, kind, entry_id)
        for section, kind in PLAIN.items()
        if entry_id in getattr(knowledge, section)
    ]
    if not found:
        for one in knowledge.replaced:
            if one.id == entry_id and one.how in ("retired", "gone"):
                raise InputError(
                    f"there is no '{entry_id}' any more: {one.place} {replaced_words(one)}"
                )
        known = {*knowledge.faults, *knowledge.checks, *knowledge.rules}
        known |= {name for section in PLAIN for name in getattr(knowledge, section)}
        what = f"there is no entry '{entry_id}'"
        raise InputError(what, right=nearest(entry_id, known))
    return tuple(found)


def plain_card(knowledge: Knowledge, section: str, kind: str, entry_id: str) -> PlainCard:
    """An entry that says all there is to say of it."""
    entry = getattr(knowledge, section)[entry_id]
    said = entry.model_dump(mode="json", by_alias=True, exclude_defaults=True, warnings=False)
    standing = _standing(knowledge, section, entry)
    return PlainCard(
        id=entry_id,
        kind=kind,
        says=tuple(
            (key.replace("_", " "), ", ".join(one) if isinstance(one, list) else str(one))
            for key, one in said.items()
            if key not in ("id", "source", "range")
        ),
        **standing,
    )


def rule_card(knowledge: Knowledge, rule: Rule) -> RuleCard:
    """A rule with the titles of all it names."""
    found = rule.derives
    users = [
        other.id
        for other in knowledge.rules.values()
        if any(leaf.fact in found for leaf in leaves(other.when))
    ]
    evidence = tuple(
        EvidenceCard(
            direction="for" if item.sign > 0 else "against",
            strength=item.strength,
            times=round(max(times(knowledge, rule, item).values()), 1),
            least=round(min(times(knowledge, rule, item).values()), 1),
            named=tuple(_phrase(knowledge, phrase) for phrase in item.selector),
            except_for=tuple(_phrase(knowledge, phrase) for phrase in item.except_),
            faults=tuple(
                Named(id=name, title=knowledge.faults[name].title) for name in sorted(faults)
            ),
            source=_source(knowledge, item.source) if item.source else None,
        )
        for item, faults in knowledge.evidence[rule.id]
    )
    return RuleCard(
        id=rule.id,
        when=condition_words(rule.when, knowledge),
        because=rule.because,
        evidence=evidence,
        finds=tuple(name.removeprefix("finding.").replace("-", " ") for name in found),
        cautions=_cautions(knowledge, [i.caution for i in rule.then if isinstance(i, Warn)]),
        advice=tuple(item.advise for item in rule.then if isinstance(item, Advice)),
        doubts=_checks(knowledge, [n for i in rule.then if isinstance(i, Doubt) for n in i.doubt]),
        stops=tuple(
            Stopping(what=item.stop, call=item.call, do_not=item.do_not)
            for item in rule.then
            if isinstance(item, Stop)
        ),
        misleads=rule.misleads,
        weighed=rule.weighed,
        once_with=tuple(
            one.id
            for one in knowledge.rules.values()
            if rule.once is not None and one.once == rule.once and one.id != rule.id
        ),
        status=rule.status,
        checks=_checks(knowledge, [c.id for c in checks_used(knowledge, rule)]),
        used_by=tuple(users),
        **_standing(knowledge, "rules", rule),
    )


def fault_card(knowledge: Knowledge, fault: Fault) -> FaultCard:
    """A fault with the rules that speak of it, the loudest first."""
    voices: dict[int, list[Voice]] = {1: [], -1: []}
    for rule in knowledge.rules.values():
        for item, faults in knowledge.evidence[rule.id]:
            if fault.id in faults:
                voice = Voice(
                    rule=rule.id,
                    strength=item.strength,
                    times=round(times(knowledge, rule, item)[fault.id], 1),
                    when=condition_words(rule.when, knowledge),
                    because=rule.because,
                )
                voices[item.sign].append(voice)
    for said in voices.values():
        said.sort(key=lambda voice: (-voice.times, voice.rule))
    fix = fault.fix
    alike = [entry for entry in knowledge.alike.values() if fault.id in entry.faults]
    others = sorted({name for entry in alike for name in entry.faults} - {fault.id})
    return FaultCard(
        id=fault.id,
        title=fault.title,
        place=fault.place,
        mode=fault.mode,
        how_common=fault.how_common
        if fault.often is None
        else f"{fault.often:.3g} to 1 beside an occasional one",
        effect=effect_words(fault.effect),
        confirm=fault.confirm,
        possible_when=_words(knowledge, fault.possible_when),
        confirm_first=_checks(knowledge, fault.confirm_first),
        raised_by=tuple(voices[1]),
        lowered_by=tuple(voices[-1]),
        fix=FixCard(
            minutes=fix.minutes,
            opens=knowledge.accesses[fix.access].title if fix.access else None,
            steps=fix.steps,
            parts=fix.parts,
            cautions=_cautions(knowledge, _shown(knowledge, fix.access, fix.cautions)),
            caution_ids=tuple(dict.fromkeys(_shown(knowledge, fix.access, fix.cautions))),
            refer=fix.refer,
            if_wrong_minutes=fix.if_wrong_minutes,
        ),
        after=fault.after,
        alike=tuple(Named(id=name, title=knowledge.faults[name].title) for name in others),
        alike_because=" ".join(entry.because for entry in alike),
        **_standing(knowledge, "faults", fault),
    )


def check_card(knowledge: Knowledge, check: Check) -> CheckCard:
    """A check with the rules that each of its answers makes fire."""
    fired = answers_fire(knowledge, check)
    alone = frozenset().union(*fired.values())
    seen = observation_of(check)
    users = [rule_id for rule_id in knowledge.rules if seen in observed(knowledge.grounds[rule_id])]
    gauge = None
    options = [(one.id, one.label, one.looks, one.usual, one.good) for one in check.answers]
    if check.station is not None and check.condition is not None:
        gauge = f"{check.condition} suction at {check.station.words}"
        bearings = bearings_of(knowledge)
        often = () if bearings is None else bearings.usual(spot_of(check))
        options = [
            (one.id, one.title, "", round(float(usual), 3), one.good)
            for one, usual in zip(knowledge.levels, often, strict=False)
        ]
    return CheckCard(
        id=check.id,
        ask=check.ask,
        how=check.how,
        gauge=gauge,
        minutes=check.minutes,
        opens=knowledge.accesses[check.access].title if check.access else None,
        tools=check.tools,
        cautions=_cautions(knowledge, _shown(knowledge, check.access, check.cautions)),
        caution_ids=tuple(dict.fromkeys(_shown(knowledge, check.access, check.cautions))),
        possible_when=_words(knowledge, check.possible_when),
        asked_when=_words(knowledge, check.asked_when),
        first=check.first,
        verifies=check.verifies,
        again_after_fix=check.again_after_fix,
        answers=tuple(
            AnswerCard(
                id=answer,
                label=label,
                looks=looks,
                usual=usual,
                good=good,
                rules=tuple(sorted(fired[answer])),
            )
            for answer, label, looks, usual, good in options
        ),
        rules=tuple(rule_id for rule_id in users if rule_id not in alone),
        **_standing(knowledge, "checks", check),
    )


def times(knowledge: Knowledge, rule: Rule, item: Evidence) -> dict[str, float]:
    """How many times likelier (for) or rarer (against) a rule's condition is with each fault.

    Its strength, or where that is computed what the airflow model gives.
    """
    named = [faults for one, faults in knowledge.evidence[rule.id] if one is item]
    faults = sorted(frozenset().union(*named))
    bearings = bearings_of(knowledge) if item.strength is Strength.COMPUTED else None
    factors = None if bearings is None else bearings.of(rule)
    if factors is None:
        return dict.fromkeys(faults, item.factor)
    return {name: float(factors[knowledge.fault_index[name]] ** item.sign) for name in faults}


def answers_fire(knowledge: Knowledge, check: Check) -> dict[str, frozenset[str]]:
    """The rules that each answer of a check makes fire with nothing else known.

    Args:
        knowledge: the rule set.
        check: a choice, or a reading, whose answers are the levels.
    """
    facts: dict[str, dict[str, FactValue]]
    if check.kind == "choice":
        facts = {a: {answer_fact(check.id): a} for a in check.answer_ids}
    else:
        spot = observation_of(check).removeprefix("reading.")
        facts = {
            level.id: {f"level.{spot}": level.id, f"share.{spot}": typical(level, wide=False)}
            for level in knowledge.levels
        }
    table = rule_table(knowledge)
    fired = table.fire(table.rows(list(facts.values())))
    return {
        answer: frozenset(np.array(table.rule_ids)[row].tolist())
        for answer, row in zip(facts, fired, strict=True)
    }


def _phrase(knowledge: Knowledge, phrase: str) -> str:
    fault = knowledge.faults.get(phrase)
    return fault.title if fault is not None else phrase


def _checks(knowledge: Knowledge, ids: Iterable[str]) -> tuple[Named, ...]:
    return tuple(Named(id=name, title=knowledge.checks[name].ask) for name in ids)


def _cautions(knowledge: Knowledge, ids: Sequence[str]) -> tuple[str, ...]:
    return tuple(knowledge.cautions[name].text for name in dict.fromkeys(ids))


def _shown(knowledge: Knowledge, access: str | None, cautions: Sequence[str]) -> list[str]:
    """A step's own cautions after those of what it opens, as they are shown on a visit."""
    return [*(knowledge.accesses[access].cautions if access else ()), *cautions]


def _words(knowledge: Knowledge, condition: Condition | None) -> str | None:
    return None if condition is None else condition_words(condition, knowledge)


def _source(knowledge: Knowledge, source_id: str) -> SourceCard:
    source = knowledge.sources[source_id]
    return SourceCard(
        id=source.id,
        kind=source.kind,
        words=source_words(source),
        note=source.note,
        remembered=source.remembered,
        rests_on=tuple(source_words(knowledge.sources[name]) for name in source.rests_on),
    )


class _Standing(TypedDict):
    source: SourceCard
    file: str
    line: int | None
    takes_place_of: tuple[str, ...]
    judged: tuple[NumberCard, ...]


def _standing(knowledge: Knowledge, section: str, entry: Entry) -> _Standing:
    place = knowledge.places[section, entry.id]
    return {
        "source": _source(knowledge, getattr(entry, "source", entry.id)),
        "file": place.file,
        "line": place.line,
        "takes_place_of": tuple(
            replaced_words(one)
            for one in knowledge.replaced
            if (one.section, one.id) == (section, entry.id)
        ),
        "judged": tuple(
            NumberCard.model_validate(one, from_attributes=True)
            for one in numbers_of(knowledge, section, entry.id)
        ),
    }
