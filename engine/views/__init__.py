"""What a chart shows, of rules, readings and visits; how it is drawn is left to `charts`."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
