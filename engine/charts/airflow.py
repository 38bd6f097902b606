"""The airflow chart: suction against airflow, as the system should be and as it was found.

Holds what the chart says; `airflowdrawing` draws it. The lines come from `airflow.curves`.
"""

from __future__ import annotations

from stillflow.engine.airflow import AirflowChart
from stillflow.engine.base import counted
from stillflow.engine.charts.chart import Chart, Format
from stillflow.engine.charts.picture import Picture, TitleBlock

AIRFLOW_FORMATS: tuple[Format, ...] = ("svg", "png", "pdf", "json")


def airflow_lines_chart(data: AirflowChart, title: TitleBlock, words: str) -> Chart:
    """The chart to render. It is no graph of boxes, so it cannot be made as DOT or Mermaid.

    Args:
        data: lines and readings.
        title: the title block.
        words: what the readings say, in a sentence or two, for those who cannot see it.
    """
    from stillflow.engine.charts.airflowdrawing import airflow_body, draw_airflow

    readings = counted(len(data.marks), "reading")
    alt = f"Suction against airflow: the healthy system, the system as found, {readings}. {words}"
    picture = Picture(title, alt, (), ())
    content = {"title": title.model_dump(mode="json"), **data.model_dump(mode="json")}
    return Chart(
        "airflow",
        picture,
        content,
        lambda paper: draw_airflow(data, picture, paper),
        AIRFLOW_FORMATS,
        lambda room: airflow_body(data, room),
    )
