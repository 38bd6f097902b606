"""Which inlet a fault is at, and at which to look next: names put to what is believed."""

from __future__ import annotations

from functools import cached_property

from stillflow.engine.base import Station, Where
from stillflow.engine.dialogue.progress import AGAIN, Progress
from stillflow.engine.inference import Further, inlet_words
from stillflow.engine.planning import search_order
from stillflow.engine.ruleset import Check, Fault

LOOK_MINUTES, WALK_MINUTES = 0.5, 1.5
"""To listen at one inlet, and to come to a branch of them (assumed)."""

TOLD = 0.5
"""Readings that make a leak at one inlet likelier than this, among all inlets, say where it is."""


class Places:
    """The inlets of a house at one moment of a visit."""

    def __init__(self, progress: Progress) -> None:
        self._progress = progress
        self._inlets = progress.inlets

    def of(self, fault: Fault) -> str:
        """The name of the inlet a fault is at; empty where it has none or nothing tells."""
        if fault.place is not Where.INLETS:
            return ""
        if not fault.elsewhere:
            return self._inlets.here
        mended = self._mended(fault)
        pointed = [one.inlet for one in reversed(self._progress.accepted) if one.pointing]
        told = [name for name in [*pointed, self._by_readings] if name and name not in mended]
        return told[0] if told else ""

    def asked(self, fault: Fault) -> bool:
        """Whether the inlet it is at has a name that nobody has said yet."""
        return fault.place is Where.INLETS and fault.elsewhere and not self.of(fault)

    def to_try(self, check: Check) -> tuple[str, ...]:
        """Names of the inlets that a check may be made at, the one to begin with first.

        Args:
            check: one at another inlet, or about which inlet it is.
        """
        names = [name for name in self._inlets.names if name != self._inlets.here]
        if check.station is Station.OTHER:
            read = {
                self._inlets.other if one.spot[1] is Station.OTHER else str(one.spot[1])
                for one in self._progress.accepted
                if one.spot is not None and one.check.id == check.id
            }
            names = [name for name in names if name not in read]
        elif not any(answer.inlet for answer in check.answers):
            return ()
        if len(names) < 2:
            return tuple(names)
        chances = [self._chance(name, len(names)) for name in names]
        branches = [self._inlets.branch_of(name) or f"/{name}" for name in names]
        ways = {branch: index for index, branch in enumerate(dict.fromkeys(branches))}
        order = search_order(
            chances,
            [LOOK_MINUTES] * len(names),
            [ways[branch] for branch in branches],
            [WALK_MINUTES] * len(ways),
        )
        return tuple(names[index] for index in order)

    def _chance(self, name: str, count: int) -> float:
        """How likely a leak at other inlets is at one of them."""
        whole = sum(self._leaking.values())
        number = self._inlets.number_of(name)
        if whole > 0.0 and number in self._leaking:
            chance = self._leaking[number] / whole
        else:
            unread = count - sum(number > 0 for number in self._leaking)
            away = self._leaking.get(0, 0.0) / whole if whole > 0.0 else 1.0
            chance = away / max(unread, 1)
        mended = any(one.done and one.inlet == name for one in self._progress.repairs)
        return chance * (AGAIN if mended else 1.0) + 1e-6

    @cached_property
    def _by_readings(self) -> str:
        whole = sum(self._leaking.values())
        for number, chance in self._leaking.items():
            if number and chance > TOLD * whole:
                return self._inlets.numbered(number)
        return ""

    @cached_property
    def _leaking(self) -> dict[int, float]:
        """Chance of a leak at each of the inlets that were read, by number; 0 for none of them."""
        progress = self._progress
        at = {spot[1] for spot in progress.situation.readings}
        if not any(one is Station.OTHER or isinstance(one, Further) for one in at):
            return {}
        leaking = progress.model.gauge.leaking(progress.situation.readings, progress.probabilities)
        return {n: chance for n, chance in leaking.items() if n == 0 or self._read(n)}

    def _read(self, number: int) -> bool:
        read = {spot[1] for spot in self._progress.situation.readings}
        return any(
            (one is Station.OTHER and number == 1)
            or (isinstance(one, Further) and one.number == number)
            for one in read
        )

    def _mended(self, fault: Fault) -> set[str]:
        return {one.inlet for one in self._progress.repairs if one.fault_id == fault.id}


def titled(fault: Fault, inlet: str) -> str:
    """A fault's title with the inlet it is at, where that has a name."""
    if not inlet or not fault.title_at:
        return fault.title
    return fault.title_at.replace("{inlet}", inlet_words(inlet))
