"""Every judged number of a rule set with the range it may be in.

The range is the entry's own `range:`, or what `ranges.yaml` says of numbers of its kind.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from stillflow.engine.airflow import SpeedEffect
from stillflow.engine.base import Strength
from stillflow.engine.ruleset.entries import Check, Evidence, Fault, Judged, Kind, number_of
from stillflow.engine.ruleset.knowledge import Knowledge


@dataclass(frozen=True)
class JudgedNumber:
    """One judged number.

    Attributes:
        kind: of number, as in `ranges.yaml`.
        section, entry: whose.
        key: which of the entry's, such as `minutes`, `fix minutes` or `usual open`.
        value: as it stands; words stand for their factors.
        low, high: the least and the most it may be.
        own: whether the entry says so itself.
    """

    kind: Kind
    section: str
    entry: str
    key: str
    value: float
    low: float
    high: float
    own: bool = False

    @property
    def name(self) -> str:
        """Entry and key, as a person finds them."""
        return f"{self.entry}: {self.key}"


def judged(knowledge: Knowledge) -> tuple[JudgedNumber, ...]:
    """All judged numbers, section by section in order of ids."""
    return tuple(
        number
        for section in ("stands", "accesses", "faults", "checks", "rules")
        for entry_id in getattr(knowledge, section)
        for number in numbers_of(knowledge, section, entry_id)
    )


def numbers_of(knowledge: Knowledge, section: str, entry_id: str) -> Iterator[JudgedNumber]:
    """The judged numbers of one entry."""
    entry = getattr(knowledge, section)[entry_id]
    for at, part in _parts(entry):
        for key, kind in part.JUDGED.items():
            said = getattr(part, key)
            value = number_of(said)
            if key == "how_common":
                value = entry.weight
            elif isinstance(part, Evidence):
                value = part.factor
            if value > 0.0 and said is not Strength.COMPUTED:
                own = part.range.get(key)
                times = _times(knowledge, kind)
                low, high = own or (value / times, value * times)
                inner = at in ("fix", "put_back")
                name = (f"{at} {key}" if inner else f"{key} {at}").strip().replace("_", " ")
                least, most = _within(kind, low, high)
                yield JudgedNumber(
                    kind, section, entry_id, name, value, least, most, own is not None
                )
    if isinstance(entry, Fault):
        times = _times(knowledge, "size")
        for key, span in entry.effect.sizes().items():
            for end, value in zip(("least", "greatest"), span, strict=True):
                name = f"{end} {key.replace('_', ' ')}"
                # Of a speed it is the loss that is judged.
                whole = 1.0 if isinstance(entry.effect, SpeedEffect) else 0.0
                ends = (whole + (value - whole) * by for by in (times, 1.0 / times))
                low, high = sorted(ends)
                if value != 0.0:
                    yield JudgedNumber("size", section, entry_id, name, value, low, high)


def _parts(entry: Judged) -> Iterator[tuple[str, Judged]]:
    """Whatever of an entry has judged numbers, with what it is called within."""
    yield "", entry if isinstance(entry, Judged) else Judged()
    for key in ("fix", "put_back"):
        part = getattr(entry, key, None)
        if part is not None:
            yield key, part
    if isinstance(entry, Check):
        yield from ((answer.id, answer) for answer in entry.answers)
    then = [item for item in getattr(entry, "then", ()) if isinstance(item, Evidence)]
    for item in then:
        sense = "for" if item.sign > 0 else "against"
        first, *more = item.selector
        yield f"{sense} {first}{f' and {len(more)} more' if more else ''}", item


def _times(knowledge: Knowledge, kind: Kind) -> float:
    found = knowledge.ranges.get(kind)
    return 1.0 if found is None else found.times


def _within(kind: Kind, low: float, high: float) -> tuple[float, float]:
    """Shares stay shares, and evidence does not turn round."""
    least = {"strength": 1.0}.get(kind, 0.0)
    most = {"usual": 1.0, "mistaken": 0.49}.get(kind, high)
    return max(low, least), min(high, most)
