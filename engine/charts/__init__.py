"""Charts people pin to the wall, over neutral models that know nothing of where data comes from."""

from stillflow.engine.charts.abreast import side_by_side
from stillflow.engine.charts.airflow import AIRFLOW_FORMATS, airflow_lines_chart
from stillflow.engine.charts.blank import BLANKS, Blank
from stillflow.engine.charts.card import Card, CardFind, CardLook, CardSign, numbers_said
from stillflow.engine.charts.chart import FORMATS, Chart, on_paper, render
from stillflow.engine.charts.decision import DecisionTree, TreeBranch, TreeNode, decision_chart
from stillflow.engine.charts.faults import faulttree_chart
from stillflow.engine.charts.gaugeplace import gauge_place
from stillflow.engine.charts.handout import (
    HANDOUT_FORMATS,
    Handout,
    HandoutPage,
    HandoutPart,
    handout_chart,
    whole_key,
)
from stillflow.engine.charts.history import (
    HISTORY_FORMATS,
    History,
    HistoryPoint,
    HistorySeries,
    history_chart,
)
from stillflow.engine.charts.page import (
    LEAST_POSTER_TYPE,
    LEAST_TYPE,
    PAPERS,
    POSTERS,
    PaperName,
)
from stillflow.engine.charts.pareto import PARETO_FORMATS, Pareto, ParetoBar, pareto_chart
from stillflow.engine.charts.picture import TitleBlock
from stillflow.engine.charts.progress import ProgressPlot, progress_chart
from stillflow.engine.charts.reasoning import (
    RULED_OUT,
    PathDerived,
    PathFact,
    PathFault,
    PathLink,
    PathRule,
    ReasoningPath,
)
from stillflow.engine.charts.reasoningpicture import reasoning_chart
from stillflow.engine.charts.routes import (
    ROUTE_FORMATS,
    Routes,
    RouteStep,
    RouteTaken,
    routes_chart,
)
from stillflow.engine.charts.scene import Role
from stillflow.engine.charts.sheet import CustomerSheet, SheetPart, SheetReading, sheet_chart
from stillflow.engine.charts.stationdrawing import station_chart
from stillflow.engine.charts.stations import AirPath, ChartStation, StationReading
from stillflow.engine.charts.tornado import Tornado, TornadoBar, tornado_chart

__all__ = [
    "AIRFLOW_FORMATS",
    "BLANKS",
    "FORMATS",
    "HANDOUT_FORMATS",
    "HISTORY_FORMATS",
    "LEAST_POSTER_TYPE",
    "LEAST_TYPE",
    "PAPERS",
    "PARETO_FORMATS",
    "POSTERS",
    "ROUTE_FORMATS",
    "RULED_OUT",
    "AirPath",
    "Blank",
    "Card",
    "CardFind",
    "CardLook",
    "CardSign",
    "Chart",
    "ChartStation",
    "CustomerSheet",
    "DecisionTree",
    "Handout",
    "HandoutPage",
    "HandoutPart",
    "History",
    "HistoryPoint",
    "HistorySeries",
    "PaperName",
    "Pareto",
    "ParetoBar",
    "PathDerived",
    "PathFact",
    "PathFault",
    "PathLink",
    "PathRule",
    "ProgressPlot",
    "ReasoningPath",
    "Role",
    "RouteStep",
    "RouteTaken",
    "Routes",
    "SheetPart",
    "SheetReading",
    "StationReading",
    "TitleBlock",
    "Tornado",
    "TornadoBar",
    "TreeBranch",
    "TreeNode",
    "airflow_lines_chart",
    "decision_chart",
    "faulttree_chart",
    "gauge_place",
    "handout_chart",
    "history_chart",
    "numbers_said",
    "on_paper",
    "pareto_chart",
    "progress_chart",
    "reasoning_chart",
    "render",
    "routes_chart",
    "sheet_chart",
    "side_by_side",
    "station_chart",
    "tornado_chart",
    "whole_key",
]
