"""Chance that falls the same on every machine and with every NumPy.

NumPy keeps the bits that PCG64 gives for good, but not what its `Generator` makes of them (NEP
19). So the few kinds of draw that a house is made of are made here, from those bits alone.
"""

from __future__ import annotations

import hashlib
from statistics import NormalDist
from typing import Any

import numpy as np

_NORMAL = NormalDist()


class Luck(np.random.Generator):
    """Draws from a seed and whatever names what they are for.

    Has what `simulate` draws with: `random`, `uniform`, `normal`, `integers`, `choice` and
    `permutation`, with NumPy's arguments as far as they are used there.

    Args:
        seed: of the drill.
        what: what the draws are for; another name gives other draws, however many were made.
    """

    def __init__(self, seed: int, *what: str | int) -> None:
        self._named = (seed, *what)
        self._spawned = 0
        name = "/".join(map(str, self._named)).encode()
        super().__init__(np.random.PCG64(int.from_bytes(hashlib.sha256(name).digest()[:16], "big")))

    def spawn(self, n_children: int) -> list[np.random.Generator]:
        """Draws of their own, that leave these as they are."""
        first, self._spawned = self._spawned, self._spawned + n_children
        seed, *what = self._named
        names = range(first, self._spawned)
        return [Luck(int(seed), *what, f"spawned {number}") for number in names]

    def random(self, size: Any = None, *_: Any, **__: Any) -> Any:
        """Even draws from 0 up to 1, of 53 bits."""
        raw = self.bit_generator.random_raw(None if size is None else int(np.prod(size)))
        if size is None:
            return (int(raw) >> 11) * 2.0**-53
        return ((np.asarray(raw, dtype=np.uint64) >> np.uint64(11)) * 2.0**-53).reshape(size)

    def uniform(self, low: Any = 0.0, high: Any = 1.0, size: Any = None) -> Any:
        """Even draws from `low` up to `high`."""
        return low + (high - low) * self.random(_shape(size, low, high))

    def normal(self, loc: Any = 0.0, scale: Any = 1.0, size: Any = None) -> Any:
        """Draws from the bell curve, by its inverse."""
        luck = self.random(_shape(size, loc, scale))
        # Half a step off zero, where the inverse has no value.
        inverse = np.vectorize(lambda one: _NORMAL.inv_cdf(one + 2.0**-54), otypes=[float])
        drawn = inverse(luck)
        return loc + scale * (drawn if np.ndim(drawn) else float(drawn))

    def integers(self, low: Any, high: Any = None, size: Any = None, *_: Any, **__: Any) -> Any:
        """Whole numbers from `low`, `high` not among them."""
        low, high = (0, low) if high is None else (low, high)
        drawn = low + np.floor(self.random(size) * (high - low)).astype(int)
        return drawn if np.ndim(drawn) else int(drawn)

    def choice(self, a: Any, size: Any = None, *_: Any, p: Any = None, **__: Any) -> Any:
        """One or several of `a` (or of the numbers below it), each as likely as `p` says."""
        many: Any = np.arange(a) if isinstance(a, int | np.integer) else np.asarray(a)
        shares = np.full(len(many), 1.0 / len(many)) if p is None else np.asarray(p, dtype=float)
        edges = np.cumsum(shares)
        drawn = np.searchsorted(edges, self.random(size) * edges[-1], side="right")
        return many[np.minimum(drawn, len(many) - 1)]

    def permutation(self, x: Any, axis: int = 0) -> Any:
        """The same things, or the numbers below `x`, in random order."""
        many = np.arange(x) if isinstance(x, int | np.integer) else np.asarray(x)
        return many[np.argsort(self.random(len(many)), kind="stable")]


def _shape(size: Any, *given: Any) -> Any:
    if size is not None:
        return size
    return np.broadcast(*given).shape or None
