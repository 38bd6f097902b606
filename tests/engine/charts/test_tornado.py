"""The tornado chart: every number a row, the widest first, with what it turns on either side."""

from __future__ import annotations

import json

import pytest

from stillflow.engine.charts.chart import render
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.scene import Scene, Text
from stillflow.engine.charts.tornado import Tornado, TornadoBar, tornado_chart


def tornado(count: int) -> Tornado:
    bars = tuple(
        TornadoBar(title=f"Number {n} of an entry, 1 to 2", least=n % 4, most=n)
        for n in range(count)
    )
    return Tornado(title=TitleBlock(title="Turns"), counted="conclusions", bars=bars)


def texts(scene: Scene) -> list[Text]:
    return [m for g in scene.groups for m in g.marks if isinstance(m, Text)]


@pytest.mark.parametrize("count", [0, 1, 15, 60])
@pytest.mark.parametrize("paper", [None, "a4", "letter"])
def test_every_number_is_named_once_and_can_be_read(count: int, paper: str | None) -> None:
    pages = tornado_chart(tornado(count)).pages(paper)  # type: ignore[arg-type]
    assert pages
    named = [m for page in pages for m in texts(page) if "Number" in m.text]
    assert len(named) == count
    for page in pages:
        assert page.smallest_text() >= 8.0 - 0.01
        for mark in texts(page):
            assert 0 <= mark.y <= page.height
            assert 0 <= mark.x <= page.width


def test_the_widest_comes_first_and_both_sides_are_told() -> None:
    content = json.loads(render(tornado_chart(tornado(9)), "json")[0].data)
    widths = [bar["least"] + bar["most"] for bar in content["bars"]]
    assert widths == sorted(widths, reverse=True)
    (file,) = render(tornado_chart(tornado(3)), "svg", None)
    assert "Number 2 of an entry, 1 to 2: 2 at its least, 2 at its most" in file.data.decode()
