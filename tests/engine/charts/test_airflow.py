"""The airflow chart: healthy and found lines told apart without colour, values that can be read."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stillflow.engine.airflow.curves import AirflowChart, airflow_chart
from stillflow.engine.airflow.fan import fan_from_rating
from stillflow.engine.airflow.gauge import readings
from stillflow.engine.airflow.points import Reading
from stillflow.engine.airflow.system import Holes, System
from stillflow.engine.base.errors import InputError
from stillflow.engine.charts.airflowdrawing import airflow_lines_chart
from stillflow.engine.charts.chart import Chart, render
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.scene import Outline, Scene, Text

HOUSE = System(fan=fan_from_rating(130, 114))
STATIONS = ("unit", "utility", "inlet", "other", "hose")


def data_of(**values: float) -> AirflowChart:
    """Lines for readings named such as `sealed_inlet`."""
    taken = []
    for name, value in values.items():
        condition, _, station = name.partition("_")
        taken.append(Reading(station=station, condition=condition, inh2o=value))
    expected = [readings(HOUSE, one.station, one.condition) for one in taken]
    # A hole in the trunk that grows with the greatest shortfall stands for what explains them.
    short = max(1.0 - one.inh2o / value for one, value in zip(taken, expected, strict=True))
    found = HOUSE.model_copy(update={"holes": Holes(trunk=max(short, 0.0))})
    return airflow_chart(HOUSE, found, taken, expected)


def chart_of(**values: float) -> Chart:
    return airflow_lines_chart(data_of(**values), TitleBlock(title="Airflow"), "Like a hole.")


def texts(scene: Scene) -> list[str]:
    return [m.text for group in scene.groups for m in group.marks if isinstance(m, Text)]


def curves(scene: Scene, words: str) -> list[Outline]:
    """The lines of those things whose description begins with some words."""
    return [
        mark
        for group in scene.groups
        if group.title.startswith(words)
        for mark in group.marks
        if isinstance(mark, Outline)
    ]


def test_healthy_is_dashed_found_is_solid_and_the_orifice_is_dotted() -> None:
    (scene,) = chart_of(sealed_inlet=91, working_inlet=53).pages(None)
    [good] = curves(scene, "Suction left at the inlet, in good order")
    [found] = curves(scene, "Suction left at the inlet, as found")
    [orifice] = curves(scene, "What the orifice lets in")
    assert (good.dash, found.dash, orifice.dash) == ("dashed", "solid", "dotted")
    assert found.width > good.width


def test_a_line_that_is_as_it_should_be_is_drawn_once() -> None:
    (scene,) = chart_of(sealed_unit=130, working_unit=78, sealed_inlet=91).pages(None)
    assert curves(scene, "The fan, in good order")
    assert not curves(scene, "The fan, as found")
    assert curves(scene, "Suction left at the inlet, as found")


def test_every_reading_is_a_mark_with_its_value_and_what_was_expected() -> None:
    (scene,) = chart_of(sealed_inlet=91, working_inlet=53).pages(None)
    said = texts(scene)
    assert "inlet 91" in said
    assert "inlet 53" in said
    assert "inlet 130 expected" in said
    found = [group.title for group in scene.groups if group.title.startswith("Found")]
    assert found == ["Found 91 inH2O, sealed at the inlet", "Found 53 inH2O, working at the inlet"]


def test_the_same_value_at_several_places_has_one_label() -> None:
    (scene,) = chart_of(sealed_unit=83, sealed_inlet=83, sealed_other=83).pages(None)
    assert "unit, inlet, other inlet 83" in texts(scene)


def test_found_marks_lie_over_expected_ones() -> None:
    (scene,) = chart_of(sealed_unit=130, sealed_inlet=91).pages(None)
    titles = [group.title.split()[0] for group in scene.groups if group.title]
    marks = [word for word in titles if word in ("Expected", "Found")]
    assert marks == sorted(marks)


@settings(deadline=None, max_examples=60)
@given(
    st.dictionaries(
        st.sampled_from([f"{c}_{s}" for c in ("sealed", "working") for s in STATIONS]),
        st.floats(4, 150),
        min_size=1,
        max_size=7,
    ),
    st.sampled_from([None, "a4", "tabloid"]),
)
def test_no_value_hides_another_whatever_was_read(
    flaws: Callable[[Scene], list[str]], values: dict[str, float], paper: str | None
) -> None:
    (scene,) = chart_of(**values).pages(paper)  # type: ignore[arg-type]
    assert flaws(scene) == []


def test_values_of_marks_close_together_stand_in_their_order() -> None:
    chart = chart_of(sealed_utility=73, sealed_inlet=71, sealed_other=72)
    [scene] = chart.pages(None)
    rows = {
        mark.text: mark.y
        for group in scene.groups
        for mark in group.marks
        if isinstance(mark, Text) and mark.bold
    }
    assert rows["utility inlet 73"] < rows["other inlet 72"] < rows["inlet 71"]


def test_it_says_what_it_shows_to_those_who_cannot_see_it() -> None:
    alt = chart_of(sealed_inlet=91).picture.alt
    assert "healthy" in alt
    assert "1 reading." in alt
    assert "Like a hole." in alt


@pytest.mark.parametrize("form", ["dot", "mermaid"])
def test_it_is_no_graph_of_boxes_and_says_what_it_can_be(form: str) -> None:
    with pytest.raises(InputError, match=f"cannot be made as {form}; .*svg, png, pdf, json"):
        render(chart_of(sealed_inlet=91), form)


def test_the_same_readings_give_the_same_bytes() -> None:
    one, other = (render(chart_of(sealed_inlet=91), "svg")[0].data for _ in range(2))
    assert one == other
    assert render(chart_of(sealed_inlet=91), "png", dpi=40)[0].data.startswith(b"\x89PNG")
