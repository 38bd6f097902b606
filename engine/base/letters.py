"""The first letter of a sentence that is taken into another, or stands alone."""

from __future__ import annotations


def capital_first(words: str) -> str:
    """The words as a sentence begins; unlike `str.capitalize`, the rest stays as it is."""
    return words[:1].upper() + words[1:]


def small_first(words: str) -> str:
    """The words as they stand within a sentence."""
    return words[:1].lower() + words[1:]
