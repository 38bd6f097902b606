"""YAML read into plain data that remembers where each value stood.

Holds the safe reader used for rule files and visit files alike: no tags, no anchors, no duplicate
keys, one document. What the data means is left to the models that take it.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from stillflow.engine.base.errors import InputError, Place, StillflowError

if TYPE_CHECKING:
    from pydantic import BaseModel

SIZE_LIMIT = 1_000_000
"""Characters. A visit is a few thousand, the longest rule file a hundred thousand."""

_PURE_LIMIT = 200_000
"""Characters the pure parser is given, two seconds' worth."""

DEPTH_LIMIT = 40
"""Levels of a file. A rule has eight."""

Path = tuple[str | int, ...]
Found = TypeVar("Found")


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
        return Place(self.file, self.lines.get(known, 1), ".".join(self._said(path)))

    def _said(self, path: Path) -> Iterator[str]:
        """The steps of a path; in an entry what is listed goes by its id where it has one."""
        value = self.data
        for depth, step in enumerate(path):
            inner = isinstance(value, list) and isinstance(step, int) and step < len(value)
            value = value[step] if inner or (isinstance(value, dict) and step in value) else None
            name = value.get("id") if depth > 1 and inner and isinstance(value, dict) else None
            yield str(name if isinstance(name, str) and name else step)


def read_yaml(text: str, file: str, error: Callable[[str, Place, str], StillflowError]) -> Located:
    """Parse one YAML document.

    The C parser is asked first. It is ten times faster but stricter than YAML 1.2 about colons in
    flow collections, so whatever it refuses the pure parser decides, unless that would take long.

    Args:
        text: the document.
        file: the name people know it by, used in errors.
        error: the class of error to raise, called with (what, place, what would be right).

    Raises:
        StillflowError: of the given class, with the line.
    """
    from ruamel.yaml import YAML
    from ruamel.yaml.error import YAMLError

    if len(text) > SIZE_LIMIT:
        raise error(
            f"the file is too long ({len(text):,} characters)",
            Place(file),
            f"a file here has at most {SIZE_LIMIT:,} characters",
        )
    try:
        try:
            return _Builder(file, error).build(_quick(text))
        except (YAMLError, UnicodeEncodeError):
            if len(text) > _PURE_LIMIT:
                raise
        return _Builder(file, error).build(YAML(typ="safe", pure=True).parse(text))
    except (YAMLError, UnicodeEncodeError) as problem:
        from stillflow.engine.base.misread import yaml_words

        what, line, right = yaml_words(problem, text)
        raise error(f"not valid YAML: {what}", Place(file, line), right) from None


def _quick(text: str) -> Iterator[_Event]:
    """The events by the C parser, without the generator around it that costs a third again."""
    try:
        from ruamel.yaml.cyaml import CParser  # type: ignore[attr-defined]
    except ImportError:
        from ruamel.yaml import YAML

        yield from YAML(typ="safe", pure=True).parse(text)
        return
    parser = CParser(text)
    while (event := parser.get_event()) is not None:
        yield event


class _Mark(Protocol):
    @property
    def line(self) -> int: ...


class _Event(Protocol):
    """What is read of an event; scalars have a value, a tag and whether that is implied."""

    @property
    def start_mark(self) -> _Mark: ...
    @property
    def anchor(self) -> object: ...
    @property
    def value(self) -> object: ...
    @property
    def tag(self) -> object: ...
    @property
    def implicit(self) -> tuple[bool, bool]: ...


class _Builder:
    """Builds plain data from the events of a parser, which come without being resolved.

    From events rather than from a tree of nodes: it takes a third of the time, and a file that
    nests without end is refused before it is read.
    """

    def __init__(self, file: str, error: Callable[[str, Place, str], StillflowError]) -> None:
        self._file = file
        self._error = error
        self._lines: dict[Path, int] = {}

    def build(self, events: Iterator[_Event]) -> Located:
        root: object = _ABSENT
        open_: list[tuple[object, Path]] = []
        holder: object = None
        path: Path = ()
        key: str | None = None
        documents = 0
        for event in events:
            kind = type(event).__name__
            if kind == "DocumentStartEvent":
                documents += 1
                if documents > 1:
                    what = "a line '---' begins a second set of entries here"
                    raise self._fault(what, event, "take that line out")
            if kind in ("MappingEndEvent", "SequenceEndEvent"):
                open_.pop()
                holder, path = open_[-1] if open_ else (None, ())
                continue
            if kind not in _VALUES:
                continue
            if kind == "AliasEvent" or event.anchor is not None:
                raise self._fault("an alias is not allowed here", event, _QUOTED)
            if isinstance(holder, dict) and key is None:
                key = self._key(event, kind, holder)
                self._lines[(*path, key)] = event.start_mark.line + 1
                continue
            plain = kind == "ScalarEvent"
            value: object = self._scalar(event) if plain else _EMPTY[kind]()
            here = path
            if isinstance(holder, dict):
                assert key is not None
                if value is None and key.isdigit():
                    self._comma(event, key, holder)
                # The value stands at its key's line, which is noted already.
                holder[key], here, key = value, (*path, key), None
            else:
                if isinstance(holder, list):
                    here = (*path, len(holder))
                    holder.append(value)
                else:
                    root = value
                self._lines[here] = event.start_mark.line + 1
            if not plain:
                open_.append((value, here))
                holder, path = value, here
                if len(open_) > DEPTH_LIMIT:
                    raise self._fault("nested too deeply", event, "a few levels are enough")
        if root is _ABSENT:
            raise self._error("the file is empty", Place(self._file), "")
        return Located(self._file, root, self._lines)

    def _fault(self, what: str, event: _Event, right: str) -> StillflowError:
        return self._error(what, Place(self._file, event.start_mark.line + 1), right)

    def _key(self, event: _Event, kind: str, holder: Mapping[str, object]) -> str:
        if kind != "ScalarEvent":
            raise self._fault("a key must be a word", event, "")
        key = str(event.value)
        if key in holder:
            raise self._fault(f"the key '{key}' stands twice", event, "keep one")
        return key

    def _comma(self, event: _Event, key: str, holder: Mapping[str, object]) -> None:
        """Refuse `{minutes: 2,5}`, which YAML takes for 2 minutes and an empty key 5."""
        before = list(holder.values())[-1] if holder else None
        if isinstance(before, int) and not isinstance(before, bool):
            what = f"'{before},{key}' is read as two things"
            raise self._fault(what, event, f"a decimal has a point: {before}.{key}")

    def _scalar(self, event: _Event) -> str | float | bool | None:
        text = str(event.value)
        tag = event.tag
        if tag is not None and str(tag) not in ("!", "tag:yaml.org,2002:str"):
            raise self._fault(f"a value cannot begin with '{tag}'", event, _QUOTED)
        if not event.implicit[0] or tag is not None:
            return text
        if text in _PLAIN:
            return _PLAIN[text]
        if text[0] not in _NUMBERS_BEGIN:
            return text
        if len(text) > 100 and (_INTEGER.match(text) or _FLOAT.match(text)):
            raise self._fault("this number is too long", event, "write at most 100 digits")
        if _INTEGER.match(text):
            return int(text.replace("_", ""), 16 if "x" in text else 10)
        if _FLOAT.match(text):
            return float(text.replace("_", "").replace(".inf", "inf").replace(".nan", "nan"))
        return text


_QUOTED = "write the value out, in quotation marks where it begins with *, & or !"
_ABSENT = object()
_EMPTY: Mapping[str, Callable[[], object]] = {"MappingStartEvent": dict, "SequenceStartEvent": list}
_NUMBERS_BEGIN = frozenset("-+.0123456789")
_VALUES = ("ScalarEvent", "MappingStartEvent", "SequenceStartEvent", "AliasEvent")

# The core schema of YAML 1.2 (10.3.2), with underscores in numbers as the parser allows them.
_PLAIN: dict[str, bool | None] = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}
_INTEGER = re.compile(r"[-+]?[0-9][0-9_]*$|0x[0-9a-fA-F]+$")
_FLOAT = re.compile(
    r"[-+]?(\.[0-9][0-9_]*|[0-9][0-9_]*(\.[0-9_]*)?)([eE][-+]?[0-9]+)?$|[-+]?\.inf$|\.nan$"
)


def nearest(word: str, known: Iterable[str]) -> str:
    """'did you mean …' for a word nobody knows: the nearest known one, or a short list."""
    choices = sorted(known)
    few = len(choices) <= 12
    close = difflib.get_close_matches(
        word, choices, n=1, cutoff=0.75 if few and len(word) > 3 else 0.5
    )
    if close:
        return f"did you mean '{close[0]}'?"
    return "known: " + ", ".join(choices) if few else ""


def named(known: Mapping[str, Found], name: str, what: str, place: Place | None = None) -> Found:
    """The one of that name.

    Raises:
        InputError: there is none; names the nearest.
    """
    if name not in known:
        raise InputError(f"there is no {what} '{name}'", place, nearest(name, known))
    return known[name]


class Keys:
    """Which keys a mapping may have at a path, as the model's JSON Schema says."""

    def __init__(self, model: type[BaseModel]) -> None:
        self._schema = _schema(model)

    def at(self, path: Path) -> list[str]:
        """The keys; none where no mapping may stand."""
        return list(dict.fromkeys(key for one in self._at(path) for key in self._keys(one)))

    def unit(self, path: Path) -> str:
        """The unit a number at a path is in; empty where the model does not say."""
        return next((str(one["unit"]) for one in self._at(path) if "unit" in one), "")

    def _at(self, path: Path) -> list[dict[str, Any]]:
        found = [self._schema]
        for step in path:
            found = [inner for one in found for inner in self._step(one, step)]
        return [one for part in found for one in self._choices(part)]

    def _step(self, schema: dict[str, Any], step: str | int) -> Iterator[dict[str, Any]]:
        for one in self._choices(schema):
            if isinstance(step, int):
                inner = one.get("items")
            else:
                inner = one.get("properties", {}).get(step, one.get("additionalProperties"))
            if isinstance(inner, dict):
                yield inner

    def _choices(self, schema: dict[str, Any]) -> Iterator[dict[str, Any]]:
        if "$ref" in schema:
            yield from self._choices(self._schema["$defs"][schema["$ref"].rpartition("/")[2]])
        elif "anyOf" in schema or "oneOf" in schema:
            for one in schema.get("anyOf") or schema["oneOf"]:
                yield from self._choices(one)
        else:
            yield schema

    def _keys(self, schema: dict[str, Any]) -> Iterable[str]:
        if "propertyNames" in schema:
            return [key for one in self._choices(schema["propertyNames"]) for key in one["enum"]]
        return list(schema.get("properties", {}))


@lru_cache(maxsize=32)
def _schema(model: type[BaseModel]) -> dict[str, Any]:
    return model.model_json_schema(by_alias=True)
