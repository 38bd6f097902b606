"""Rules on readings, and the airflow model behind them, held against physics: screen and JSON."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from itertools import groupby

from stillflow.cli.screen import Screen
from stillflow.engine.base import Strength, percent
from stillflow.engine.simulate import FAR_OUT, Foretold, Weighed, Weighing

MARKED, REASONED = "!", "~"

_SHARES = (0.01, 0.05, 0.2, 0.5)
"""Tails of which it is said how many readings have less."""

_LEGEND = (
    "How many times as likely the readings of a rule are with the fault as with another: by the "
    "airflow model that belief goes by, in a nominal house, and in simulated houses, which are "
    "drawn wider than belief assumes. Above 1 they speak for the fault, below 1 against it. "
    f"Where both say the reverse of the rule the faults are named: {MARKED} with no reason "
    f"written, {REASONED} where the rule says why it may stand."
)
_FORETOLD = (
    "Every reading beside what was foretold of it, given the readings before: named are those "
    f"with less than {FAR_OUT * 100:g} % in the tails, which no fault explains. Readings of "
    "worked cases are worked out to the inch, so fewer lie far out than would of real ones."
)


def show_weighing(screen: Screen, weighing: Weighing, right: str, every_fault: bool) -> None:
    """Print each rule with what the model and the houses make of it.

    Args:
        screen: where to.
        weighing: what was found.
        right: something short for the heading: how it was drawn.
        every_fault: a line for each fault, not one for each direction.
    """
    screen.head("Rules on readings, weighed", right)
    screen.text(_LEGEND)
    for rule_id, group in groupby(weighing.pairs, key=lambda pair: pair.rule_id):
        pairs = list(group)
        screen.gap()
        rows = map(_fault_row, pairs) if every_fault else _direction_rows(pairs)
        screen.table((rule_id, "by the model", "in houses"), rows, 0)
        off = [pair for pair in pairs if pair.contradicted]
        if off:
            names = ", ".join(pair.fault_id for pair in off)
            style = "" if off[0].reason else "bold red"
            screen.item(_mark(off[0]), f"both say the reverse: {names}", style=style)
        if pairs[0].reason:
            screen.item("why:", pairs[0].reason)
    screen.gap()
    off = [pair for pair in weighing.pairs if pair.contradicted]
    marked = sum(pair.marked for pair in off)
    screen.text(
        f"{len(weighing.pairs):,} pairs of rule and fault. Physics says the reverse of "
        f"{len(off)}: {len(off) - marked} with a reason written, {marked} marked {MARKED}."
    )
    for rule_id, why in weighing.left_out.items():
        screen.text(f"Not weighed: {rule_id}, since {why}.")


def show_foretold(
    screen: Screen, found: Mapping[str, Sequence[Foretold]], unread: Mapping[str, str]
) -> None:
    """Print the readings that no fault explains, and how far out all of them are.

    Args:
        screen: where to.
        found: the readings of each worked case or kept visit, by its name.
        unread: why others could not be read.
    """
    screen.head("Readings, foretold")
    screen.text(_FORETOLD)
    for name, one in _unexplained(found):
        screen.item("-", f"{name}: {one.check_id} {one.value:g} inH2O ({one.tail * 100:.1g} %)")
    tails = [one.tail for some in found.values() for one in some]
    out = ", ".join(f"{percent(_below(tails, s))} below {percent(s)}" for s in _SHARES)
    screen.text(f"{len(tails):,} readings in {len(found):,} cases and visits; tails: {out}.")
    for name, why in unread.items():
        screen.text(f"Not read: {name}, since {why}.")


def weighing_json(
    weighing: Weighing, found: Mapping[str, Sequence[Foretold]], unread: Mapping[str, str]
) -> dict[str, object]:
    """What was found, for programs; factors are likelihood ratios, tails are in 0 to 1."""
    tails = [one.tail for some in found.values() for one in some]
    return {
        "pairs": [_pair_json(pair) for pair in weighing.pairs],
        "left_out": dict(weighing.left_out),
        "contradicted": sum(pair.contradicted for pair in weighing.pairs),
        "marked": sum(pair.marked for pair in weighing.pairs),
        "foretold": {
            "readings": len(tails),
            "below": {f"{share:g}": _below(tails, share) for share in _SHARES},
            "unexplained": [{"name": name, **asdict(one)} for name, one in _unexplained(found)],
            "unread": dict(unread),
        },
    }


def _pair_json(pair: Weighed) -> dict[str, object]:
    return {
        "rule": pair.rule_id,
        "fault": pair.fault_id,
        "direction": _direction(pair),
        "strength": pair.strength,
        "by_model": pair.by_model,
        "by_houses": pair.by_houses,
        "contradicted": pair.contradicted,
        "marked": pair.marked,
        "reason": pair.reason,
    }


def _direction_rows(pairs: Sequence[Weighed]) -> Iterable[tuple[str, ...]]:
    """A row for each direction and strength: the faults counted, the factors from least to most."""

    def said(pair: Weighed) -> tuple[int, str]:
        return -pair.sign, pair.strength

    for _, group in groupby(sorted(pairs, key=said), key=said):
        alike = list(group)
        count = f"{len(alike)} fault{'' if len(alike) == 1 else 's'}"
        columns = [one.by_model for one in alike], [one.by_houses for one in alike]
        yield f"{_said(alike[0])}: {count}", *map(_span, columns)


def _fault_row(pair: Weighed) -> tuple[str, ...]:
    mark = _mark(pair) if pair.contradicted else " "
    said = f"{mark} {_said(pair)}: {pair.fault_id}"
    return said, _factor(pair.by_model), _factor(pair.by_houses)


def _unexplained(found: Mapping[str, Sequence[Foretold]]) -> Iterator[tuple[str, Foretold]]:
    for name, some in found.items():
        yield from ((name, one) for one in some if one.unexplained)


def _below(tails: Sequence[float], share: float) -> float:
    return sum(tail < share for tail in tails) / len(tails) if tails else 0.0


def _mark(pair: Weighed) -> str:
    return REASONED if pair.reason else MARKED


def _direction(pair: Weighed) -> str:
    return "for" if pair.sign > 0 else "against"


def _said(pair: Weighed) -> str:
    if pair.strength is Strength.COMPUTED:
        return _direction(pair)
    return f"{_direction(pair)}, {pair.strength.replace('-', ' ')}"


def _span(values: Sequence[float]) -> str:
    least, most = _factor(min(values)), _factor(max(values))
    return least if least == most else f"{least} to {most}"


def _factor(value: float) -> str:
    """A likelihood ratio to two figures or so."""
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}" if value >= 1 else f"{value:.2f}"
