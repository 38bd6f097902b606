from . import vocabulary
from .arrays import Flags, Floats, Integers
from .errors import (
    InputError,
    KnowledgeError,
    Place,
    SetupError,
    StillflowError,
)
from .located import (
    SIZE_LIMIT,
    Keys,
    Located,
    Path,
    nearest,
    read_yaml,
)
from .model import FiniteModel, Model
from .numbers import chance, counted, in_percent, minutes, percent
from .refusals import explain_validation
from .scales import AirState, HowCommon, Mode, Station, Strength, Where
from .units import (
    INH2O_68F_PA,
    INH2O_CONVENTIONAL_PA,
    MOST_SUCTION_INH2O,
    quantity,
    suction,
)
from .vocabulary import (
    FLAG,
    KEPT_PAIRS,
    NUMBER,
    WORD,
    FactKind,
    answer_fact,
    part_fact,
    tried_fact,
)

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
