"""The array types of the engine, named once.

They are of use to mypy alone, so at run time they are only names: what needs no arrays need not
wait for numpy.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.intp]
    Flags = NDArray[np.bool_]
else:
    Floats = Integers = Flags = Any
