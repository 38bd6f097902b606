from .base import AirState, Station
from .dialogue import Session
from .inference import House, Pair, Site, Unit, Visit
from .ruleset import load_rules

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
