"""The airflow model: what a gauge reads along the air path of a house, healthy or damaged.

`system` describes a house, `effects` and `faulty` what a fault does to it, `gauge` what it reads;
`houses` and `draw` do the same for many at once. `power` has the air power at an opening, `curves`
the lines of a chart. What readings say of faults is for `inference`.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
