"""What everything else stands on: errors, word lists, units, numbers as words, facts, YAML.

Knows nothing of rules, readings or air.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
