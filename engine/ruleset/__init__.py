"""The trade's rules as data: conditions, entries, the loaded rule set and its words.

Holds what a rule file may say and whether it makes sense; what rules make of a visit is left to
`inference`.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
