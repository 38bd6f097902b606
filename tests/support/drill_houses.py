"""Small houses to play in, and one with a danger."""

from __future__ import annotations

from small_rules import DANGER, SMALL, small

from stillflow.engine.drill import Drill, DrillHouse, Order, Possible, build_house
from stillflow.engine.ruleset import Knowledge

STOP = """
  - id: smoke
    when: {fact: answer.danger, is: smoke}
    then: [{stop: There is smoke., call: The fire service., do_not: Do not go back in.}]
    because: Smoke is a fire until shown otherwise.
    source: common-practice
"""

SKIPPED = SMALL.replace(
    "text: Unplug the unit first.", "text: Unplug the unit first., skipped: The fan starts."
)


RULES = small(SKIPPED.replace("checks:\n", f"checks:{DANGER}", 1) + STOP)


def house_with(rules: Knowledge, fault: str, danger: bool = False) -> DrillHouse:
    """The first house with this fault, with or without a danger."""
    for seed in range(200):
        house = build_house(rules, Order(seed, 1, fault))
        if bool(house.danger) is danger:
            return house
    raise AssertionError(fault)


def choice(drill: Drill, name: str) -> Possible:
    """What is called so; a fix if `name` begins with it."""
    fix = name.startswith("fix ")
    return next(
        one for one in drill.choices if one.is_fix is fix and one.id == name.removeprefix("fix ")
    )
