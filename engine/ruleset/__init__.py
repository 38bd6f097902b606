"""The trade's rules as data: conditions, entries, the loaded rule set and its words.

Holds what a rule file may say and whether it makes sense; what rules make of a visit is left to
`inference`.
"""

from stillflow.engine.ruleset.amending import amended, slips_of
from stillflow.engine.ruleset.complaints import Complaint
from stillflow.engine.ruleset.conditions import (
    BOTH,
    Comparand,
    Condition,
    FactValue,
    Leaf,
    fold,
    leaves,
    say,
    truth,
)
from stillflow.engine.ruleset.entries import (
    ENDS,
    NONE_HERE,
    Advice,
    Caution,
    Check,
    Derivation,
    Doubt,
    Entry,
    Evidence,
    Fault,
    Level,
    Next,
    Rule,
    Settles,
    Source,
    Stop,
    Turn,
    UnitClass,
    Warn,
)
from stillflow.engine.ruleset.hearing import Heard, heard
from stillflow.engine.ruleset.knowledge import Knowledge
from stillflow.engine.ruleset.loading import load_folders, load_rules, load_without, shipped_folder
from stillflow.engine.ruleset.outlay import (
    Footing,
    Outlay,
    checking,
    fixing,
    put_back_steps,
    putting_back,
    stand_of,
    walk,
)
from stillflow.engine.ruleset.ranges import JudgedNumber, judged, numbers_of
from stillflow.engine.ruleset.schema import MODELINE, rule_file_schema
from stillflow.engine.ruleset.uses import checks_used, observation, observation_of, observed
from stillflow.engine.ruleset.words import (
    condition_words,
    effect_words,
    fact_words,
    replaced_words,
    source_words,
)

__all__ = [
    "BOTH",
    "ENDS",
    "MODELINE",
    "NONE_HERE",
    "Advice",
    "Caution",
    "Check",
    "Comparand",
    "Complaint",
    "Condition",
    "Derivation",
    "Doubt",
    "Entry",
    "Evidence",
    "FactValue",
    "Fault",
    "Footing",
    "Heard",
    "JudgedNumber",
    "Knowledge",
    "Leaf",
    "Level",
    "Next",
    "Outlay",
    "Rule",
    "Settles",
    "Source",
    "Stop",
    "Turn",
    "UnitClass",
    "Warn",
    "amended",
    "checking",
    "checks_used",
    "condition_words",
    "effect_words",
    "fact_words",
    "fixing",
    "fold",
    "heard",
    "judged",
    "leaves",
    "load_folders",
    "load_rules",
    "load_without",
    "numbers_of",
    "observation",
    "observation_of",
    "observed",
    "put_back_steps",
    "putting_back",
    "replaced_words",
    "rule_file_schema",
    "say",
    "shipped_folder",
    "slips_of",
    "source_words",
    "stand_of",
    "truth",
    "walk",
]
