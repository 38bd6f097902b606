"""What everything else stands on: errors, word lists, units, numbers as words, facts, YAML.

Knows nothing of rules, readings or air.
"""

from typing import TYPE_CHECKING, Any

from stillflow.engine.base import vocabulary
from stillflow.engine.base.arrays import Flags, Floats, Integers
from stillflow.engine.base.errors import (
    InputError,
    KnowledgeError,
    Place,
    SetupError,
    StillflowError,
)
from stillflow.engine.base.located import (
    SIZE_LIMIT,
    Keys,
    Located,
    Path,
    nearest,
    read_yaml,
)
from stillflow.engine.base.numbers import chance, counted, in_percent, minutes, percent
from stillflow.engine.base.refusals import explain_validation
from stillflow.engine.base.scales import AirState, HowCommon, Mode, Station, Strength, Where
from stillflow.engine.base.units import (
    INH2O_68F_PA,
    INH2O_CONVENTIONAL_PA,
    MOST_SUCTION_INH2O,
    quantity,
    suction,
)
from stillflow.engine.base.vocabulary import (
    FLAG,
    KEPT_PAIRS,
    NUMBER,
    WORD,
    FactKind,
    answer_fact,
    part_fact,
    tried_fact,
)

if TYPE_CHECKING:
    from stillflow.engine.base.model import FiniteModel, Model

__all__ = [
    "FLAG",
    "INH2O_68F_PA",
    "INH2O_CONVENTIONAL_PA",
    "KEPT_PAIRS",
    "MOST_SUCTION_INH2O",
    "NUMBER",
    "SIZE_LIMIT",
    "WORD",
    "AirState",
    "FactKind",
    "FiniteModel",
    "Flags",
    "Floats",
    "HowCommon",
    "InputError",
    "Integers",
    "Keys",
    "KnowledgeError",
    "Located",
    "Mode",
    "Model",
    "Path",
    "Place",
    "SetupError",
    "Station",
    "StillflowError",
    "Strength",
    "Where",
    "answer_fact",
    "chance",
    "counted",
    "explain_validation",
    "in_percent",
    "minutes",
    "nearest",
    "part_fact",
    "percent",
    "quantity",
    "read_yaml",
    "suction",
    "tried_fact",
    "vocabulary",
]


def __getattr__(name: str) -> Any:
    # Help and one-line errors come without pydantic, whose import takes longer than both.
    if name in ("FiniteModel", "Model"):
        from stillflow.engine.base import model

        return getattr(model, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
