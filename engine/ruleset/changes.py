"""An entry with some of its keys changed, and what that changed, in words.

A mapping is changed key by key, a list whose items have ids item by item; anything else is taken
as it now stands. A key with nothing after it is taken out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stillflow.engine.base import Path


def laid_over(
    old: Any, new: Any, lines: Mapping[Path, int], here: Path, to: Path, into: dict[Path, int]
) -> Any:
    """What stands once a change is laid over what stood.

    Args:
        old: what stood.
        new: the change.
        lines: line of every path of the file that the change is from.
        here: where the change stands in that file.
        to: where the outcome is to stand.
        into: takes the line of every path of the outcome that the change touched.
    """
    if here in lines:
        into[to] = lines[here]
    if isinstance(old, dict) and isinstance(new, dict):
        # A condition or an effect of another make is not mixed with the one it replaces.
        whole = here[-1] != "fix" and "id" not in old and not new.keys() <= old.keys()
        kept = {} if whole else dict(old)
        for key, value in new.items():
            kept[key] = laid_over(kept.get(key), value, lines, (*here, key), (*to, key), into)
        # What is taken out must have been there; an empty key that never was is a slip, and stays.
        return {key: value for key, value in kept.items() if value is not None or key not in old}
    if isinstance(new, list):
        return _listed(old, new, lines, here, to, into)
    return new


def _listed(
    old: Any, new: list[Any], lines: Mapping[Path, int], here: Path, to: Path, into: dict[Path, int]
) -> list[Any]:
    by_id = isinstance(old, list) and all(isinstance(i, dict) and "id" in i for i in (*old, *new))
    kept: list[Any] = list(old) if by_id else []
    for number, item in enumerate(new):
        ids = [one["id"] for one in kept] if by_id else []
        at = ids.index(item["id"]) if by_id and item["id"] in ids else len(kept)
        kept[at:] = [kept[at] if at < len(kept) else None, *kept[at + 1 :]]
        kept[at] = laid_over(kept[at], item, lines, (*here, number), (*to, at), into)
    return kept


def said(old: Any, new: Any, at: str = "") -> tuple[str, ...]:
    """Where two versions of an entry differ: `fix minutes 6 -> 4`, one each."""
    if isinstance(old, dict) and isinstance(new, dict):
        keys = dict.fromkeys((*old, *new))
        return tuple(
            words
            for key in keys
            for words in said(old.get(key), new.get(key), f"{at} {key}".strip())
        )
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        named = [
            item.get("id", n + 1) if isinstance(item, dict) else n + 1 for n, item in enumerate(new)
        ]
        return tuple(
            words
            for name, one, other in zip(named, old, new, strict=True)
            for words in said(one, other, f"{at} {name}")
        )
    return () if old == new else (f"{at} {_short(old)} -> {_short(new)}",)


def _short(value: Any) -> str:
    if value is None:
        return "nothing"
    text = str(value).replace("'", "")
    return text if len(text) <= 40 else f"{text[:37]}..."
