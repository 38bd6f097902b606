"""What an act takes in a house as the acts before have left it: walks, openings, put-backs.

One way of counting for the visit, its plan, trees, replays and simulated calls alike.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from stillflow.engine.base import Station
from stillflow.engine.ruleset.entries import Check, Fault
from stillflow.engine.ruleset.knowledge import Knowledge


@dataclass(frozen=True)
class Footing:
    """How a visit has left the house: where one stands, and what is undone.

    Attributes:
        at: id of the stand, empty before the first.
        gauge: the station the gauge is still at, ready for the other reading there.
        inlet: which of the other inlets that is, by name, where it has one.
        opened: ids of the accesses that stand open.
    """

    at: str = ""
    gauge: Station | None = None
    inlet: str = ""
    opened: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Outlay:
    """Minutes of one act, by what they go to, and how it leaves the house.

    Attributes:
        closing: of putting back first what must not be open.
        walk: to where it is done.
        opening: of opening what it needs.
        doing: of the act itself.
        put_back: ids of the accesses put back first, in order of id.
        opens: ids of those opened, what the act is done behind first.
        after: how it leaves the house.
    """

    closing: float
    walk: float
    opening: float
    doing: float
    put_back: tuple[str, ...]
    opens: tuple[str, ...]
    after: Footing

    @property
    def own(self) -> float:
        """Minutes of the act without what is put back first, which is a step of its own."""
        return self.walk + self.opening + self.doing

    @property
    def minutes(self) -> float:
        """All of it."""
        return self.closing + self.own


def checking(knowledge: Knowledge, footing: Footing, check: Check, inlet: str = "") -> Outlay:
    """What a check takes, at another inlet of that name if it is about one."""
    inlet = inlet if check.station is Station.OTHER else ""
    elsewhere = bool(inlet and footing.inlet) and inlet != footing.inlet
    if elsewhere and footing.gauge is Station.OTHER:
        # From one of the other inlets to the next is as far as from elsewhere.
        on = checking(knowledge, replace(footing, gauge=None), check)
        way = 2 * knowledge.stands[on.after.at].minutes if on.after.at else 0.0
        return replace(on, walk=way, after=replace(on.after, inlet=inlet))
    same = check.station is not None and footing.gauge is check.station
    doing = check.minutes - (check.set_up if same else 0.0)
    at = stand_of(knowledge, check)
    made = _made(knowledge, footing, at, check.access, doing, check.needs_closed)
    if check.station is not None:
        return replace(made, after=replace(made.after, gauge=check.station, inlet=inlet))
    return made


def fixing(knowledge: Knowledge, footing: Footing, fault: Fault) -> Outlay:
    """What a fix takes."""
    fix = fault.fix
    return _made(knowledge, footing, stand_of(knowledge, fault), fix.access, fix.minutes, False)


def putting_back(knowledge: Knowledge, footing: Footing) -> Outlay:
    """What it takes to leave nothing undone; no walk, since whoever leaves comes by."""
    return _made(knowledge, footing, "", None, 0.0, True)


def put_back_steps(knowledge: Knowledge, names: Iterable[str]) -> tuple[str, ...]:
    """How to put some accesses back, a step each, and what is opened along with them after that.

    Whoever ran the unit with the tubing off has plugged it in, and unplugs it again for the tubing.
    """
    along = [also for name in names for also in knowledge.accesses[name].also]
    shut = [knowledge.accesses[name].put_back for name in dict.fromkeys((*sorted(names), *along))]
    return tuple(one.step for one in shut if one is not None)


def stand_of(knowledge: Knowledge, act: Check | Fault) -> str:
    """Id of where a check or a fix is done; empty where that is anywhere."""
    access = act.access if isinstance(act, Check) else act.fix.access
    said = act.at if isinstance(act, Check) else act.fix.at
    if said is None and access is not None:
        said = knowledge.accesses[access].at
    if said is not None:
        return said
    for stand in knowledge.stands.values():
        if isinstance(act, Fault) and act.place in stand.parts:
            return stand.id
        if isinstance(act, Check) and act.station in stand.stations:
            return stand.id
    return ""


def walk(knowledge: Knowledge, here: str, there: str) -> float:
    """Minutes from stand to stand; an empty `there` is anywhere, an empty `here` the door."""
    if there in ("", here):
        return 0.0
    return sum(knowledge.stands[one].minutes for one in (here, there) if one)


def _made(
    knowledge: Knowledge,
    footing: Footing,
    at: str,
    access: str | None,
    doing: float,
    closed: bool,
) -> Outlay:
    accesses = knowledge.accesses
    wanted = [] if access is None else [access, *([] if closed else accesses[access].also)]
    # What is open is closed before its place is left, so that nobody has to walk back for it.
    put_back = tuple(
        name
        for name in sorted(footing.opened)
        if name not in wanted
        and accesses[name].put_back is not None
        and (closed or at not in ("", accesses[name].at or at))
    )
    opens = tuple(name for name in wanted if name not in footing.opened)
    return Outlay(
        closing=sum(accesses[name].closing for name in put_back),
        walk=walk(knowledge, footing.at, at),
        opening=sum(accesses[name].minutes for name in opens),
        doing=doing,
        put_back=put_back,
        opens=opens,
        after=Footing(
            at=at or footing.at,
            gauge=None if at else footing.gauge,
            inlet="" if at else footing.inlet,
            opened=footing.opened.difference(put_back).union(wanted),
        ),
    )
