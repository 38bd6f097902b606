"""The card printed beside a decision tree: numbered looks, and what each shows.

Holds the model and its pages of columns. Where the looks come from is left to the caller.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import NamedTuple

from pydantic import Field

from stillflow.engine.base import Model, minutes
from stillflow.engine.charts import shapes
from stillflow.engine.charts.page import Room
from stillflow.engine.charts.scene import Mark, Role, Text, moved
from stillflow.engine.charts.shapes import GREY, NOTE_SIZE, TITLE_SIZE, WARNING
from stillflow.engine.charts.text import width, wrap

HEADING = "The card"

_COLUMN, _GAP = 221.0, 15.0
_LINE = NOTE_SIZE * 1.16
_STEP = 0.05


class CardFind(Model):
    """What a look may show: the answer, the fault, how one is sure of it, and its fix.

    Attributes:
        given: ids of the answers that show it.
        answer: them in words.
        fault: id; `title` and `confirm` are its words.
        minutes: of the fix, with opening what must be.
        refer: whom to leave it to, or nothing.
        caution: what to beware of.
    """

    given: tuple[str, ...]
    answer: str
    fault: str
    title: str
    confirm: str
    minutes: float = Field(ge=0)
    refer: str = ""
    caution: str = ""


class CardLook(Model):
    """One look: `number` from 1, `check` its id, `place` the heading it stands under."""

    number: int = Field(ge=1)
    check: str
    place: str
    title: str
    first: str = ""
    minutes: float = Field(ge=0)
    caution: str = ""
    finds: tuple[CardFind, ...]


class CardSign(Model):
    """What readings side by side say: a rule, in its words, and the looks it makes needless."""

    rule: str
    because: str
    leave_out: tuple[int, ...]


class Card(Model):
    """All of it.

    Attributes:
        steps: what to do where no look named in the tree shows anything, in order.
        readings: ids of the readings meant there, in order.
        signs: what those say.
        looks: by number.
        last: what is left where nothing is found, in sentences.
    """

    steps: tuple[str, ...]
    readings: tuple[str, ...]
    signs: tuple[CardSign, ...]
    looks: tuple[CardLook, ...]
    last: tuple[str, ...] = ()


def numbers_said(numbers: Sequence[int]) -> str:
    """Numbers in the order given, three and more in a row as a stretch: 4, 1 to 3."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    said = []
    for run in runs:
        said += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(one) for one in run]
    return ", ".join(said)


_LARGEST = 3.0
"""How many times as large as it is the card may be drawn, where a page has room."""


class _Row(NamedTuple):
    """One line of words as if its top were at 0; `stays` with the row after it."""

    high: float
    marks: tuple[Mark, ...]
    stays: bool = True


_Placed = tuple[float, float, _Row]
"""A row and where its top left corner is, across and down its page."""


def card_pages(card: Card, room: Room | None, wide: float, least: float) -> list[list[Mark]]:
    """The marks of each page, its top left corner at (0, 0).

    Args:
        card: what to draw.
        room: what a page has; None for one page as long as it needs.
        wide: how wide that one may be, in points.
        least: how much smaller it may be made to take fewer pages, 0 to 1.
    """
    rows = list(_rows(card))
    if room is None:
        columns = max(int((wide + _GAP) / (_COLUMN + _GAP)), 3)
        high = sum(row.high for row in rows) / columns
        while True:
            [*pages] = _flow(rows, columns, high)
            if len(pages) == 1:
                return [_drawn(page) for page in pages]
            high += _LINE
    # From the largest down, so that the pages are filled; of those that are as few the largest.
    scale, best, largest = _LARGEST, list[list[_Placed]](), _LARGEST
    while scale >= least - 1e-9:
        inner = Room(room.width / scale, room.height / scale)
        columns = max(int((inner.width + _GAP) / (_COLUMN + _GAP)), 1)
        if columns == 1 and scale > 1.0 + _STEP / 2:
            scale -= _STEP
            continue
        spread = (inner.width + _GAP) / columns
        [*pages] = _flow(rows, columns, inner.height, spread)
        if not best or len(pages) < len(best):
            best, largest = pages, scale
        if len(best) == 1:
            break
        scale -= _STEP
    return [_drawn(page, largest) for page in best]


def _drawn(page: Sequence[_Placed], scale: float = 1.0) -> list[Mark]:
    return [moved(mark, x * scale, y * scale, scale) for x, y, row in page for mark in row.marks]


def _flow(
    rows: Sequence[_Row], columns: int, high: float, spread: float = _COLUMN + _GAP
) -> Iterator[list[_Placed]]:
    """Fill columns, then pages; rows that stay together are not parted."""
    placed: list[_Placed] = []
    column, y = 0, 0.0
    block: list[_Row] = []
    for row in rows:
        block.append(row)
        if row.stays:
            continue
        tall = sum(one.high for one in block)
        if y and y + tall > high:
            column, y = column + 1, 0.0
            if column == columns:
                yield placed
                column, placed = 0, []
        for one in block:
            placed.append((column * spread, y, one))
            y += one.high
        block = []
    yield placed


def _rows(card: Card) -> Iterator[_Row]:
    yield from _heading("Where the tree names looks")
    for number, step in enumerate(card.steps, 1):
        yield from _words(step, hang=14, sign=f"{number}.", role="fixed")
        yield _Row(2, (), stays=False)
    yield from _heading("What readings side by side say")
    for sign in card.signs:
        left = f"{sign.because} Leave out {numbers_said(sign.leave_out)}."
        yield from _words(left, hang=14, sign="–", role="fixed")
        yield _Row(2, (), stays=False)
    place = ""
    elsewhere: dict[str, int] = {}
    for look in card.looks:
        for find in look.finds:
            elsewhere.setdefault(find.fault, look.number)
    for look in card.looks:
        if look.place != place:
            place = look.place
            yield from _heading(place)
        yield from _look(look, elsewhere)
    if card.last:
        yield from _heading("Nothing found")
        for words in card.last:
            yield from _words(words, hang=14, sign="–")
            yield _Row(2, (), stays=False)


def _look(look: CardLook, elsewhere: Mapping[str, int]) -> Iterator[_Row]:
    """A look; how one is sure of a fault stands at the look that `elsewhere` names for it."""
    ask = f"{look.title} ({minutes(look.minutes)})"
    yield from _words(ask, hang=18, sign=str(look.number), bold=True)
    if look.caution:
        yield from _warning(look.caution)
    if look.first:
        yield from _words(f"First: {look.first}.", hang=18, colour=GREY)
    for answer, finds in groupby(look.finds, lambda find: find.answer):
        lead = f"{answer}: " if answer else ""
        for find in finds:
            by = f"for {find.refer}" if find.refer else minutes(find.minutes)
            there = elsewhere[find.fault]
            sure = find.confirm if there == look.number else f"See {there}."
            yield from _words(f"{lead}{find.title} ({by}). {sure}", hang=18, role="name")
            more = ", ".join(one for one in find.caution.split(", ") if one not in look.caution)
            if more:
                yield from _warning(more)
            lead = "or "
    yield _Row(3, (), stays=False)


def _warning(words: str) -> Iterator[_Row]:
    for index, line in enumerate(wrap(words, _COLUMN - 34, NOTE_SIZE)):
        marks: list[Mark] = [Text(34, NOTE_SIZE, line, NOTE_SIZE, colour=WARNING)]
        if not index:
            marks += shapes.warning_sign(25, NOTE_SIZE * 0.55)
        yield _Row(_LINE, tuple(marks))


def _heading(words: str) -> Iterator[_Row]:
    yield _Row(5, ())
    for line in wrap(words, _COLUMN, TITLE_SIZE, bold=True):
        text = Text(0, TITLE_SIZE, line, TITLE_SIZE, bold=True, role="fixed")
        yield _Row(TITLE_SIZE * 1.16 + 2, (text,))


def _words(
    words: str,
    hang: float,
    sign: str = "",
    bold: bool = False,
    colour: str = shapes.INK,
    role: Role = "",
) -> Iterator[_Row]:
    for index, line in enumerate(wrap(words, _COLUMN - hang, NOTE_SIZE, bold)):
        marks: list[Mark] = [
            Text(hang, NOTE_SIZE, line, NOTE_SIZE, bold=bold, colour=colour, role=role)
        ]
        if sign and not index:
            lead = hang - 4 - width(sign, NOTE_SIZE, bold)
            marks.append(Text(max(lead, 0), NOTE_SIZE, sign, NOTE_SIZE, bold=bold, role="fixed"))
        yield _Row(_LINE, tuple(marks))
