"""The reasoning: rules, belief, airflow, planning, explaining. Prints nothing, prompts nothing.

`Session` runs one visit over the rules that `load_rules` reads; beside them stand the models of a
visit. They are imported when first used, so that a command that needs none of them stays quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stillflow.engine.base import AirState, Station
    from stillflow.engine.dialogue import Session
    from stillflow.engine.inference import House, Pair, Site, Unit, Visit
    from stillflow.engine.ruleset import load_rules

__all__ = [
    "AirState",
    "House",
    "Pair",
    "Session",
    "Site",
    "Station",
    "Unit",
    "Visit",
    "load_rules",
]

_HOMES = {
    "base": ("AirState", "Station"),
    "dialogue": ("Session",),
    "inference": ("House", "Pair", "Site", "Unit", "Visit"),
    "ruleset": ("load_rules",),
}


def __getattr__(name: str) -> object:
    for package, names in _HOMES.items():
        if name in names:
            return getattr(import_module(f"{__name__}.{package}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
