from .abreast import side_by_side
from .airflow import AIRFLOW_FORMATS, airflow_lines_chart
from .blank import BLANKS, Blank
from .card import Card, CardFind, CardLook, CardSign, numbers_said
from .chart import FORMATS, Chart, on_paper, render
from .decision import DecisionTree, TreeBranch, TreeNode, decision_chart
from .faults import faulttree_chart
from .gaugeplace import gauge_place
from .handout import (
    HANDOUT_FORMATS,
    Handout,
    HandoutPage,
    HandoutPart,
    handout_chart,
    whole_key,
)
from .history import (
    HISTORY_FORMATS,
    History,
    HistoryPoint,
    HistorySeries,
    history_chart,
)
from .page import (
    LEAST_POSTER_TYPE,
    LEAST_TYPE,
    PAPERS,
    POSTERS,
    PaperName,
)
from .pareto import PARETO_FORMATS, Pareto, ParetoBar, pareto_chart
from .picture import TitleBlock
from .progress import ProgressPlot, progress_chart
from .reasoning import (
    RULED_OUT,
    PathDerived,
    PathFact,
    PathFault,
    PathLink,
    PathRule,
    ReasoningPath,
)
from .reasoningpicture import reasoning_chart
from .routes import (
    ROUTE_FORMATS,
    Routes,
    RouteStep,
    RouteTaken,
    routes_chart,
)
from .scene import Role
from .sheet import CustomerSheet, SheetPart, SheetReading, sheet_chart
from .stationdrawing import station_chart
from .stations import AirPath, ChartStation, StationReading
from .tornado import Tornado, TornadoBar, tornado_chart

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
