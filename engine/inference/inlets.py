"""The inlets of one house by name: which one an answer is about, and where a reading was taken.

A house has as many inlets as it has. The complaint's and the first other one that is read have
stations of their own, which rules speak of; any further one is told by its name.
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches

from stillflow.engine.base import InputError, Place, Station
from stillflow.engine.inference.visit import Event, Site
from stillflow.engine.ruleset import Check


@dataclass(frozen=True, order=True)
class Further:
    """An inlet that was read besides the complaint's and the other one.

    Attributes:
        number: among the inlets beside the complaint's, as they came to be read: 2 is the first
            after the one that station `other` is.
        name: as it was first written.
        tap: where its branch leaves the trunk, as far as is known: `HERE` with that of the inlet
            the complaint is about, `OTHER` with the other one's, else a name of its own.
    """

    number: int
    name: str
    tap: str

    def __str__(self) -> str:
        return self.name

    @property
    def words(self) -> str:
        """As people say it after "at"."""
        return inlet_words(self.name)

    @property
    def value(self) -> str:
        """The station it is like."""
        return Station.OTHER.value


HERE, OTHER = "/here", "/other"

At = Station | Further
"""Where the gauge is put: a station, or an inlet beyond those that have one."""


def name_of(at: At) -> str | None:
    """The name of an inlet that has no station of its own; None at a station."""
    return at.name if isinstance(at, Further) else None


def inlet_words(name: str) -> str:
    """An inlet by its name as people say it."""
    return f"the {name}" if key_of(name).endswith("inlet") else f"the {name} inlet"


def key_of(name: str) -> str:
    """What makes two names the same: letters alone, without capitals and spaces."""
    return "".join(name.casefold().split())


def _is_here(check: Check | None, answer: object) -> bool:
    """Whether an answer is about the inlet the complaint is about."""
    return check is not None and any(one.here for one in check.answers if one.id == answer)


_LONG, _LIKE = 4, 0.75
"""Letters of a word that may be misspelt, and how like the right one it then is."""


def _alike(one: str, other: str) -> bool:
    long = max(len(one), len(other)) >= _LONG
    return one == other or (long and bool(get_close_matches(one, [other], 1, _LIKE)))


class Inlets:
    """The names of a house's inlets, as the site gives them and as they come up in answers.

    Args:
        site: the house.

    Attributes:
        here: the inlet the complaint is about, empty while it has no name.
        other: the one other inlet that station `other` is, empty while it has no name.
    """

    def __init__(self, site: Site) -> None:
        self._names: dict[str, str] = {}
        self._further: dict[str, Further] = {}
        self._branches = {key_of(one.name): key_of(one.branch) for one in site.inlets}
        for inlet in site.inlets:
            self._learn(inlet.name)
        self.here = self._learn(site.inlet)
        self.other = self._learn(site.other_inlet)

    @property
    def names(self) -> tuple[str, ...]:
        """All that have come up, in order."""
        return tuple(self._names.values())

    def known_as(self, name: str) -> str:
        """The name as it was first written, or as it is written now if it is new."""
        return self._names.get(key_of(name), " ".join(name.split()))

    def near(self, name: str) -> str:
        """A known name that a new one may be a slip of; empty where it is known, or like none.

        What is short or counts says which of several it is: bed 1 is no slip of bed 2.
        """
        words = name.casefold().split()
        if key_of(name) in self._names:
            return ""
        for known in self.names:
            others = known.casefold().split()
            if words and len(words) == len(others) and all(map(_alike, words, others)):
                return known
        return ""

    def branch_of(self, name: str) -> str:
        """The branch an inlet hangs on, empty where that is not known."""
        return self._branches.get(key_of(name), "")

    def numbered(self, number: int) -> str:
        """Name of an inlet by its number among those beside the complaint's, 1 for `other`."""
        if number == 1:
            return self.other
        return next((one.name for one in self._further.values() if one.number == number), "")

    def number_of(self, name: str) -> int | None:
        """The number of an inlet that has one: it is the other one, or was read besides."""
        if name and name == self.other:
            return 1
        further = self._further.get(name)
        return further.number if further is not None else None

    def words(self, at: At) -> str:
        """Where the gauge was, as people say it after "at", by name where there is one."""
        name = {Station.INLET: self.here, Station.OTHER: self.other}.get(Station(at.value), "")
        return inlet_words(name) if name and isinstance(at, Station) else at.words

    def at(self, station: Station, name: str | None) -> At:
        """Where a reading at a station stands, once its inlet has been learnt."""
        known = self.known_as(name or "")
        if station is not Station.OTHER or not known or known == self.other:
            return station
        return self._further.get(known) or self._beyond(known)

    def learn(self, name: str, check: Check | None, answer: object = None) -> None:
        """Take in a name that was given with the answer to a check, or with a fix."""
        station = check.station if check is not None else None
        known = self._learn(name)
        if not known:
            return
        new = not self.here and known not in (self.other, *self._further)
        if station in (Station.INLET, Station.HOSE) or (new and _is_here(check, answer)):
            self.here = known
        elif station is Station.OTHER:
            self.other = self.other or known
            if known not in (self.other, *self._further):
                self._further[known] = self._beyond(known)

    def checked(self, event: Event, check: Check | None, where: str = "") -> Event:
        """The event with its inlet as it was first written.

        Args:
            event: as given.
            check: the one it answers; None for a fix.
            where: the event's path in the visit, for the error.

        Raises:
            InputError: the name is not that of an inlet the check is about.
        """
        if event.inlet is None:
            return event
        name = self.known_as(event.inlet)
        station = check.station if check is not None else None
        if name and station is not None:
            self._may_be(name, station, Place(key=f"{where}.inlet" if where else "inlet"))
        return event.model_copy(update={"inlet": name or None})

    def _may_be(self, name: str, station: Station, place: Place) -> None:
        if station in (Station.UNIT, Station.UTILITY):
            what = f"{station.words} has no name of an inlet in the house"
            raise InputError(what, place, "leave the name out")
        if station is Station.OTHER and self.here == name:
            what = f"the {name} inlet is the one the complaint is about"
            raise InputError(what, place, "read it at the station 'inlet', or name another")
        if station is not Station.OTHER and self.here and self.here != name:
            what = f"the complaint is about the {self.here} inlet, not the {name} inlet"
            raise InputError(what, place, "read any other at the station 'other'")

    def _beyond(self, name: str) -> Further:
        branch = self._branches.get(key_of(name), "")
        shared = [
            tap
            for tap, inlet in ((HERE, self.here), (OTHER, self.other))
            if branch and branch == self._branches.get(key_of(inlet))
        ]
        return Further(len(self._further) + 2, name, [*shared, branch or name][0])

    def _learn(self, name: str) -> str:
        known = self.known_as(name)
        return self._names.setdefault(key_of(known), known) if known else ""
