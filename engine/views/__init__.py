"""What a chart shows, of rules, readings and visits; how it is drawn is left to `charts`."""

from stillflow.engine.views.decision import decision_tree
from stillflow.engine.views.faults import (
    WORTH_AN_EVENT,
    By,
    fault_tree,
    known_complaint,
    pareto_bars,
)
from stillflow.engine.views.history import (
    SpotHistory,
    drift_words,
    history_chart_model,
    site_history,
    weak_share,
)
from stillflow.engine.views.reasoning import reasoning_path
from stillflow.engine.views.sheet import Shop, customer_sheet
from stillflow.engine.views.stations import air_path
from stillflow.engine.views.whereabouts import Whereabouts, note_words, whereabouts

__all__ = [
    "WORTH_AN_EVENT",
    "By",
    "Shop",
    "SpotHistory",
    "Whereabouts",
    "air_path",
    "customer_sheet",
    "decision_tree",
    "drift_words",
    "fault_tree",
    "history_chart_model",
    "known_complaint",
    "note_words",
    "pareto_bars",
    "reasoning_path",
    "site_history",
    "weak_share",
    "whereabouts",
]
