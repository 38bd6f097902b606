"""What a chart shows, of rules, readings and visits; how it is drawn is left to `charts`."""

from stillflow.engine.views.decision import decision_tree
from stillflow.engine.views.faults import WORTH_AN_EVENT, fault_tree, known_complaint
from stillflow.engine.views.reasoning import reasoning_path
from stillflow.engine.views.stations import air_path

__all__ = [
    "WORTH_AN_EVENT",
    "air_path",
    "decision_tree",
    "fault_tree",
    "known_complaint",
    "reasoning_path",
]
