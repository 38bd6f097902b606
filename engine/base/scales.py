"""The closed word lists of the knowledge: modes, places, stations, strengths, how common.

Kept in one place so that the rule files, the models and the screen use the same words.
"""

from __future__ import annotations

from enum import StrEnum


class Mode(StrEnum):
    """What kind of thing is wrong."""

    LEAK = "leak"
    OBSTRUCTION = "obstruction"
    WEAK_POWER = "weak-power"
    SETTING = "setting"
    MEASUREMENT = "measurement"
    NORMAL = "normal"


class Where(StrEnum):
    """Which part of the system a fault sits in."""

    UNIT = "unit"
    TUBING = "tubing"
    INLETS = "inlets"
    HOSE = "hose"
    TOOL = "tool"
    SUPPLY = "supply"
    MEASUREMENT = "measurement"
    SYSTEM = "system"


class Station(StrEnum):
    """Where the gauge is put along the air path. `other` is an inlet on another branch."""

    UNIT = "unit"
    UTILITY = "utility"
    INLET = "inlet"
    OTHER = "other"
    HOSE = "hose"

    @property
    def words(self) -> str:
        """As people say it after "at"."""
        return _STATION_WORDS[self]


_STATION_WORDS = {
    Station.UNIT: "the unit",
    Station.UTILITY: "the utility inlet",
    Station.INLET: "the inlet",
    Station.OTHER: "another inlet",
    Station.HOSE: "the hose end",
}


class AirState(StrEnum):
    """Whether air flows while the gauge is read."""

    SEALED = "sealed"
    WORKING = "working"


class Strength(StrEnum):
    """Weight of evidence in half powers of ten (Jeffreys, Theory of Probability, appendix B).

    `computed` is evidence that a rule only puts into words: how much is the airflow model's say.
    """

    COMPUTED = "computed"
    SLIGHT = "slight"
    SUBSTANTIAL = "substantial"
    STRONG = "strong"
    VERY_STRONG = "very-strong"
    DECISIVE = "decisive"

    @property
    def factor(self) -> float:
        """The likelihood ratio the word stands for (dimensionless)."""
        return float(10.0 ** _EXPONENT[self])

    @property
    def loudness(self) -> float:
        """How loudly it is told: its factor, and what the gauge says like something strong."""
        return (Strength.STRONG if self is Strength.COMPUTED else self).factor


_EXPONENT = {
    Strength.COMPUTED: 0.0,
    Strength.SLIGHT: 0.25,
    Strength.SUBSTANTIAL: 0.5,
    Strength.STRONG: 1.0,
    Strength.VERY_STRONG: 1.5,
    Strength.DECISIVE: 2.0,
}


class HowCommon(StrEnum):
    """How often a fault is behind a call, in half powers of ten."""

    VERY_COMMON = "very-common"
    COMMON = "common"
    OCCASIONAL = "occasional"
    RARE = "rare"
    VERY_RARE = "very-rare"

    @property
    def weight(self) -> float:
        """Relative frequency (dimensionless, 1 for occasional)."""
        return float(10.0 ** _FREQUENCY[self])


_FREQUENCY = {
    HowCommon.VERY_COMMON: 1.0,
    HowCommon.COMMON: 0.5,
    HowCommon.OCCASIONAL: 0.0,
    HowCommon.RARE: -0.5,
    HowCommon.VERY_RARE: -1.0,
}
