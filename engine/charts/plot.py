"""A plain graph's frame: axes with even ticks and names, and where a value falls on it.

What is drawn into it is left to the charts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from stillflow.engine.charts.plotmarks import round_up
from stillflow.engine.charts.scene import Mark, Point, Text, polyline
from stillflow.engine.charts.shapes import GREY, INK, NOTE_SIZE, TEXT_SIZE

LEFT, BOTTOM, RIGHT = 52.0, 40.0, 16.0
_TICKS = 4


@dataclass(frozen=True)
class Frame:
    """A graph of `width` by `height` points, from zero to `most_x` and `most_y`.

    Attributes:
        x_name: what is drawn along, with its unit.
        y_name: what is drawn upwards, with its unit.
        x_words: how a tick along is written; None for none.
        y_words: how a tick upwards is written.
        ticks: along, where they are not even.
        y_ticks: upwards, where they are not even.
        grid: whether lines go up from the ticks along.
        top: room above, in points, with the name of what is drawn upwards.
    """

    width: float
    height: float
    most_x: float
    most_y: float
    x_name: str
    y_name: str
    x_words: Callable[[float], str] | None = "{:g}".format
    y_words: Callable[[float], str] = "{:g}".format
    ticks: Sequence[float] = ()
    y_ticks: Sequence[float] = ()
    grid: bool = False
    top: float = 22.0

    def at(self, x: float, y: float) -> Point:
        """Where a value falls, in points from the graph's top left corner."""
        wide, high = self.width - LEFT - RIGHT, self.height - self.top - BOTTOM
        return LEFT + wide * x / self.most_x, self.top + high * (1 - y / self.most_y)

    def marks(self) -> list[Mark]:
        """Axes, ticks and names."""
        marks: list[Mark] = []
        right = self.at(self.most_x, 0)[0]
        for value in self.y_ticks or even_ticks(self.most_y):
            y = self.at(0, value)[1]
            if value:
                marks.append(polyline([(LEFT, y), (right, y)], stroke="#cccccc", width=0.5))
            words = self.y_words(value)
            marks.append(Text(LEFT - 6, y + 3.5, words, NOTE_SIZE, "end", False, GREY, "fixed"))
        corner = self.at(0, 0)
        for value in self.ticks or even_ticks(self.most_x):
            if self.x_words is not None:
                x, y = self.at(value, 0)
                if self.grid and value:
                    marks.append(polyline([(x, self.top), (x, y)], stroke="#cccccc", width=0.5))
                words = self.x_words(value)
                tick = Text(x, y + 14, words, NOTE_SIZE, "middle", False, GREY, "fixed")
                marks.append(tick)
        marks.append(polyline([(LEFT, self.top), corner, (right, corner[1])], stroke=INK))
        foot = corner[1] + 31
        middle = (LEFT + right) / 2
        marks.append(Text(middle, foot, self.x_name, TEXT_SIZE, "middle", role="fixed"))
        marks.append(Text(0, 0.5 * self.top + 1, self.y_name, TEXT_SIZE, role="fixed"))
        return marks


def even_ticks(most: float) -> Iterable[float]:
    """Zero to the most in even steps."""
    return (most * step / _TICKS for step in range(_TICKS + 1))


def most_of(values: Iterable[float]) -> float:
    """The end of an axis that holds all these values and has tidy quarters."""
    return 2 * round_up(max(values, default=1.0) / 2)
