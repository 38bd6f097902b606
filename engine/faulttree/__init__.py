"""Fault trees: their building, minimal cut sets and importances. Knows nothing of suction."""

from stillflow.engine.faulttree.build import Cause, JointCauses, build_tree
from stillflow.engine.faulttree.importance import Analysis, analyse
from stillflow.engine.faulttree.tree import CutSet, FaultTree, Gate, PrimaryEvent

__all__ = [
    "Analysis",
    "Cause",
    "CutSet",
    "FaultTree",
    "Gate",
    "JointCauses",
    "PrimaryEvent",
    "analyse",
    "build_tree",
]
