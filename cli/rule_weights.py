"""The rules on readings beside the airflow model, on the screen and as JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import groupby

from stillflow.cli.screen import Screen
from stillflow.engine.base import percent
from stillflow.engine.simulate import MISTAKEN, STEP, Held, Weighed, Weighing

MARKED, REASONED = "!", "~"

_COLUMNS = ("declared", "in effect", "physics")
_LEGEND = (
    (
        "declared:",
        "what the word stands for, as a factor: above 1 speaks for the fault, below 1 against it.",
    ),
    (
        "in effect:",
        "what belief makes of readings that fulfil the condition. It is seldom the word: other "
        "rules speak of the same readings, and the answers to a check must add up to 1. "
        "A rule that takes back what another has said is weighed together with it.",
    ),
    (
        "physics:",
        "what the airflow model gives: the fault is put into every simulated house that can have "
        f"it, and the gauge is read; {MISTAKEN * 100:g} % of readings are taken to say nothing.",
    ),
)
_COMPARED = (
    "Each is how many times as often the condition holds with the fault as is usual with the fault "
    "elsewhere. What is usual is the usual answers of the checks, for all three. Compared are 'in "
    "effect' and 'physics', not the word. Where they differ by more than one step of the scale "
    f"(x {10**STEP:.1f}) and by more than chance in the simulation, the faults are named: "
    f"{MARKED} with no reason written, {REASONED} where the rule says why it may stand."
)


def show_weighing(screen: Screen, weighing: Weighing, right: str, every_fault: bool) -> None:
    """Print each rule with its strengths, then how many differ.

    Args:
        screen: where to.
        weighing: what was found.
        right: something short for the heading: how it was drawn.
        every_fault: a line for each fault, not one for each strength.
    """
    screen.head("Rules on readings, weighed", right)
    for mark, words in _LEGEND:
        screen.item(mark, words, 0)
    screen.text(_COMPARED)
    for rule_id, group in groupby(weighing.pairs, key=lambda pair: pair.rule_id):
        pairs = list(group)
        screen.gap()
        rows = map(_fault_row, pairs) if every_fault else _strength_rows(pairs)
        screen.table((rule_id, *_COLUMNS), rows, 0)
        _show_off(screen, pairs)
        screen.text(_held_words(weighing.held[rule_id]), 2, style="dim")
    screen.gap()
    _show_totals(screen, weighing)


def weighing_json(weighing: Weighing) -> dict[str, object]:
    """What was found, for programs; factors are likelihood ratios, differences are in steps."""
    return {
        "pairs": [_pair_json(pair) for pair in weighing.pairs],
        "held": {
            rule_id: {
                "usual": held.usual,
                "believed": held.believed,
                "simulated": held.simulated,
            }
            for rule_id, held in weighing.held.items()
        },
        "left_out": dict(weighing.left_out),
        "differ": sum(pair.differs for pair in weighing.pairs),
        "differ_by_word": sum(pair.word_differs for pair in weighing.pairs),
        "marked": sum(pair.marked for pair in weighing.pairs),
    }


def _pair_json(pair: Weighed) -> dict[str, object]:
    return {
        "rule": pair.rule_id,
        "fault": pair.fault_id,
        "direction": _direction(pair),
        "strength": pair.strength,
        "declared": pair.declared,
        "in_effect": pair.in_effect,
        "physics": pair.physics,
        "physics_95": [pair.low, pair.high],
        "houses": pair.houses,
        "steps": pair.steps,
        "word_steps": pair.word_steps,
        "differs": pair.differs,
        "marked": pair.marked,
        "reason": pair.reason,
    }


def _strength_rows(pairs: Sequence[Weighed]) -> Iterable[tuple[str, ...]]:
    """A row for each direction and strength: the faults counted, the factors from least to most."""

    def said(pair: Weighed) -> tuple[int, float]:
        return -pair.sign, -pair.strength.factor

    for _, group in groupby(sorted(pairs, key=said), key=said):
        alike = list(group)
        yield (
            f"{_said(alike[0])}: {_counted(len(alike), 'fault')}",
            _factor(alike[0].declared),
            _span([pair.in_effect for pair in alike], _factor),
            _span([pair.physics for pair in alike], _factor),
        )


def _fault_row(pair: Weighed) -> tuple[str, ...]:
    mark = _mark(pair) if pair.differs else " "
    return (
        f"{mark} {_said(pair)}: {pair.fault_id}",
        *map(_factor, (pair.declared, pair.in_effect, pair.physics)),
    )


def _show_off(screen: Screen, pairs: Sequence[Weighed]) -> None:
    """Name the faults on which a rule is off, and the reason why it may be."""
    off = sorted((p for p in pairs if p.differs), key=lambda p: (p.steps < 0, p.fault_id))
    for weak, group in groupby(off, key=lambda pair: pair.steps < 0):
        alike = list(group)
        by = _span([abs(pair.steps) for pair in alike], lambda steps: f"{steps:.1f}")
        names = ", ".join(pair.fault_id for pair in alike)
        words = f"too {'weak' if weak else 'strong'} by {by} steps: {names}"
        screen.item(_mark(alike[0]), words, style="" if alike[0].reason else "bold red")
    if off and off[0].reason:
        screen.item("why:", off[0].reason)


def _held_words(held: Held) -> str:
    return (
        f"it holds: usually {percent(held.usual)}; over all faults {percent(held.believed)} by "
        f"belief, {percent(held.simulated)} by physics"
    )


def _show_totals(screen: Screen, weighing: Weighing) -> None:
    pairs = weighing.pairs
    off = [pair for pair in pairs if pair.differs]
    marked = [pair for pair in off if pair.marked]
    rules = len({pair.rule_id for pair in pairs})
    screen.text(
        f"{_counted(len(pairs), 'pair')} of rule and fault in {_counted(rules, 'rule')}. In effect "
        f"{len(off)} differ from physics by more than a step: {len(off) - len(marked)} with a "
        f"reason written, {len(marked)} marked {MARKED}."
    )
    by_word = sum(pair.word_differs for pair in pairs)
    screen.text(f"The declared word taken alone would differ in {by_word} of them.")
    for rule_id, why in weighing.left_out.items():
        screen.text(f"Not weighed: {rule_id}, since {why}.")


def _mark(pair: Weighed) -> str:
    return REASONED if pair.reason else MARKED


def _direction(pair: Weighed) -> str:
    return "for" if pair.sign > 0 else "against"


def _said(pair: Weighed) -> str:
    return f"{_direction(pair)}, {pair.strength.replace('-', ' ')}"


def _counted(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def _span(values: Sequence[float], words: Callable[[float], str]) -> str:
    least, most = words(min(values)), words(max(values))
    return least if least == most else f"{least} to {most}"


def _factor(value: float) -> str:
    """A likelihood ratio to two figures or so."""
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}" if value >= 1 else f"{value:.2f}"
