"""The short way on in a technician's words: the card that is printed beside a decision tree."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from stillflow.engine.base import Mode, Where, small_first
from stillflow.engine.charts import Card, CardFind, CardLook, CardSign
from stillflow.engine.dialogue import Session, ShortWay
from stillflow.engine.inference import possible
from stillflow.engine.ruleset import (
    Check,
    Fault,
    Footing,
    Knowledge,
    Rule,
    checking,
    fixing,
    leaves,
)
from stillflow.engine.views.wording import beware, question

_PLACES = {
    Where.TOOL: "The tool and the wand",
    Where.HOSE: "The hose and its handle",
    Where.INLETS: "The inlets",
    Where.TUBING: "The tubing",
    Where.UNIT: "The unit",
    Where.SUPPLY: "The power supply",
    Where.SYSTEM: "The system as a whole",
    Where.MEASUREMENT: "The gauge and how it was read",
}

_SURE = 0.3
"""How surely a look must show a fault to be printed as one that does."""


def printed_card(short: ShortWay, session: Session) -> Card:
    """The card to a rule set.

    Args:
        short: from `short_way`.
        session: the starting facts.
    """
    knowledge = session.knowledge
    standing = session.progress.situation.standing
    readings = [
        one
        for one in knowledge.checks.values()
        if one.station is not None and not one.verifies and possible(one.possible_when, standing)
    ]
    stations = list(dict.fromkeys(one.station.words for one in readings if one.station))
    said = ", ".join(stations[:-1]) + f" and {stations[-1]}" if len(stations) > 1 else stations[0]
    faults = [one for one in knowledge.faults.values() if possible(one.possible_when, standing)]
    steps = sorted(knowledge.card.values(), key=lambda one: one.step)
    looks = tuple(_look(knowledge, short, number, one) for one, number in _numbered(short))
    return Card(
        steps=tuple(one.says.replace("{stations}", said) for one in steps),
        readings=tuple(one.id for one in readings),
        signs=tuple(_signs(knowledge, looks)),
        looks=looks,
        last=tuple(f"{one.title}: {one.confirm}" for one in faults if one.mode is Mode.NORMAL),
    )


def _numbered(short: ShortWay) -> Iterator[tuple[Check, int]]:
    return ((one, short.number[one.id]) for one in short.looks)


def _look(knowledge: Knowledge, short: ShortWay, number: int, check: Check) -> CardLook:
    outlay = checking(knowledge, Footing(), check)
    shown: dict[str, list[str]] = {}
    for answer in check.answers:
        for fault_id in sorted(knowledge.shown.get((check.id, answer.id), ())):
            if short.surely[number - 1, knowledge.fault_index[fault_id]] > _SURE:
                shown.setdefault(fault_id, []).append(answer.id)
    surest = max(shown, key=lambda one: short.surely[number - 1, knowledge.fault_index[one]])
    opened = [knowledge.accesses[name] for name in outlay.opens]
    cautions = [*check.cautions, *(name for one in opened for name in one.cautions)]
    return CardLook(
        number=number,
        check=check.id,
        place=_PLACES[knowledge.faults[surest].place],
        title=question(check),
        first=small_first(opened[0].title) if opened else "",
        minutes=check.minutes,
        caution=beware(knowledge, cautions),
        finds=tuple(
            _find(knowledge, check, knowledge.faults[one], answers, len(shown) > 1)
            for one, answers in shown.items()
        ),
    )


def _find(
    knowledge: Knowledge, check: Check, fault: Fault, answers: list[str], several: bool
) -> CardFind:
    outlay = fixing(knowledge, Footing(), fault)
    opened = (name for one in outlay.opens for name in knowledge.accesses[one].cautions)
    labels = {one.id: one.label for one in check.answers}
    return CardFind(
        given=tuple(answers),
        answer=" or ".join(labels[one] for one in answers) if several else "",
        fault=fault.id,
        title=fault.title,
        confirm=fault.confirm,
        minutes=outlay.opening + outlay.doing,
        refer=fault.fix.refer,
        caution=beware(knowledge, [*fault.fix.cautions, *opened]),
    )


def _signs(knowledge: Knowledge, looks: Iterable[CardLook]) -> Iterator[CardSign]:
    looks = tuple(looks)
    for rule in knowledge.rules.values():
        against = frozenset().union(
            *(faults for item, faults in knowledge.evidence[rule.id] if item.sign < 0)
        )
        if not against or not _side_by_side(rule):
            continue
        needless = tuple(
            look.number for look in looks if against.issuperset(one.fault for one in look.finds)
        )
        if needless:
            yield CardSign(rule=rule.id, because=rule.because, leave_out=needless)


def _side_by_side(rule: Rule) -> bool:
    """Whether a rule speaks of readings alone, from one station to another."""
    facts = [leaf.fact for leaf in leaves(rule.when)]
    known = ("kept.", "level.", "drop.", "share.")
    return any(one.startswith("kept.") for one in facts) and all(
        one.startswith(known) for one in facts
    )
