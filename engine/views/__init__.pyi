from .decision import decision_tree
from .faults import (
    WORTH_AN_EVENT,
    By,
    fault_tree,
    known_complaint,
    pareto_bars,
)
from .history import (
    SpotHistory,
    drift_words,
    history_chart_model,
    site_history,
    weak_share,
)
from .reasoning import reasoning_path
from .sheet import Shop, customer_sheet
from .standing import Whereabouts, note_words, whereabouts
from .stations import air_path
from .wording import DANGERS

__all__ = [
    "DANGERS",
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
