"""Which event of a fault tree matters most: the whole analysis of a tree, and its table.

Birnbaum's measure says how much the top event's probability moves with an event's; Fussell and
Vesely's what part of the top event's probability passes through an event (definitions as in
IEC 61025 and the PRA Procedures Guide, NUREG/CR-2300, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from math import fsum, inf, isfinite, prod

from stillflow.engine.faulttree.diagram import DecisionDiagram
from stillflow.engine.faulttree.tree import (
    CutSet,
    EventKind,
    FaultTree,
    Method,
    PrimaryEvent,
    cut_sets,
    diagram,
)


@dataclass(frozen=True)
class Importance:
    """One event's weight in the tree.

    Attributes:
        event: its id.
        code: its short name, may be empty.
        type: "basic", "undeveloped" or "condition".
        title: what happens.
        probability: of the event itself.
        birnbaum: P(top | event) - P(top | no event).
        fussell_vesely: P(a cut set with the event happens) / P(top); 0 where P(top) is 0.
        criticality: Birnbaum times P(event) / P(top); 0 where P(top) is 0.
        achievement: risk achievement worth, P(top | event) / P(top).
        reduction: risk reduction worth, P(top) / P(top | no event).

    A worth that is no finite number is None. The worths are those of NUREG/CR-3385 (1983),
    criticality is Lambert's (1975), both from memory.
    """

    event: str
    code: str
    type: EventKind
    title: str
    probability: float
    birnbaum: float
    fussell_vesely: float
    criticality: float
    achievement: float | None
    reduction: float | None


@dataclass(frozen=True)
class Analysis:
    """A tree analysed.

    Attributes:
        method: how the probabilities were found.
        gates: the probability of every gate by id.
        top: the id of the top event.
        cut_sets: each minimal cut set with its probability, likeliest first.
        importance: each event, the weightiest by Fussell and Vesely first.
        remark: what to beware of in these figures; empty where there is nothing.
    """

    method: Method
    gates: Mapping[str, float]
    top: str
    cut_sets: tuple[tuple[CutSet, float], ...]
    importance: tuple[Importance, ...]
    remark: str = ""

    @property
    def probability(self) -> float:
        """The probability of the top event."""
        return self.gates[self.top]

    def rows(self) -> list[dict[str, str | float | None]]:
        """The importance table, one row for each event, for CSV and JSON."""
        return [asdict(row) for row in self.importance]

    def cut_set_rows(self) -> list[dict[str, str | float]]:
        """The minimal cut sets, one row each, for CSV and JSON."""
        codes = {row.event: row.code for row in self.importance}
        return [
            {
                "events": " + ".join(sorted(cut)),
                "codes": " + ".join(codes[name] for name in sorted(cut)),
                "order": len(cut),
                "probability": probability,
            }
            for cut, probability in self.cut_sets
        ]

    def as_data(self) -> dict[str, object]:
        """All of it as plain data, for JSON."""
        return {
            "method": self.method,
            "probability": self.probability,
            "remark": self.remark,
            "gates": dict(self.gates),
            "cut_sets": self.cut_set_rows(),
            "importance": self.rows(),
        }


def analyse(tree: FaultTree, method: Method = "rare-event") -> Analysis:
    """Cut sets, probability of the top event and importance of every event.

    Args:
        tree: the tree; every event needs a probability.
        method: "exact", or "rare-event": sums over the minimal cut sets throughout.

    Raises:
        InputError: an event has no probability, or the tree is too large for the method.
    """
    probabilities = tree.probabilities()
    sets = cut_sets(tree)
    cuts = sets[tree.top]
    weighed = [(cut, prod(probabilities[e] for e in cut)) for cut in cuts]
    names = [gate.id for gate in tree.gates if gate.id in sets] or [tree.top]
    if method == "exact":
        gates, pairs = _exact(tree, names, cuts, probabilities)
    else:
        gates = {i: fsum(prod(probabilities[e] for e in cut) for cut in sets[i]) for i in names}
        pairs = {event: _rare(event, cuts, probabilities) for event in probabilities}
    top = gates[tree.top]
    rows = []
    for event, (birnbaum, absent, through) in pairs.items():
        probability, happens = probabilities[event], absent + birnbaum
        part = tree.by_id[event]
        assert isinstance(part, PrimaryEvent)
        rows.append(
            Importance(
                event,
                part.code,
                part.kind,
                part.title,
                probability,
                birnbaum,
                through / top if top > 0 else 0.0,
                birnbaum * probability / top if top > 0 else 0.0,
                _worth(happens, top),
                _worth(top, absent),
            )
        )
    return Analysis(
        method,
        gates,
        tree.top,
        tuple(sorted(weighed, key=lambda pair: (-pair[1], len(pair[0]), sorted(pair[0])))),
        tuple(sorted(rows, key=lambda row: (-row.fussell_vesely, -row.birnbaum, row.event))),
        _remark(method, top),
    )


def _worth(one: float, other: float) -> float | None:
    """One over the other; None where that is no finite number."""
    worth = one / other if other > 0 else inf
    return worth if isfinite(worth) else None


def _remark(method: Method, top: float) -> str:
    # From memory (NUREG-0492, chapter XI): the sum is good to about a tenth below 0.1.
    if method == "rare-event" and top > 0.1:
        return (
            f"the cut sets' probabilities add up to {top:.3g}, so if these events come "
            "independently of one another, the sum is too high; ask for the exact figure then"
        )
    return ""


def _rare(
    event: str, cuts: tuple[CutSet, ...], probabilities: dict[str, float]
) -> tuple[float, float, float]:
    """Birnbaum's measure, the sum if the event does not happen, and over the sets with it."""
    with_event = [cut for cut in cuts if event in cut]
    absent = sum(prod(probabilities[e] for e in cut) for cut in cuts if event not in cut)
    # Summed by itself: as a difference of two sums it would lose the digits of small figures.
    birnbaum = sum(prod(probabilities[e] for e in cut if e != event) for cut in with_event)
    return birnbaum, absent, sum(prod(probabilities[e] for e in cut) for cut in with_event)


def _exact(
    tree: FaultTree, names: list[str], cuts: tuple[CutSet, ...], probabilities: dict[str, float]
) -> tuple[dict[str, float], dict[str, tuple[float, float, float]]]:
    made, roots = diagram(tree)
    root = roots[tree.top]
    pairs = {}
    for event in probabilities:
        happens = made.probability(root, {**probabilities, event: 1.0})
        absent = made.probability(root, {**probabilities, event: 0.0})
        through = _union(made, [cut for cut in cuts if event in cut])
        pairs[event] = (happens - absent, absent, made.probability(through, probabilities))
    return {name: made.probability(roots[name], probabilities) for name in names}, pairs


def _union(made: DecisionDiagram, cuts: list[CutSet]) -> int:
    return made.join(
        "or", [made.join("and", [made.variable(e) for e in sorted(cut)]) for cut in cuts]
    )
