"""The array types of the engine, named once.

`numpy.typing` takes a twentieth of a cold `next` to import and is of use to mypy alone, so at run
time they all are plain arrays.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.intp]
    Flags = NDArray[np.bool_]
else:
    Floats = Integers = Flags = np.ndarray
