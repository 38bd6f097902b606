"""A house over the years: what its visits left behind, beside what was expected, and the trend."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from itertools import groupby
from math import hypot, sqrt

from stillflow.engine.base import AirState, Model, Station, counted
from stillflow.engine.charts import History, HistoryPoint, HistorySeries, TitleBlock
from stillflow.engine.inference import (
    FEWEST,
    HOUSE_TOLERANCE,
    Drift,
    GoodReading,
    Visit,
    baseline_for,
    drift,
    key_of,
    unlike,
)
from stillflow.engine.ruleset import Knowledge

_YEAR_DAYS = 365.25


class HistoryRow(Model):
    """One reading of the past, in inH2O, and the share of what was expected then."""

    at: datetime
    suction: float
    expected: float
    fix: str

    @property
    def share(self) -> float:
        """Found over expected."""
        return self.suction / self.expected if self.expected else 0.0


class SpotHistory(Model):
    """The readings of one spot over the years.

    Attributes:
        place: station, and inlet by name, in words.
        state: sealed or working.
        rows: oldest first.
        apart: readings that make no line with these, each in a sentence that says why.
        drift: the trend; None with fewer than three visits.
        warning: a sentence where it falls; else empty.
        watch: the same for where the years are not shown, with how far it has fallen.
    """

    place: str
    state: AirState
    rows: tuple[HistoryRow, ...]
    apart: tuple[str, ...]
    drift: Drift | None
    warning: str
    watch: str


def site_history(
    visits: Iterable[Visit], knowledge: Knowledge, until: datetime | None = None
) -> tuple[SpotHistory, ...]:
    """What closed visits to one house left behind, by spot, the most read first.

    Readings are held against the unit's rating or class at the time, in the air of the house: an
    altitude that was given later counts for the visits before. Only those of the unit that is there
    now and that can be held against the last make one line.

    Args:
        visits: to one house, oldest first.
        knowledge: the rules.
        until: when the last was begun that counts, such as the one a page is of.
    """
    _, told = _by_unit(
        one for one in visits if until is None or one.opened is None or one.opened <= until
    )
    heights = [one.site.altitude_ft for one in told if one.site.altitude_ft]
    altitude_ft = heights[-1] if heights else 0.0
    rows = [pair for visit in told for pair in _rows(visit, knowledge, altitude_ft)]

    def spot(pair: tuple[GoodReading, HistoryRow]) -> tuple[str, str, str]:
        # An inlet is the same whichever of them a call was about; a hose in it is another place.
        one = pair[0]
        apart = not one.inlet or one.station is Station.HOSE
        return one.station.value if apart else "", key_of(one.inlet), one.state.value

    weak = weak_share(knowledge)
    found = []
    for _, group in groupby(sorted(rows, key=lambda pair: (spot(pair), pair[1].at)), spot):
        pairs = list(group)
        last = pairs[-1][0]
        why = [unlike(one, last.altitude_ft or altitude_ft, last.orifice_in) for one, _ in pairs]
        same = [pair for pair, reason in zip(pairs, why, strict=True) if not reason]
        apart = tuple(
            f"{row.at:%Y-%m-%d} not comparable: {row.suction:.0f}, {reason}"
            for (_, row), reason in zip(pairs, why, strict=True)
            if reason
        )
        found.append(_spot(same, apart, weak))
    found.sort(key=lambda one: (-len(one.rows), one.place, one.state.value))
    return tuple(found)


def replaced_words(visits: Iterable[Visit]) -> str:
    """That a new unit took the place of another, whose years are left out; empty if none did.

    Args:
        visits: to one house, oldest first.
    """
    before, now = _by_unit(visits)
    if not before:
        return ""
    ends = [f"{one.opened:%Y}" for one in (before[0], before[-1]) if one.opened]
    years = " to ".join(dict.fromkeys(ends))
    fitted = now[-1].unit.fitted
    new = f"A new unit was fitted on {fitted}" if fitted else "The unit is another one now"
    left_out = f"{counted(len(before), 'visit')} before that ({years})"
    return f"{new}, and its trend starts anew. Left out: {left_out}."


def _by_unit(visits: Iterable[Visit]) -> tuple[list[Visit], list[Visit]]:
    """Visits that left readings behind: to units that were here before, and to that of the last."""
    told = [one for one in visits if one.conclusion is not None and one.conclusion.readings]
    before, now = list[Visit](), list[Visit]()
    for one in told:
        (now if one.unit.fitted == told[-1].unit.fitted else before).append(one)
    return before, now


def history_chart_model(spots: Iterable[SpotHistory], weak: float, title: TitleBlock) -> History:
    """The series of a house as `charts` draws them."""
    series = [
        HistorySeries(
            name=f"{one.state.value} at {one.place}",
            state=one.state.value,
            points=tuple(
                HistoryPoint(
                    year=_year(row.at), suction=row.suction, expected=row.expected, fix=row.fix
                )
                for row in one.rows
            ),
            drift=drift_words(one) + (f"; {len(one.apart)} not comparable" if one.apart else ""),
            warning=one.warning,
        )
        for one in spots
    ]
    return History(title=title, series=tuple(series), weak=weak)


def drift_words(one: SpotHistory) -> str:
    """The slope with its interval, in percent of expected a year; or why there is none."""
    trend, visits = one.drift, len(one.rows)
    if trend is None and visits < FEWEST:
        return f"no trend yet: {counted(visits, 'visit')} of the {FEWEST} that make one"
    if trend is None:
        return "no trend yet: all on one day"
    low, high = 100 * trend.low, 100 * trend.high
    return f"{100 * trend.per_year:+.1f} % a year ({low:+.1f} to {high:+.1f})"


def weak_share(knowledge: Knowledge) -> float:
    """The share of expected below which suction is weak: where the level `low` ends."""
    return next(level.below for level in knowledge.levels if level.id == "low" and level.below)


def _rows(
    visit: Visit, knowledge: Knowledge, altitude_ft: float
) -> Iterator[tuple[GoodReading, HistoryRow]]:
    height = {"altitude_ft": visit.site.altitude_ft or altitude_ft}
    site = visit.site.model_copy(update=height)
    plain = visit.model_copy(update={"earlier": (), "last_good": {}, "site": site})
    baseline = baseline_for(plain, knowledge)
    assert visit.conclusion is not None
    for one in visit.conclusion.readings:
        at = one.at or visit.opened
        if at is None:
            continue
        fault = knowledge.faults.get(one.after)
        expected = baseline.at(one.state, one.station)
        fix = fault.title if fault is not None else ""
        yield one, HistoryRow(at=at, suction=one.suction, expected=expected, fix=fix)


def _spot(
    pairs: Sequence[tuple[GoodReading, HistoryRow]], apart: tuple[str, ...], weak: float
) -> SpotHistory:
    taken, rows = [one for one, _ in pairs], tuple(row for _, row in pairs)
    last = taken[-1]
    place = f"the {last.inlet} inlet" if last.inlet else last.station.words
    if last.inlet and last.station is Station.HOSE:
        place = f"the hose end on {place}"
    scatter = hypot(max(one.tolerance for one in taken) / sqrt(3.0), HOUSE_TOLERANCE)
    trend = drift([_year(one.at) for one in rows], [one.share for one in rows], scatter, weak)
    return SpotHistory(
        place=place,
        state=last.state,
        rows=rows,
        apart=apart,
        drift=trend,
        warning=_warning(last.state, place, trend, _weak_since(rows, weak)),
        watch=_warning(last.state, place, trend, _weak_since(rows, weak), _lost(rows)),
    )


def _lost(rows: tuple[HistoryRow, ...]) -> str:
    """How far the last reading is below the best one; each visit is judged by the one before."""
    best, now = max(rows, key=lambda row: row.suction), rows[-1]
    lost = round(best.suction) - round(now.suction)
    if lost <= 0:
        return ""
    return f"read {now.suction:.0f} inH2O in {now.at:%Y}, {lost} below {best.at:%Y}, and "


def _weak_since(rows: tuple[HistoryRow, ...], weak: float) -> str:
    """The day of the first of the last visits that all read weak; empty where the last did not."""
    since = ""
    for row in reversed(rows):
        if row.share >= weak:
            break
        since = f"{row.at:%Y-%m-%d}"
    return since


def _warning(
    state: AirState, place: str, trend: Drift | None, weak_since: str, lost: str = ""
) -> str:
    if trend is None or not trend.declining or trend.weak_by is None:
        return ""
    yearly = f"{-100 * trend.per_year:.0f} % of expected a year"
    what = f"{state.value.capitalize()} suction at {place} {lost}falls by {yearly}"
    if weak_since:
        return f"{what} and is weak since {weak_since}."
    if trend.weak_by <= 1.0:
        return f"{what} and will be weak before the next yearly visit."
    return f"{what}; at that pace it is weak in about {trend.weak_by:.0f} years."


def _year(at: datetime) -> float:
    return at.year + (at.timetuple().tm_yday - 1) / _YEAR_DAYS
