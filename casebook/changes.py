"""What was changed, as the trail says it: each field, its value before and its value now."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from typing import Any

from stillflow.casebook.tables import PEOPLE

Change = tuple[str, Any, Any]
"""A field, what it was, and what it is now."""

EDITED = "edited: "

FORGOTTEN = "names, address and phone forgotten"
"""What the trail says of a house whose people were forgotten; syncs and imports go by it."""

_TEXT = r'"(?:[^"\\]|\\.)*"'
_QUOTED = re.compile(_TEXT)
_NAMED = re.compile(rf"(?:: |, |site\.)(?:{'|'.join(PEOPLE)})(?: ({_TEXT}))? now ({_TEXT}|nothing)")
_FIELD = re.compile(r"(?:^|, )((?:unit )?\w+)")


def change_words(changes: Iterable[Change]) -> str:
    """Changes in a line of the trail, which outlives the values: `phone "1" now "2"`.

    Of what is a list or has parts, only that it is another.
    """
    return ", ".join(_words(*one) for one in changes)


def _words(name: str, before: Any, now: Any) -> str:
    if any(isinstance(one, (list, tuple, dict)) for one in (before, now)):
        return name
    old, new = (
        "" if one in (None, "") else json.dumps(one, ensure_ascii=False) for one in (before, now)
    )
    return f"{name}{old and ' '}{old} now {new or 'nothing'}"


def edited_fields(line: str) -> set[str]:
    """Fields of a house that a line of its trail says were edited; of its unit, `unit FIELD`."""
    if not line.startswith(EDITED):
        return set()
    return set(_FIELD.findall(_QUOTED.sub("", line.removeprefix(EDITED))))


def names_in(line: str) -> list[str]:
    """What people of a house were called before and after a change in a line of the trail."""
    found = (one for pair in _NAMED.findall(line) for one in pair)
    return [json.loads(one) for one in found if one.startswith('"')]
