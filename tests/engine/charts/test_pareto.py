"""The Pareto chart: every cause a bar, the sum a line that ends at the whole."""

from __future__ import annotations

import json

import pytest

from stillflow.engine.charts.chart import render
from stillflow.engine.charts.page import paper_of
from stillflow.engine.charts.pareto import Pareto, ParetoBar, pareto_chart
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.scene import Scene, Text


def pareto(count: int) -> Pareto:
    weights = [1.0 / n for n in range(1, count + 1)]
    bars = tuple(
        ParetoBar(id=f"c{n}", title=f"Cause {n} with a name of some length", share=w / sum(weights))
        for n, w in enumerate(weights)
    )
    return Pareto(title=TitleBlock(title="Causes"), bars=bars)


def texts(scene: Scene) -> list[Text]:
    return [m for g in scene.groups for m in g.marks if isinstance(m, Text)]


@pytest.mark.parametrize("count", [2, 15, 70])
@pytest.mark.parametrize("paper", [None, "a4", "letter", "a1"])
def test_every_cause_is_named_once_and_can_be_read(count: int, paper: str | None) -> None:
    pages = pareto_chart(pareto(count)).pages(paper)  # type: ignore[arg-type]
    named = [m for page in pages for m in texts(page) if m.role == "name" and "Cause" in m.text]
    assert len(named) == count
    for page in pages:
        assert page.smallest_text() >= (14.0 if paper == "a1" else 8.0) - 0.01
        for mark in texts(page):
            assert 0 <= mark.y <= page.height


def test_the_sums_go_up_to_the_whole() -> None:
    content = json.loads(render(pareto_chart(pareto(9)), "json")[0].data)
    sums = [bar["sum"] for bar in content["bars"]]
    assert sums == sorted(sums)
    assert sums[-1] == pytest.approx(1.0)
    assert sums[0] == content["bars"][0]["share"]


def test_names_can_be_left_blank() -> None:
    (file,) = render(pareto_chart(pareto(4)), "svg", "a4", blank="names")
    assert "Cause 1" not in file.data.decode()
    assert paper_of("a4").size == (841.89, 595.28)
