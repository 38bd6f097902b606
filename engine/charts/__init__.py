"""Charts people pin to the wall, over neutral models that know nothing of where data comes from."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
