"""The charts of the shipped rules, as people print them: nothing hidden or clipped, legible."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from functools import cache, partial

import pytest

from stillflow.engine import Session, load_rules
from stillflow.engine.airflow import airflow_chart
from stillflow.engine.charts.airflow import airflow_lines_chart
from stillflow.engine.charts.chart import Chart
from stillflow.engine.charts.decision import decision_chart
from stillflow.engine.charts.faults import faulttree_chart
from stillflow.engine.charts.page import PAPERS, POSTERS, paper_of
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.reasoningpicture import reasoning_chart
from stillflow.engine.charts.scene import Scene
from stillflow.engine.charts.stationdrawing import station_chart
from stillflow.engine.dialogue.trace import telling_round
from stillflow.engine.dialogue.unrolled import visit_tree
from stillflow.engine.faulttree.importance import analyse
from stillflow.engine.inference import found_system
from stillflow.engine.inference.visit import Unit, Visit
from stillflow.engine.views.decision import decision_tree
from stillflow.engine.views.faults import fault_tree, known_complaint
from stillflow.engine.views.reasoning import reasoning_path
from stillflow.engine.views.stations import air_path

TITLE = TitleBlock(title="Poor suction", date=datetime.date(2025, 3, 4), rules_version="abc")
RATED = Visit(complaint="It is weak.", unit=Unit(rated_sealed=130, rated_airflow=114, age_years=20))


@cache
def _tree() -> Chart:
    knowledge = load_rules()
    session = Session(knowledge, RATED)
    return decision_chart(decision_tree(visit_tree(session, reach=0.02), session, TITLE))


@cache
def _faults(complaint: str) -> Chart:
    knowledge = load_rules()
    known = known_complaint(knowledge, complaint) if complaint else None
    tree = fault_tree(knowledge, known)
    return faulttree_chart(tree, TITLE, analyse(tree))


def _visit() -> Session:
    session = Session(load_rules(), RATED)
    for check, answer in (
        ("danger-signs", "none"),
        ("where-weak", "everywhere"),
        ("how-began", "over-weeks"),
        ("bag-look", "can't tell"),
        ("sealed-inlet", 92.0),
        ("working-inlet", 53.0),
        ("sealed-unit", 93.0),
    ):
        session.record(check, answer)
    return session


def _reasoning() -> Chart:
    session = _visit()
    return reasoning_chart(reasoning_path(session, telling_round(session)))


def _why_not() -> Chart:
    session = _visit()
    path = reasoning_path(session, telling_round(session), ["brushes-worn"], "bag-full")
    return reasoning_chart(path, ["fault:brushes-worn", "fault:bag-full"])


def _stations() -> Chart:
    session = _visit()
    readings = session.progress.situation.readings
    return station_chart(air_path(readings, session.baseline, 0.02, TITLE))


def _airflow() -> Chart:
    session = _visit()
    sizes = session.sizes(session.progress)
    assert sizes is not None
    system = session.baseline.system
    found = found_system(session.knowledge, system, sizes)
    curves = airflow_chart(system, found, sizes.readings, sizes.expected)
    return airflow_lines_chart(curves, TITLE, "Suction and airflow of a house that was read.")


CHARTS: dict[str, Callable[[], Chart]] = {
    "decision tree": _tree,
    "fault tree": lambda: _faults(""),
    **{f"fault tree: {name}": partial(_faults, name) for name in load_rules().complaints},
    "reasoning": _reasoning,
    "why not": _why_not,
    "stations": _stations,
    "airflow": _airflow,
}


@pytest.mark.parametrize("name", list(CHARTS))
def test_nothing_hides_anything_leaves_its_box_or_falls_off_the_sheet(
    name: str, flaws: Callable[[Scene], list[str]], overlaps: Callable[[Scene], list[str]]
) -> None:
    chart = CHARTS[name]()
    upright = [paper_of("a4", portrait=True), paper_of("tabloid", portrait=True, text_size=12)]
    # Of the posters one stands for all: they differ in nothing but size.
    lying = [paper for paper in PAPERS if paper not in POSTERS] + [POSTERS[0]]
    # A complaint's fault tree is part of the whole one: the smallest sheet cuts it most.
    sheets = (None, "a4") if name.startswith("fault tree: ") else (None, *lying, *upright)
    for paper in sheets:
        for scene in chart.pages(paper):
            assert flaws(scene) == [], paper
            if name not in ("stations", "airflow"):
                assert overlaps(scene) == [], paper


@pytest.mark.parametrize("name", ["decision tree", "fault tree"])
@pytest.mark.parametrize("paper", ["a4", "a3", "letter", "tabloid"])
def test_trees_are_legible_at_arms_length(name: str, paper: str) -> None:
    for scene in CHARTS[name]().pages(paper):  # type: ignore[arg-type]
        assert scene.smallest_text() >= 10.0
