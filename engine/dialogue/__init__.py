"""A visit as it runs: what has been answered, what may be asked, what comes next, and why.

The words come from the rules; who shows them, and where they are kept, is left to the caller.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
