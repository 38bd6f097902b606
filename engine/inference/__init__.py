"""From what was seen to what is believed: the record, the baseline, facts, rules, likelihood.

Holds the two back ends of the rules and the arithmetic of belief; what to do next is left to
`planning` and `dialogue`.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
