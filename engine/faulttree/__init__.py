"""Fault trees: their building, minimal cut sets and importances. Knows nothing of suction."""

from stillflow.engine.faulttree import build
from stillflow.engine.faulttree.build import Cause, build_tree
from stillflow.engine.faulttree.importance import Analysis, analyse
from stillflow.engine.faulttree.tree import Event, FaultTree, Gate

__all__ = [
    "Analysis",
    "Cause",
    "Event",
    "FaultTree",
    "Gate",
    "analyse",
    "build",
    "build_tree",
]
