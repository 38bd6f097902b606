"""Visits without whose house it was: names taken out of fields and out of free text."""

from __future__ import annotations

import re
from collections.abc import Iterable

from stillflow.casebook.tables import PEOPLE
from stillflow.engine.inference import GoodReading, NamedInlet, Visit, key_of


class Disguise:
    """Takes names out of text: whole, and each word of a name in letters.

    Args:
        secrets: names, addresses and phones.
    """

    def __init__(self, secrets: Iterable[str]) -> None:
        whole = {one.strip() for one in secrets if one.strip()}
        words = {word for one in whole for word in re.findall(r"[^\W\d_]{3,}|\d{4,}", one)}
        every = sorted({*whole, *words}, key=len, reverse=True)
        pattern = "|".join(rf"(?<!\w){re.escape(one)}(?!\w)" for one in every)
        self._found = re.compile(pattern, re.IGNORECASE) if pattern else None
        self._inlets: dict[str, str] = {}

    def hide(self, text: str) -> str:
        """The text with dots where a name stood."""
        return self._found.sub("...", text) if self._found else text

    def inlet(self, name: str) -> str:
        """The same of an inlet's name; two inlets stay two."""
        bare = self.hide(name)
        if bare == name:
            return name
        known, taken = self._inlets, set(self._inlets.values())
        if key_of(name) not in known:
            known[key_of(name)] = next(
                one
                for one in (bare, *(f"{bare} {number}" for number in range(2, len(known) + 3)))
                if one not in taken
            )
        return known[key_of(name)]

    def named(self, one: NamedInlet) -> NamedInlet:
        """The same of an inlet on a house's list, and of its branch."""
        return NamedInlet(name=self.inlet(one.name), branch=self.hide(one.branch))


def people_of(visit: Visit) -> tuple[str, ...]:
    """Names, address and phone as a visit says them."""
    return tuple(getattr(visit.site, name) for name in PEOPLE)


def anonymous(visit: Visit, disguise: Disguise | None = None) -> Visit:
    """The visit without names, address and phone, also where its free text repeats them.

    Args:
        visit: as kept.
        disguise: that knows further names of the house, such as those it was edited to.
    """
    off = disguise or Disguise(people_of(visit))
    site, conclusion = visit.site, visit.conclusion

    def read(some: Iterable[GoodReading]) -> tuple[GoodReading, ...]:
        return tuple(one.model_copy(update={"inlet": off.inlet(one.inlet)}) for one in some)

    blank: dict[str, object] = dict.fromkeys((*PEOPLE, "id"), "")
    blank |= {
        "inlet": off.inlet(site.inlet),
        "other_inlet": off.inlet(site.other_inlet),
        "inlets": tuple(off.named(one) for one in site.inlets),
    }
    events = tuple(
        one.model_copy(
            update={
                "inlet": one.inlet and off.inlet(one.inlet),
                "note": one.note and off.hide(one.note),
                "part": one.part and off.hide(one.part),
            }
        )
        for one in visit.events
    )
    return visit.model_copy(
        update={
            "site": site.model_copy(update=blank),
            "complaint": off.hide(visit.complaint),
            "events": events,
            "earlier": read(visit.earlier),
            "conclusion": conclusion
            and conclusion.model_copy(
                update={
                    "text": off.hide(conclusion.text),
                    "readings": read(conclusion.readings),
                }
            ),
        }
    )


def unsigned(visit: Visit) -> Visit:
    """The visit without what its technicians are called."""
    events = tuple(one.model_copy(update={"by": None}) for one in visit.events)
    return visit.model_copy(update={"technician": "", "events": events})
