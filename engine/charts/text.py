"""Label text: made safe for every format, measured and wrapped.

Holds the one function that escapes a label (`escape`), and the widths of the house typeface, so
that boxes are cut to their words before anything is drawn. What a label says is left to the
charts; where it stands is left to `shapes` and `page`.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from functools import lru_cache
from typing import Literal

Target = Literal["svg", "dot", "mermaid"]

LEADING = 1.25
"""Line height as a multiple of the type size."""

# Advance widths in thousandths of the type size for the printable ASCII characters of Helvetica
# (Arial and Arimo are made to the same widths), read from the Arimo 1.34 font file.
_PLAIN = (
    "278 278 355 556 556 889 667 191 333 333 389 584 278 333 278 278 556 556 556 556 556 556 556 "
    "556 556 556 278 278 584 584 584 556 1015 667 667 722 722 667 611 778 722 278 500 667 556 833 "
    "722 778 667 778 722 667 611 722 667 944 667 667 611 278 278 278 469 556 333 556 556 500 556 "
    "556 278 556 556 222 222 500 222 833 556 556 556 556 333 500 278 556 500 722 500 500 500 334 "
    "260 334 584"
)
_BOLD = (
    "278 333 474 556 556 889 722 238 333 333 389 584 278 333 278 278 556 556 556 556 556 556 556 "
    "556 556 556 333 333 584 584 584 611 975 722 722 722 722 667 611 778 722 278 556 722 611 833 "
    "722 778 667 778 722 667 611 722 667 944 667 667 611 333 278 333 584 556 333 556 611 556 611 "
    "556 333 611 611 278 278 556 278 889 611 611 611 611 389 556 333 611 556 778 556 556 500 389 "
    "280 389 584"
)
_WIDTHS = {
    bold: dict(zip(map(chr, range(32, 127)), map(int, table.split()), strict=True))
    for bold, table in ((False, _PLAIN), (True, _BOLD))
}
# Characters that the typeface has letters for, as ranges of hexadecimal numbers, read from the same
# file; the drawing program brings the same typeface along.
_LETTERS = (
    "20-7E A0-377 37A-37F 384-38A 38C 38E-3A1 3A3-52F 591-5C7 5D0-5EA 5F0-5F4 1AB0-1ABE "
    "1C80-1C88 1D00-1DF5 1DFB-1F15 1F18-1F1D 1F20-1F45 1F48-1F4D 1F50-1F57 1F59 1F5B 1F5D "
    "1F5F-1F7D 1F80-1FB4 1FB6-1FC4 1FC6-1FD3 1FD6-1FDB 1FDD-1FEF 1FF2-1FF4 1FF6-1FFE 2000-2064 "
    "2066-2071 2074-208E 2090-209C 20A0-20BE 20F0 2100-214F 2153-2154 215B-215E 2184 2190-2195 "
    "21A8 2202 2206 220F 2211-2212 2215 2219-221A 221E-221F 2229 222B 2248 2260-2261 2264-2265 "
    "2302 2310 2320-2321 2500 2502 250C 2510 2514 2518 251C 2524 252C 2534 253C 2550-256C 2580 "
    "2584 2588 258C 2590-2593 25A0-25A1 25AA-25AC 25B2 25BA 25BC 25C4 25CA-25CC 25CF 25D8-25D9 "
    "25E6 263A-263C 2640 2642 2660 2663 2665-2666 266A-266B 266F 2C60-2C7F 2DE0-2E42 A640-A69F "
    "A717-A7AE A7B0-A7B7 A7F7-A7FF AB30-AB65 F001-F002 F005 F00A-F00E FB01-FB04 FB1D-FB36 "
    "FB38-FB3C FB3E FB40-FB41 FB43-FB44 FB46-FB4F FE20-FE2F FEFF FFFC-FFFD "
)
_HAS = [
    range(int(ends[0], 16), int(ends[-1], 16) + 1)
    for ends in (one.split("-") for one in _LETTERS.split())
]
# Explicit directions (embeddings, overrides, isolates) would spill over into the next label.
_DIRECTION_MARKS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def clean(text: str) -> str:
    """One line of text with only characters that every format can carry.

    Runs of white space become one space; control characters, explicit direction marks and
    unassigned noncharacters are dropped; a lone surrogate becomes U+FFFD.
    """
    return " ".join("".join(_allowed(text)).split())


def _allowed(text: str) -> Iterator[str]:
    for character in text:
        if character in _DIRECTION_MARKS or ord(character) & 0xFFFE == 0xFFFE:
            continue
        kind = unicodedata.category(character)
        if kind == "Cs":
            yield "\ufffd"
        elif kind == "Cc":
            yield " " if character in "\t\n\r\v\f\x85" else ""
        else:
            yield character


def escape(text: str, target: Target) -> str:
    """The label as it may stand inside a quoted string or element of `target`.

    Every label of every chart passes through here and nowhere else.
    """
    text = clean(text)
    if target == "svg":
        for raw, safe in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
            text = text.replace(raw, safe)
        return text
    if target == "dot":
        return text.replace("\\", "\\\\")
    return "".join(f"#{ord(c)};" if c in '#&<>"`\\;|' else c for c in text)


def width(text: str, size: float, bold: bool = False) -> float:
    """Width in points of one line of `text` set at `size` points."""
    return sum(_advance(character, bold) for character in text) * size / 1000


def _advance(character: str, bold: bool) -> int:
    table = _WIDTHS[bold]
    if character in table:
        return table[character]
    if unicodedata.combining(character):
        return 0
    if unicodedata.east_asian_width(character) in "WF":
        return 1000
    letter = unicodedata.normalize("NFD", character)[0]
    return table.get(letter, 1000 if ord(character) > 0x2000 else 667)


def is_measured(text: str) -> bool:
    """Whether every character is of the measured alphabet, so that `width` is not a guess."""
    return all(character in _WIDTHS[False] for character in text)


def unknown(text: str) -> set[str]:
    """Characters of a label that the house typeface has no letter for; `clean` has been over it."""
    return {c for c in set(text) if not any(ord(c) in one for one in _HAS)}


@lru_cache(maxsize=20_000)
def wrap(text: str, room: float, size: float, bold: bool = False) -> tuple[str, ...]:
    """Lines no wider than `room` points; a word wider than that is broken where it must be.

    Kept, since a box is measured anew for every page and every size of type that is tried.
    """
    lines: list[str] = []
    line = ""
    # A number is not parted from its %.
    for word in re.split(r" (?!%)", clean(text)):
        joined = f"{line} {word}" if line else word
        if width(joined, size, bold) <= room:
            line = joined
            continue
        if line:
            lines.append(line)
        *full, line = _broken(word, room, size, bold)
        lines.extend(full)
    if line:
        lines.append(line)
    return tuple(lines)


def _broken(word: str, room: float, size: float, bold: bool) -> list[str]:
    parts = [""]
    for character in word:
        grown = parts[-1] + character
        if parts[-1] and width(grown, size, bold) > room:
            parts.append(character)
        else:
            parts[-1] = grown
    return parts
