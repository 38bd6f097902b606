"""Invented charts to draw, and what to ask of every drawing."""

from __future__ import annotations

import datetime
import random
from collections.abc import Callable
from dataclasses import replace
from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np
import pytest

from stillflow.engine.base import Floats
from stillflow.engine.charts.chart import Chart
from stillflow.engine.charts.decision import (
    DecisionTree,
    TreeBranch,
    TreeNode,
    decision_chart,
)
from stillflow.engine.charts.faults import faulttree_chart
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.reasoning import (
    PathDerived,
    PathFact,
    PathFault,
    PathLink,
    PathRule,
    ReasoningPath,
)
from stillflow.engine.charts.reasoningpicture import reasoning_chart
from stillflow.engine.charts.scene import Outline, Scene, Text
from stillflow.engine.charts.stationdrawing import station_chart
from stillflow.engine.charts.stations import AirPath, ChartStation, StationReading
from stillflow.engine.charts.text import width
from stillflow.engine.faulttree.importance import analyse
from stillflow.engine.faulttree.tree import FaultTree, Gate, PrimaryEvent

DAY = datetime.date(2025, 3, 4)

ChartMaker = Callable[[str], list[Chart]]


def _title(words: str) -> TitleBlock:
    return TitleBlock(
        title=words, subtitle=words, date=DAY, rules_version=words, filters=(words, "two")
    )


def _tree(words: str) -> DecisionTree:
    return DecisionTree(
        title=_title(words),
        root="listen",
        nodes=(
            TreeNode(
                id="listen",
                kind="check",
                title=words,
                detail=words,
                minutes=3,
                caution=words,
                branches=(
                    TreeBranch(answer=words, probability=0.4, to="gasket"),
                    TreeBranch(answer="no", probability=0.6, to="senior"),
                ),
            ),
            TreeNode(
                id="gasket",
                kind="fix",
                title=words,
                minutes=12,
                probability=0.8,
                expected_minutes=15,
            ),
            TreeNode(id="senior", kind="hand-over", title=words),
        ),
    )


def _stations(words: str) -> AirPath:
    return AirPath(
        title=_title(words),
        stations=(
            ChartStation(
                title=words,
                behind=words,
                sealed=StationReading(expected=130, found=127),
                working=StationReading(expected=86, found=84),
            ),
            ChartStation(title=words, behind=words, sealed=StationReading(expected=130)),
            ChartStation(
                title="Hose end",
                behind="hose",
                sealed=StationReading(expected=128, found=89),
                working=StationReading(expected=66, found=40),
            ),
        ),
    )


def _path(words: str) -> ReasoningPath:
    def link(tail: str, head: str, direction: str | None = None, strength: str | None = None):
        return PathLink.model_validate(
            {"tail": tail, "head": head, "direction": direction, "strength": strength}
        )

    return ReasoningPath(
        title=_title(words),
        facts=(
            PathFact(id="f1", title=words, found=words, asked=1, share=0.69, expected=words),
            PathFact(id="f2", title=words, found=words, asked=2),
            PathFact(id="f3", title=words, found=words, asked=3, helpful=False),
        ),
        rules=(
            PathRule(id="r1", because=words, source=words),
            PathRule(id="r2", because=words),
        ),
        derived=(PathDerived(id="d1", title=words),),
        faults=(
            PathFault(id="likely", title=words, probability=0.7),
            PathFault(id="less", title="Leak in the tubing", probability=0.25),
            PathFault(id="rare", title="Hose holed", probability=0.004),
            PathFault(id="out", title=words, probability=0.0, ruled_out_by=words),
        ),
        links=(
            link("f1", "r1"),
            link("r1", "d1"),
            link("d1", "r2"),
            link("f2", "r2"),
            link("r2", "likely", "for", "strong"),
            link("r2", "less", "for", "slight"),
            link("r1", "out", "against", "decisive"),
        ),
    )


def _faults(words: str) -> FaultTree:
    return FaultTree(
        top="top",
        gates=(
            Gate(id="top", title=words, kind="or", inputs=("a", "both", "b", "c")),
            Gate(id="both", title=words, kind="and", inputs=("a", "d")),
        ),
        events=(
            PrimaryEvent(id="a", title=words, probability=0.1),
            PrimaryEvent(id="b", title=words, probability=0.2, kind="undeveloped"),
            PrimaryEvent(id="c", title=words, probability=0.002),
            PrimaryEvent(id="d", title=words, probability=0.5),
        ),
    )


@pytest.fixture(scope="session")
def make_charts() -> ChartMaker:
    """One chart of each sort, with the given words in every label."""

    # Layouts are what takes time, and many tests look at the same.
    @lru_cache(maxsize=64)
    def make(words: str) -> list[Chart]:
        tree = _faults(words)
        charts = [
            reasoning_chart(_path(words)),
            decision_chart(_tree(words)),
            station_chart(_stations(words)),
            faulttree_chart(tree, _title(words), analyse(tree, "exact")),
        ]
        return [replace(chart, pages=cache(chart.pages)) for chart in charts]

    return make


@pytest.fixture(scope="session")
def path() -> ReasoningPath:
    return _path("Closed inlet hisses")


@pytest.fixture(scope="session")
def stations() -> AirPath:
    return _stations("Kitchen inlet")


_CHECKS = (
    "Sealed suction at the nearest inlet",
    "Does any closed inlet hiss?",
    "Take the tubing off: sealed suction at the unit",
    "Look at the filter",
    "Measure the supply voltage at the outlet while the unit runs",
)
_ANSWERS = (("as expected", "below 85% of expected", "can't tell"), ("yes", "no"))


@pytest.fixture(scope="session")
def grow_tree() -> Callable[[int], DecisionTree]:
    """An invented tree of about so many nodes, some of them shared; always the same."""

    def grow(count: int) -> DecisionTree:
        chance = random.Random(count)
        depth = {"n0": 0}
        nodes: list[TreeNode] = []
        waiting = ["n0"]
        for name in waiting:
            if len(depth) >= count or (len(nodes) > 3 and chance.random() < 0.2):
                kind = chance.choice(("fix", "fix", "hand-over"))
                nodes.append(TreeNode(id=name, kind=kind, title=f"End {name}", expected_minutes=20))
                continue
            branches = []
            answers = chance.choice(_ANSWERS)
            for answer in answers:
                deeper = [n for n in waiting if depth[n] > depth[name]]
                if deeper and chance.random() < 0.1:
                    to = chance.choice(deeper)
                else:
                    to = f"n{len(depth)}"
                    depth[to] = depth[name] + 1
                    waiting.append(to)
                branches.append(TreeBranch(answer=answer, probability=1 / len(answers), to=to))
            nodes.append(
                TreeNode(
                    id=name,
                    kind="check",
                    title=chance.choice(_CHECKS),
                    minutes=chance.randint(1, 9),
                    caution="unplug the unit first" if chance.random() < 0.2 else "",
                    branches=tuple(branches),
                )
            )
        return DecisionTree(title=_title("Poor suction"), root="n0", nodes=tuple(nodes))

    return grow


@pytest.fixture(scope="session")
def flaws() -> Callable[[Scene], list[str]]:
    """What is wrong with a page: words off it, over words or out of their box."""

    def find(scene: Scene) -> list[str]:
        words: list[tuple[Box, str]] = []
        boxes: list[Box] = []
        found = []
        for mark in (m for group in scene.groups for m in group.marks):
            if isinstance(mark, Outline) and mark.closed:
                boxes.append(extent(mark))
            if isinstance(mark, Text) and mark.text.strip():
                box = around(mark)
                words.append((box, mark.text))
                # What was drawn last about the middle of the words is what they stand in.
                middle = ((box.left + box.right) / 2, (box.top + box.bottom) / 2)
                holding = [one for one in boxes if one.holds(Box(*middle, *middle))]
                if holding and not holding[-1].holds(box, 0.5):
                    found.append(f"out of its box: {mark.text!r}")
        page = Box(0, 0, scene.width, scene.height)
        found += [f"off the sheet: {text!r}" for box, text in words if not page.holds(box, 0.5)]
        found += [
            f"{words[n][1]!r} over {words[m][1]!r}"
            for n, m in overlapping([box for box, _ in words])
        ]
        return found

    return find


@pytest.fixture(scope="session")
def overlaps() -> Callable[[Scene], list[str]]:
    """Which boxes of a tree or a reasoning path stand over one another."""

    def find(scene: Scene) -> list[str]:
        marks = [m for group in scene.groups for m in group.marks if isinstance(m, Outline)]
        boxes = [extent(m) for m in marks if m.closed]
        # Symbols, bars and the numbers on corners are smaller; a poster has them larger.
        large = max(scene.smallest_text() / 10.0, 1.0)
        boxes = [
            one
            for one in boxes
            if one.right - one.left > 60 * large and one.bottom - one.top > 12 * large
        ]
        pairs = [(boxes[n], boxes[m]) for n, m in overlapping(boxes)]
        return [
            f"a box over a box at {box}, {other}"
            for box, other in pairs
            # A double outline is one box in another.
            if not box.holds(other, 0.1) and not other.holds(box, 0.1)
        ]

    return find


@pytest.fixture(scope="session")
def crossings() -> Callable[[Scene], list[str]]:
    """Which lines of a tree or a reasoning path run through a box they do not belong to."""

    def find(scene: Scene) -> list[str]:
        marks = [m for group in scene.groups for m in group.marks if isinstance(m, Outline)]
        large = max(scene.smallest_text() / 10.0, 0.8)
        boxes = [extent(m) for m in marks if m.closed]
        boxes = [
            Box(one.left + 2, one.top + 2, one.right - 2, one.bottom - 2)
            for one in boxes
            if one.right - one.left > 60 * large and one.bottom - one.top > 20 * large
        ]
        found = []
        ends = np.array(boxes).reshape(-1, 4)
        for line in (m for m in marks if not m.closed and not small(extent(m))):
            points = along(line)
            inside = ((points >= ends[:, None, :2]) & (points <= ends[:, None, 2:])).all(axis=2)
            # What is wholly inside is part of the box: a crease, a sign, a place to write.
            for at in np.flatnonzero(inside.any(axis=1) & ~inside.all(axis=1)):
                found.append(f"a line from {points[0]} to {points[-1]} through {boxes[at]}")
        return found

    return find


def small(box: Box) -> bool:
    """Whether this is a crease or a sign, and no way from one box to another."""
    return box.right - box.left < 30 and box.bottom - box.top < 30


_T = np.arange(1, 41)[:, None] / 40
_SHARES = np.hstack([(1 - _T) ** 3, 3 * _T * (1 - _T) ** 2, 3 * _T * _T * (1 - _T), _T**3])


def along(line: Outline) -> Floats:
    """Points on a line, close together, shape (N, 2)."""
    parts, last = [np.array([line.start])], line.start
    for segment in line.segments:
        ways = [last, *segment] if len(segment) == 3 else [last, last, *segment * 2]
        parts.append(_SHARES @ np.array(ways))
        last = segment[-1]
    return np.concatenate(parts)


class Box(NamedTuple):
    """Left, top, right and bottom in points."""

    left: float
    top: float
    right: float
    bottom: float

    def holds(self, other: Box, slack: float = 0.0) -> bool:
        across = self.left - slack <= other.left and other.right <= self.right + slack
        return across and self.top - slack <= other.top and other.bottom <= self.bottom + slack


def overlapping(boxes: list[Box]) -> list[tuple[int, int]]:
    """Pairs of boxes, the later one first, that share more than a line's width."""
    if not boxes:
        return []
    ends = np.array(boxes)
    shared = np.minimum(ends[:, None, 2:], ends[None, :, 2:])
    shared -= np.maximum(ends[:, None, :2], ends[None, :, :2])
    rows, columns = np.nonzero(np.tril((shared > 0.8).all(axis=2), -1))
    return list(zip(rows.tolist(), columns.tolist(), strict=True))


def around(mark: Text) -> Box:
    wide = width(mark.text, mark.size, mark.bold)
    left = mark.x - {"start": 0, "middle": wide / 2, "end": wide}[mark.anchor]
    return Box(left, mark.y - 0.72 * mark.size, left + wide, mark.y + 0.2 * mark.size)


def extent(mark: Outline) -> Box:
    points = [mark.start, *(segment[-1] for segment in mark.segments)]
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return Box(min(xs), min(ys), max(xs), max(ys))
