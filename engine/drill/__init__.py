"""Drills: houses that answer back, what a trainee did in one, and what it comes to."""

from stillflow.engine.drill.house import LEVELS, DrillHouse, Level, Order, build_house
from stillflow.engine.drill.luck import Luck
from stillflow.engine.drill.path import routes
from stillflow.engine.drill.play import (
    AGAIN_MINUTES,
    CAUTIOUS,
    ENDINGS,
    NEEDLESS_MINUTES,
    WELL,
    Done,
    Drill,
    Ending,
    Possible,
    Walked,
)
from stillflow.engine.drill.review import (
    TOLD_NOTHING,
    Deduction,
    Review,
    losses_of,
    play_by_plan,
    review,
)

__all__ = [
    "AGAIN_MINUTES",
    "CAUTIOUS",
    "ENDINGS",
    "LEVELS",
    "NEEDLESS_MINUTES",
    "TOLD_NOTHING",
    "WELL",
    "Deduction",
    "Done",
    "Drill",
    "DrillHouse",
    "Ending",
    "Level",
    "Luck",
    "Order",
    "Possible",
    "Review",
    "Walked",
    "build_house",
    "losses_of",
    "play_by_plan",
    "review",
    "routes",
]
