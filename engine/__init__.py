"""The reasoning: rules, belief, airflow, planning, explaining. Prints nothing, prompts nothing.

`Session` runs one visit over the rules that `load_rules` reads; beside them stand the models of a
visit. They are imported when first used, so that a command that needs none of them stays quick.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
