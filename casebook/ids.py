"""Ids of visits and sites: UUID version 7 (RFC 9562, section 5.7), so that ids sort by time.

Two vans that open visits without a line to each other still get different ids. (`uuid.uuid7`
comes with Python 3.14 only.)
"""

from __future__ import annotations

import secrets
import time
from uuid import UUID

_NANOSECONDS_PER_MILLISECOND = 1_000_000

_LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"
"""Crockford's base 32: none of i, l, o and u, which are read for others."""

_MISREAD = str.maketrans("ilo", "110")


def new_id() -> str:
    """A fresh id in the usual form of a UUID, later ids sorting after earlier ones.

    The twelve bits after the version hold the part of a millisecond that has passed (RFC 9562,
    section 6.2, method 3), so that ids of one process sort to about a quarter microsecond.
    """
    milliseconds, rest = divmod(time.time_ns(), _NANOSECONDS_PER_MILLISECOND)
    fraction = rest * 4096 // _NANOSECONDS_PER_MILLISECOND
    return str(uuid7(milliseconds, fraction, secrets.randbits(62)))


def uuid7(milliseconds: int, rand_a: int, rand_b: int) -> UUID:
    """Lay out a version 7 UUID from its fields.

    Args:
        milliseconds: since 1970-01-01 UTC, 48 bits.
        rand_a: 12 bits.
        rand_b: 62 bits.
    """
    version, variant = 0b0111, 0b10
    return UUID(int=milliseconds << 80 | version << 76 | rand_a << 64 | variant << 62 | rand_b)


def short_id(full: str) -> str:
    """Six letters and digits to be said and typed for an id; an id that is no UUID is its own.

    They are the last thirty bits, which are drawn. Of 200,000 visits some twenty pairs share them.
    """
    try:
        bits = UUID(full).int
    except ValueError:
        return full
    return "".join(_LETTERS[bits >> 5 * place & 31] for place in range(5, -1, -1))


def as_typed(short: str) -> str:
    """A short id as it was meant: capitals, and letters taken for digits, put right."""
    return short.lower().translate(_MISREAD)
