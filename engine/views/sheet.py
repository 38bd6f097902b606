"""A visit as the page that the customer gets; only what was measured and recorded is said."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from stillflow.engine.base import counted, small_first
from stillflow.engine.charts import CustomerSheet, SheetPart, SheetReading
from stillflow.engine.dialogue import Measured, Session, Summary, summarise, unit_words
from stillflow.engine.inference import inches

_LONGEST_MINUTES = 12 * 60


@dataclass(frozen=True)
class Shop:
    """What the shop adds to every page.

    Attributes:
        heading: its lines.
        currency: after prices.
        again_months: when to measure next.
    """

    heading: tuple[str, ...] = ()
    currency: str = ""
    again_months: int = 12


def customer_sheet(
    session: Session,
    shop: Shop,
    minutes: float | None = None,
    watch: Sequence[str] = (),
    closed: bool = True,
) -> CustomerSheet:
    """The page of a visit as it stands.

    Args:
        session: the visit.
        shop: heading and such.
        minutes: on site, where the times of the answers do not say.
        watch: sentences on what has been seen over the years.
        closed: False for a visit that is open on record.
    """
    visit, summary = session.visit, summarise(session, closed)
    day = summary.day
    readings = tuple(_readings(summary))
    facts = {
        "House": ", ".join(
            dict.fromkeys(filter(None, (visit.site.name, visit.site.address, visit.site.customer)))
        ),
        "Date": day.isoformat() if day else "",
        "Unit": unit_words(visit.unit),
        f"Technician{'s' if len(visit.technicians) > 1 else ''}": ", ".join(visit.technicians),
        "Complaint": f'"{visit.complaint}"' if visit.complaint else "",
    }
    gauge = f" with the gauge {visit.gauge.name}" if visit.gauge.name else ""
    with_ = (
        f"Working readings through an orifice of {inches(visit.gauge.orifice_in)}{gauge}. "
        f"Expected from {session.baseline.note}."
    )
    if watch:
        with_ += " Over the years it has fallen; see To watch."
    left = [f"{one}: left undone." for one in summary.left]
    lines = list(_price_lines(session, shop.currency))
    spent = minutes if minutes is not None else _minutes(session)
    if spent is not None:
        lines.append(f"On site: {counted(round(spent), 'minute')}.")
    sections = {
        "Danger": summary.dangers,
        # What is supposed is for the technician; once something is mended it is what was found.
        "What the readings say": summary.sizes[:1] if not summary.done else (),
        "Found and done": (
            *(f"{one.fault}: {small_first(one.done)}." for one in summary.done),
            *(f"{one}: not there." for one in summary.absent),
            *left,
        ),
        "How it ended": (summary.ending,) if summary.ending else (),
        "Parts and time": tuple(lines),
        "Cautions": summary.cautions,
        "To watch": (*left, *watch),
        "Measure next": _again(day, shop.again_months // (2 if watch else 1)) if readings else (),
    }
    return CustomerSheet(
        heading=shop.heading,
        facts=tuple((label, words) for label, words in facts.items() if words),
        readings=readings,
        measured_with=with_ if readings else "",
        parts=tuple(SheetPart(heading=h, lines=tuple(ls)) for h, ls in sections.items() if ls),
        short=_short(session, summary, readings, gauge, closed),
    )


def _readings(summary: Summary) -> Iterator[SheetReading]:
    """Each place once: the first reading with a fix still to come, the last after a fix.

    One that was taken between two fixes and not again is one from before: more was mended then.
    """
    taken: dict[str, list[tuple[bool, Measured]]] = {}
    rounds = (summary.before, *summary.between, *([summary.after] if summary.done else []))
    for number, read in enumerate(rounds, 1):
        for one in read:
            taken.setdefault(one.label, []).append((number == len(rounds) > 1, one))
    for label, found in taken.items():
        (ends, first), (_, last) = found[0], found[-1]
        yield SheetReading(
            label=label,
            before=None if ends else first.found,
            after=last.found if ends or len(found) > 1 else None,
            expected=last.expected,
        )


def _price_lines(session: Session, currency: str) -> Iterator[str]:
    total, priced = 0.0, False
    for event in session.visit.noted:
        if event.part is None:
            continue
        count = event.count or 1.0
        if event.price is None:
            yield f"{count:g} x {event.part}"
            continue
        priced = True
        total += count * event.price
        amount = f"{count * event.price:.2f} {currency}".strip()
        yield f"{count:g} x {event.part} at {event.price:.2f}: {amount}"
    if priced:
        yield f"Together: {total:.2f} {currency}".strip()


def _minutes(session: Session) -> float | None:
    """From the beginning to the last answer, unless that is no one stay."""
    times = [one.at for one in session.events if one.at and not one.beside]
    opened = session.visit.opened
    if opened is None or not times:
        return None
    spent = (max(times) - opened).total_seconds() / 60.0
    return spent if 1.0 <= spent <= _LONGEST_MINUTES else None


def _again(day: date | None, months: int) -> tuple[str, ...]:
    if day is None:
        return ()
    month = day.month - 1 + months
    return (f"{day.year + month // 12}-{month % 12 + 1:02}, at the same places.",)


def _short(
    session: Session,
    summary: Summary,
    readings: Sequence[SheetReading],
    gauge: str,
    closed: bool,
) -> str:
    def one_of(one: SheetReading) -> str:
        if one.after is None:
            values = f"{one.before:.0f}"
        elif one.before is None:
            values = f"{one.after:.0f} after"
        else:
            values = f"{one.before:.0f} before, {one.after:.0f} after"
        return f"{one.label} {values} ({one.expected:.0f} expected)"

    when = f"{summary.day}: " if summary.day else ""
    when += "".join(f"{one.done}; " for one in summary.done)
    ended = session.visit.conclusion
    if closed and ended is not None and ended.step == "stop":
        when += f"stopped, {small_first(ended.text)} "
    if not readings:
        return f"{when}{'N' if when.endswith('. ') else 'n'}o suction was read."
    hole = inches(session.visit.gauge.orifice_in)
    return f"{when}{'; '.join(map(one_of, readings))}; inH2O, orifice {hole}{gauge}."
