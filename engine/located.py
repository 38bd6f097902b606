"""YAML read into plain data that remembers where each value stood.

Holds the safe reader used for rule files and visit files alike: no tags, no anchors, no duplicate
keys, one document. What the data means is left to the models that take it.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from stillflow.engine.errors import Place, StillflowError

_UNKNOWN = "extra_forbidden"

SIZE_LIMIT = 1_000_000
"""Characters. A visit is a few thousand, the longest rule file a hundred thousand."""

Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Located:
    """Plain data (dict, list, str, int, float, bool, None) and the line of every path in it."""

    file: str
    data: Any
    lines: Mapping[Path, int] = field(default_factory=dict)

    def place(self, path: Path) -> Place:
        """Where `path` stands; the nearest enclosing value if the path itself is absent."""
        known = path
        while known and known not in self.lines:
            known = known[:-1]
        return Place(self.file, self.lines.get(known, 1), ".".join(str(step) for step in path))


def read_yaml(
    text: str, file: str, error: Callable[[str, Place, str], StillflowError], fast: bool = False
) -> Located:
    """Parse one YAML document.

    Args:
        text: the document.
        file: the name people know it by, used in errors.
        error: the class of error to raise, called with (what, place, what would be right).
        fast: try the C parser first. It is eight times faster but stricter than YAML 1.2 about
            colons in flow collections and does not guard against deep nesting, so it is for the
            long files that ship with stillflow; whatever it refuses, the pure parser decides.

    Raises:
        StillflowError: of the given class, with the line.
    """
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError
    from ruamel.yaml.resolver import VersionedResolver

    class Resolver(VersionedResolver):
        # The base class works the version out again for every scalar, a third of the time.
        processing_version = (1, 2)

    def compose(pure: bool) -> Any:
        yaml = YAML(typ="safe", pure=pure)
        yaml.Resolver = Resolver
        return yaml.compose(text)

    if len(text) > SIZE_LIMIT:
        raise error(
            f"the file is too long ({len(text):,} characters)",
            Place(file),
            f"a file here has at most {SIZE_LIMIT:,} characters",
        )
    node = None
    if fast:
        try:
            node = compose(pure=False)
        except YAMLError:
            fast = False
    if not fast:
        try:
            node = compose(pure=True)
        except MarkedYAMLError as problem:
            mark = problem.problem_mark or problem.context_mark
            line = mark.line + 1 if mark is not None else None
            what = (problem.problem or problem.context or "it cannot be read").strip()
            raise error(f"not valid YAML: {what}", Place(file, line), "") from None
        except RecursionError:
            raise error("nested too deeply", Place(file), "a few levels are enough") from None
        except YAMLError as problem:
            raise error(
                f"not valid YAML: {str(problem).splitlines()[0]}", Place(file), ""
            ) from None
    if node is None:
        raise error("the file is empty", Place(file), "")
    lines: dict[Path, int] = {}
    seen: set[int] = set()

    def build(node: Any, path: Path) -> Any:
        line = node.start_mark.line + 1
        lines.setdefault(path, line)
        if id(node) in seen:
            raise error("an alias is not allowed here", Place(file, line), "write the value out")
        seen.add(id(node))
        if node.id == "mapping":
            result: dict[str, Any] = {}
            for key_node, value_node in node.value:
                key_line = key_node.start_mark.line + 1
                if key_node.id != "scalar":
                    raise error("a key must be a word", Place(file, key_line), "")
                key = str(key_node.value)
                if key in result:
                    raise error(f"the key '{key}' stands twice", Place(file, key_line), "keep one")
                lines[(*path, key)] = key_line
                result[key] = build(value_node, (*path, key))
            return result
        if node.id == "sequence":
            return [build(item, (*path, index)) for index, item in enumerate(node.value)]
        return _scalar(node, lambda what: error(what, Place(file, line), "write a plain value"))

    try:
        return Located(file, build(node, ()), lines)
    except RecursionError:
        raise error("nested too deeply", Place(file), "a few levels are enough") from None


def _scalar(node: Any, error: Callable[[str], StillflowError]) -> Any:
    kind = str(node.tag).rpartition(":")[2]
    text = str(node.value)
    if not str(node.tag).startswith("tag:yaml.org,2002:") or kind not in {
        "str", "int", "float", "bool", "null", "timestamp", "merge", "value",
    }:  # fmt: skip
        raise error(f"the tag '{node.tag}' is not allowed")
    if kind == "null":
        return None
    if kind == "bool":
        return text.lower() == "true"
    try:
        if kind == "int":
            return int(text.replace("_", ""), 16 if text.lower().startswith("0x") else 10)
        if kind == "float":
            return float(text.replace("_", "").replace(".inf", "inf").replace(".nan", "nan"))
    except ValueError:
        return text
    return text


def nearest(word: str, known: Iterable[str]) -> str:
    """'did you mean …' for a word nobody knows: the nearest known one, or a short list."""
    choices = sorted(known)
    close = difflib.get_close_matches(word, choices, n=1, cutoff=0.5)
    if close:
        return f"did you mean '{close[0]}'?"
    if len(choices) <= 12:
        return "known: " + ", ".join(choices)
    return ""


def explain_validation(
    problem: ValidationError, source: Located, base: Path, keys: Callable[[Path], Iterable[str]]
) -> list[tuple[str, Place, str]]:
    """Turn pydantic's findings into (what, place, what would be right), one each.

    Args:
        problem: what pydantic raised for the value standing at `base` in `source`.
        source: the located data.
        base: path of the validated value.
        keys: given a path, the keys that a mapping there may have.
    """
    found: list[tuple[str, Place, str]] = []
    # An unknown key first: the missing one that comes with it is mostly the same slip.
    errors = sorted(problem.errors(include_url=False), key=lambda one: one["type"] != _UNKNOWN)
    for item in errors:
        path = (*base, *_real(item["loc"], source, base))
        kind, given = item["type"], item.get("input")
        name = str(item["loc"][-1]) if item["loc"] else ""
        place = source.place(path)
        right = ""
        if kind == _UNKNOWN:
            what, right = f"'{name}' is not a known key", nearest(name, keys(path[:-1]))
        elif kind == "missing":
            what, right = f"'{name}' is missing", f"add '{name}:'"
            place = source.place(path[:-1])
        elif kind in ("literal_error", "enum") and isinstance(given, str):
            words = str(item.get("ctx", {}).get("expected", ""))
            what = f"'{given}' cannot stand here"
            right = nearest(given, words.split("'")[1::2])
        else:
            message = str(item["msg"]).removeprefix("Value error, ")
            shown = f" (given: {given!r})" if isinstance(given, str | int | float) else ""
            what, _, right = message.partition("; ")
            what = f"{what.removeprefix('Input ')}{shown}"
        found.append((what, place, right))
    return found


def _real(loc: tuple[int | str, ...], source: Located, base: Path) -> Path:
    """Drop the union tags that pydantic mixes into a location; keep the steps the data has."""
    path: Path = ()
    value: Any = source.data
    for step in base:
        value = value[step]
    for position, step in enumerate(loc):
        last = position == len(loc) - 1
        inner: Any = None
        if isinstance(value, dict):
            inner = value.get(step)
        elif isinstance(value, list) and isinstance(step, int) and step < len(value):
            inner = value[step]
        # A step into nothing, or into a plain value with more steps to come, is a union's tag.
        if not last and not isinstance(inner, dict | list):
            continue
        value = inner
        path = (*path, step)
    return path
