"""The next best act, a check or a fix, from a fault-by-check table with costs.

Holds the problem, the order of fixes, look-ahead, exact search and policies unrolled into trees.
Knows nothing of suction.
"""

from stillflow.engine.planning.choice import Action, Think, next_action
from stillflow.engine.planning.policytree import FRINGE, Unrolled
from stillflow.engine.planning.problem import Moves, Problem
from stillflow.engine.planning.searching import first_cut, search_order
from stillflow.engine.planning.treenodes import Branch, PolicyStep, PolicyTree

__all__ = [
    "FRINGE",
    "Action",
    "Branch",
    "Moves",
    "PolicyStep",
    "PolicyTree",
    "Problem",
    "Think",
    "Unrolled",
    "first_cut",
    "next_action",
    "search_order",
]
