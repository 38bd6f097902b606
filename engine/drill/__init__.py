"""Drills: houses that answer back, what a trainee did in one, and what it comes to."""

from stillflow.engine.drill.house import LEVELS, DrillHouse, Level, Order, build_house
from stillflow.engine.drill.luck import Luck
from stillflow.engine.drill.path import ENDINGS, routes
from stillflow.engine.drill.play import AGAIN_MINUTES, CAUTIOUS, Done, Drill, Possible, Walked
from stillflow.engine.drill.review import TOLD_NOTHING, Review, play_by_plan, review

__all__ = [
    "AGAIN_MINUTES",
    "CAUTIOUS",
    "ENDINGS",
    "LEVELS",
    "TOLD_NOTHING",
    "Done",
    "Drill",
    "DrillHouse",
    "Level",
    "Luck",
    "Order",
    "Possible",
    "Review",
    "Walked",
    "build_house",
    "play_by_plan",
    "review",
    "routes",
]
