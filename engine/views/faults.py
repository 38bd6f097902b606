"""The fault tree of a rule set: what can bring a complaint about, by place and mode.

Derived from the faults, the declared combinations and the evidence on the complaint; nothing is
drawn by hand. Gates and arithmetic are left to `faulttree`, drawing to `charts`.
"""

from __future__ import annotations

from math import ceil, prod
from typing import Literal

from stillflow.engine.base import InputError, Mode, Where, capital_first, nearest, small_first
from stillflow.engine.charts import ParetoBar
from stillflow.engine.dialogue import Session
from stillflow.engine.faulttree import Cause, FaultTree, JointCauses, build_tree
from stillflow.engine.ruleset import Complaint, Fault, Knowledge

ANY_COMPLAINT = "Poor suction"
"""The top event where no complaint is named."""

WORTH_AN_EVENT = 0.005
"""Share of the top event below which a cause is drawn together with others."""

_WORTH_A_GATE = 0.1
"""Combinations are what nobody thinks of: they are drawn down to this part of that share."""

_PLACES = {
    Where.UNIT: "In the unit",
    Where.TUBING: "In the tubing",
    Where.INLETS: "At the inlets",
    Where.HOSE: "In the hose",
    Where.TOOL: "In the tool or wand",
    Where.SUPPLY: "In the electric supply",
    Where.MEASUREMENT: "In the measuring",
    Where.SYSTEM: "In how the system is used",
}
_MODES = {
    Mode.LEAK: "air gets in",
    Mode.OBSTRUCTION: "something is in the way",
    Mode.WEAK_POWER: "too little power",
    Mode.SETTING: "set or used wrongly",
    Mode.MEASUREMENT: "the readings are wrong",
    Mode.NORMAL: "nothing is broken",
}


By = Literal["place", "mode"]
"""What a fault tree divides by first: where a cause is, or how it shows."""


def _sides(by: By, place: Where, mode: Mode) -> tuple[str, str]:
    """The words of the outer and of the inner gate that a cause stands under."""
    where, how = _PLACES[place], _MODES[mode]
    if by == "place":
        return where, how
    return capital_first(how), small_first(where)


def known_complaint(knowledge: Knowledge, name: str) -> Complaint:
    """The complaint with an id.

    Raises:
        InputError: there is none; names the nearest.
    """
    if name not in knowledge.complaints:
        right = nearest(name, knowledge.complaints) or f"one of: {', '.join(knowledge.complaints)}"
        raise InputError(f"there is no complaint '{name}'", right=right)
    return knowledge.complaints[name]


def complaint_shares(knowledge: Knowledge, complaint: Complaint | None) -> dict[str, float]:
    """The share of calls with a complaint that each fault brings about, P(the fault | it).

    In proportion to how common the fault is among calls times P(the complaint | the fault);
    without a complaint, to the former alone. Faults that cannot be are left out. By fault id; they
    add up to 1.
    """
    progress = Session(knowledge).progress
    shares = progress.probabilities
    if complaint is not None:
        [outlook] = progress.model.outlooks(progress.situation, [complaint.check])
        shares = shares * outlook.likelihood[outlook.answers.index(complaint.answer)]
    whole = float(shares.sum())
    return {
        name: float(share) / whole
        for name, share in zip(knowledge.faults, shares, strict=True)
        if share > 0.0
    }


def pareto_bars(
    knowledge: Knowledge, complaint: Complaint | None, most: int
) -> tuple[ParetoBar, ...]:
    """The likeliest causes of a complaint, and what is left of each place together.

    Args:
        knowledge: the rule set.
        complaint: None for any.
        most: causes with a bar of their own.
    """
    shares = complaint_shares(knowledge, complaint)
    ordered = sorted(shares.items(), key=lambda pair: (-pair[1], pair[0]))
    bars = [
        ParetoBar(id=name, title=knowledge.faults[name].title, share=share)
        for name, share in ordered[:most]
    ]
    left: dict[Where, list[tuple[str, float]]] = {}
    for name, share in ordered[most:]:
        left.setdefault(knowledge.faults[name].place, []).append((name, share))
    rest = []
    for place, here in left.items():
        title = f"{_PLACES[place]}: {len(here)} more, none over {ceil(100 * here[0][1])} %"
        if len(here) == 1:
            title = knowledge.faults[here[0][0]].title
        whole = sum(share for _, share in here)
        rest.append(ParetoBar(title=title, share=whole, several=len(here)))
    return (*bars, *sorted(rest, key=lambda bar: (-bar.share, bar.title)))


def fault_tree(
    knowledge: Knowledge,
    complaint: Complaint | None = None,
    worth: float = WORTH_AN_EVENT,
    by: By = "place",
) -> FaultTree:
    """The fault tree of a complaint, or of poor suction as such.

    Probabilities are shares of the calls with that complaint, of which each has one cause. A
    circumstance that a fault needs makes the fault itself a little likelier than its share:
    `how_common` counts the calls it caused. Events have the same code in every tree of a rule set.

    Args:
        knowledge: the rule set.
        complaint: the top event, None for any complaint.
        worth: where several causes of one place are each less than this share, they stand
            together as one undeveloped event; 0 to show all.
        by: what it divides by first.

    Raises:
        InputError: `worth` is not a share.
    """
    if not 0.0 <= worth < 1.0:
        raise InputError(f"{worth:g} is not a share", right="use a number from 0 up to 1")
    shares = complaint_shares(knowledge, complaint)
    combined = _combinations(knowledge, shares, worth, by)
    within = {name for one in combined for name in one.causes}
    rare = {n: s for n, s in shares.items() if s < worth and n not in within}
    left = _rare(knowledge, rare, by)
    kept = {name: share for name, share in shares.items() if share >= worth or name not in left}
    causes = [
        Cause(
            id=name,
            title=fault.title,
            place=_sides(by, fault.place, fault.mode)[0],
            mode=_sides(by, fault.place, fault.mode)[1],
            probability=_presence(knowledge, combined, name, shares[name]),
            alone=name not in within,
            code=f"E{number}",
        )
        for number, (name, fault) in enumerate(_by_place(knowledge), 1)
        if name in kept or name in within
    ]
    causes += [
        Cause(
            id=name,
            title=one.title,
            place=_sides(by, Where.SYSTEM, Mode.SETTING)[0],
            mode=_sides(by, Where.SYSTEM, Mode.SETTING)[1],
            probability=one.share,
            alone=False,
            kind="condition",
            code=f"C{number}",
        )
        for number, (name, one) in enumerate(knowledge.circumstances.items(), 1)
        if name in within
    ]
    causes += _together(knowledge, left, worth, by)
    top = ANY_COMPLAINT if complaint is None else complaint.title
    return build_tree(top, causes, combined)


def _by_place(knowledge: Knowledge) -> list[tuple[str, Fault]]:
    places, modes = list(Where), list(Mode)
    return sorted(
        knowledge.faults.items(),
        key=lambda pair: (places.index(pair[1].place), modes.index(pair[1].mode), pair[0]),
    )


def _combinations(
    knowledge: Knowledge, shares: dict[str, float], least: float, by: By
) -> list[JointCauses]:
    """The combinations all of whose faults can be, and that are likely enough to be drawn."""
    return [
        JointCauses(
            id=name,
            title=one.title,
            place=_sides(by, one.place, one.mode)[0],
            mode=_sides(by, one.place, one.mode)[1],
            causes=(*one.faults, *one.circumstances),
        )
        for name, one in knowledge.combinations.items()
        if min(shares.get(fault, 0.0) for fault in one.faults) >= max(_WORTH_A_GATE * least, 1e-300)
    ]


def _presence(
    knowledge: Knowledge,
    combined: list[JointCauses],
    name: str,
    share: float,
) -> float:
    """How often a fault is there: its share of calls, and the times when nobody feels it."""
    felt = [
        prod(
            knowledge.circumstances[cause].share
            for cause in one.causes
            if cause in knowledge.circumstances
        )
        for one in combined
        if name in one.causes
    ]
    return min(share / max(felt), 1.0) if felt else share


def _outer(knowledge: Knowledge, name: str, by: By) -> str:
    fault = knowledge.faults[name]
    return _sides(by, fault.place, fault.mode)[0]


def _rare(knowledge: Knowledge, shares: dict[str, float], by: By) -> dict[str, float]:
    """Those to be joined: one alone in its place would take as much room without its name."""
    places = [_outer(knowledge, name, by) for name in shares]
    return {
        name: share
        for name, share in shares.items()
        if places.count(_outer(knowledge, name, by)) > 1
    }


def _together(knowledge: Knowledge, left: dict[str, float], worth: float, by: By) -> list[Cause]:
    """One event for the causes of each place that are too rare to be drawn one by one."""
    causes = []
    outers = [_sides(by, place, Mode.LEAK)[0] for place in Where]
    if by == "mode":
        outers = [_sides(by, Where.UNIT, mode)[0] for mode in Mode]
    for number, outer in enumerate(outers, 1):
        here = [share for name, share in left.items() if _outer(knowledge, name, by) == outer]
        if here:
            causes.append(
                Cause(
                    id=f"others {number}",
                    title=f"{outer}: {len(here)} other causes, "
                    f"each under {worth * 100:g} % of these calls",
                    place=outer,
                    mode="others",
                    probability=sum(here),
                    kind="undeveloped",
                    code=f"J{number}",
                )
            )
    return causes
