"""Which inlet a fault is at, and at which to look next: names put to what is believed."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING

from stillflow.engine.airflow import ThroatEffect
from stillflow.engine.base import AirState, Mode, Station, Where
from stillflow.engine.inference import At, Further, Spot, inlet_words, reads_well
from stillflow.engine.planning import first_cut, search_order
from stillflow.engine.ruleset import Check, Fault, stand_of

if TYPE_CHECKING:
    from stillflow.engine.dialogue.progress import Progress

AGAIN = 0.2
"""Of a fault that can stand at several places, how much of its usual chance is left for another
place once it was put right at one (assumed)."""

AGAIN_IN_VAIN = 0.02
"""The same where putting it right changed nothing: then it was not there (assumed)."""

LEAST_ROW = 3
"""Inlets along the main run from which halving it is worth while."""

TOLD = 0.5
"""Readings that make a leak at one inlet likelier than this, among all inlets, say where it is."""


class Places:
    """The inlets of a house at one moment of a visit."""

    def __init__(self, progress: Progress) -> None:
        self._progress = progress
        self._inlets = progress.inlets
        stands = progress.knowledge.stands.values()
        at = next((one for one in stands if Station.OTHER in one.stations), None)
        # Where rules say nothing of it, every look is alike and no way counts.
        self._look, self._way = (at.look, 2 * at.minutes) if at else (1.0, 0.0)

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
        if check.station is Station.OTHER and (middle := self._halving(names)):
            return (middle, *(name for name in names if name != middle))
        return self.in_order(names)

    def ahead(self) -> dict[str, Spot]:
        """Readings at the other inlet that may be taken at a further one as well, and where."""
        found: dict[str, Spot] = {}
        for taken in self._progress.accepted:
            check = taken.check
            if check.station is Station.OTHER and not taken.further and check.condition is not None:
                names = self.to_try(check)
                if names:
                    found[check.id] = check.condition, self._inlets.at(check.station, names[0])
        return found

    def in_order(self, among: Sequence[str] | None = None) -> tuple[str, ...]:
        """Names of inlets in the order in which to look for a leak at one of them.

        Args:
            among: some of them; all but the complaint's by default.
        """
        names = [
            name
            for name in (self._inlets.names if among is None else among)
            if name != self._inlets.here
        ]
        if len(names) < 2:
            return tuple(names)
        chances = [self._chance(name, len(names)) for name in names]
        branches = [self._inlets.branch_of(name) or f"/{name}" for name in names]
        ways = {branch: index for index, branch in enumerate(dict.fromkeys(branches))}
        order = search_order(
            chances,
            [self._look] * len(names),
            [ways[branch] for branch in branches],
            [self._way] * len(ways),
        )
        return tuple(names[index] for index in order)

    def _halving(self, names: Sequence[str]) -> str:
        """The inlet whose reading halves what is left of the main run, if it is squeezed.

        Only where the inlets are listed, in the order in which their branches leave the main run.
        An inlet that reads short lies beyond the squeeze, one that reads well before it.
        """
        listed = [self._inlets.known_as(one.name) for one in self._progress.visit.site.inlets]
        row = [name for name in listed if name != self._inlets.here]
        if len(row) < LEAST_ROW or not self._squeezed:
            return ""
        here = self._inlets.here
        # What squeezes the complaint's inlet too lies before its own branch.
        low, high = 0, listed.index(here) if here in listed else len(row)
        for name, good in self._well().items():
            if name in row:
                place = row.index(name)
                low, high = (max(low, place + 1), high) if good else (low, min(high, place))
        if low >= high:
            return ""
        cut = row[low + first_cut([1.0] * (high - low + 1), [self._look] * (high - low))]
        return cut if cut in names else ""

    def stretch(self, fault: Fault) -> str:
        """Between which two places a squeeze of the main run is, as a step; empty if not known.

        It lies beyond what reads well, working, and before what is weak. Of inlets listed in the
        order of their branches the last good one before the first weak one is named, of others all.
        """
        effect, knowledge = fault.effect, self._progress.knowledge
        stand = stand_of(knowledge, fault)
        if not isinstance(effect, ThroatEffect) or effect.at != "trunk":
            return ""
        if stand and Station.UNIT in knowledge.stands[stand].stations:
            return ""  # Where that is, its own steps say.
        well = self._well()
        listed = [self._inlets.known_as(one.name) for one in self._progress.visit.site.inlets]
        weak = [name for name, good in well.items() if not good]
        sound = [name for name, good in well.items() if good]
        if {*well} <= {*listed}:
            weak = sorted(weak, key=listed.index)[:1]
            nearer = listed[: listed.index(weak[0])] if weak else []
            sound = [name for name in nearer if name in sound][-1:]
        if not weak:
            return ""
        before = [inlet_words(name) for name in sound]
        if not before:
            stations = (Station.UTILITY, Station.UNIT)
            before = [at.words for at in stations if self._read_well(at)][:1]
        if not before:
            return ""
        behind = " and ".join(inlet_words(name) for name in weak)
        read, is_weak = ("reads", "read")[len(before) > 1], ("is", "are")[len(weak) > 1]
        return (
            f"Look between {' and '.join(before)}, which {read} well, and {behind}, "
            f"which {is_weak} weak."
        )

    def _well(self) -> dict[str, bool]:
        """Whether each inlet read well, working, by name; the complaint's too where it has one."""
        names = {Station.OTHER: self._inlets.other, Station.INLET: self._inlets.here}
        found: dict[str, bool] = {}
        for state, at in self._progress.situation.readings:
            name = at.name if isinstance(at, Further) else names.get(at, "")
            if state is AirState.WORKING and name:
                found[name] = self._read_well(at)
        return found

    def _read_well(self, at: At) -> bool:
        """Whether working was read there, and was as it should be."""
        progress, spot = self._progress, (AirState.WORKING, at)
        value = progress.situation.readings.get(spot)
        levels = progress.knowledge.levels
        return value is not None and reads_well(spot, value, progress.model.baseline, levels)

    @cached_property
    def _squeezed(self) -> bool:
        """Whether a squeeze in tubing is likelier than a leak at another inlet."""
        squeezed = leaks = 0.0
        faults = self._progress.knowledge.faults.values()
        for fault, chance in zip(faults, self._progress.probabilities, strict=True):
            if fault.place is Where.TUBING and fault.mode is Mode.OBSTRUCTION:
                squeezed += float(chance)
            leaks += float(chance) * fault.elsewhere
        return squeezed > leaks

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


def done_words(fault: Fault, inlet: str) -> str:
    """What was done by the fix of a fault, and at which inlet, where that has a name."""
    if not fault.fix.done:
        return f"{titled(fault, inlet)}: put right"
    at = f" ({inlet_words(inlet)})" if inlet else ""
    return f"{fault.fix.done}{at}"


def titled(fault: Fault, inlet: str) -> str:
    """A fault's title with the inlet it is at, where that has a name."""
    if not inlet or not fault.title_at:
        return fault.title
    return fault.title_at.replace("{inlet}", inlet_words(inlet))
