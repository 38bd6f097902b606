"""What a model refuses, said to somebody who writes YAML and no program.

Each refusal becomes what is wrong, where it stands, and what would be right. Reading the file is
left to `located`, what no YAML parser can read to `misread`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from math import log
from typing import TYPE_CHECKING, Any

from stillflow.engine.base.errors import InputError, Place
from stillflow.engine.base.located import Keys, Located, Path, nearest
from stillflow.engine.base.misread import CURLY, CURLY_QUOTES
from stillflow.engine.base.scales import Strength
from stillflow.engine.base.units import quantity

if TYPE_CHECKING:
    from pydantic import ValidationError

_UNKNOWN = "extra_forbidden"
_LONGEST = 40
_OWN = "computed"
"""A strength that is never written: where it holds, the key is left out."""

_ID_BEGINS = "begin with a small letter; then small letters, digits and hyphens"
_ID = f"{_ID_BEGINS}, such as 'hose-look'"
_TEXT = "write text; put it in quotes where it is digits or has a colon in it"
_WANTED = (
    (("string",), _TEXT),
    (("float", "int", "decimal", "finite"), "write a number such as 90"),
    (("bool",), "write true or false"),
    (("tuple", "list", "set"), "write a list: [one, another], or one '- ' line for each"),
    (("dict", "model", "mapping", "dataclass"), "write 'key: value' lines, indented below it"),
    (("date", "time"), "write a UTC time such as 2025-03-04T09:30:00Z"),
)
"""How a kind of refusal begins in pydantic's list, and how a person is told."""

_SIZES: Mapping[str, tuple[str, str, str]] = {
    "greater_than": ("gt", "small", "more than"),
    "greater_than_equal": ("ge", "small", "at least"),
    "less_than": ("lt", "large", "less than"),
    "less_than_equal": ("le", "large", "at most"),
}


def explain_validation(
    problem: ValidationError, source: Located, base: Path, known: Keys
) -> Iterator[tuple[str, Place, str]]:
    """Turn pydantic's findings into (what, place, what would be right), one each, when asked for.

    Args:
        problem: what pydantic raised for the value standing at `base` in `source`.
        source: the located data.
        base: path of the validated value.
        known: of the model that was to be.
    """
    # An unknown key first: the missing one that comes with it is mostly the same slip.
    errors = sorted(problem.errors(include_url=False), key=lambda one: one["type"] != _UNKNOWN)
    paths = [(*base, *_real(one["loc"], source, base)) for one in errors]
    told: set[Path] = set()
    for item, path in zip(errors, paths, strict=True):
        kind, name = item["type"], str(item["loc"][-1]) if item["loc"] else ""
        # A list whose only item is refused is not empty as well.
        inner = kind == "too_short" and any(
            len(one) > len(path) and one[: len(path)] == path for one in paths
        )
        if inner or (path in told and kind not in (_UNKNOWN, "missing")):
            continue
        told.add(path)
        if kind == _UNKNOWN:
            yield _unknown(name, known, path[len(base) : -1], source.place(path))
        elif kind == "missing":
            yield f"'{name}' is missing", source.place(path[:-1]), f"add '{name}:'"
        else:
            same = [one["type"] for one, at in zip(errors, paths, strict=True) if at == path]
            what, right = _refused(
                item, str(path[-1]) if path else "", same, known.unit(path[len(base) :])
            )
            yield what, source.place(path), right


def _unknown(name: str, known: Keys, path: Path, place: Place) -> tuple[str, Place, str]:
    if re.search(f"[{CURLY}]", name):
        # Of a sentence in braces what comes after its comma is taken for a key.
        return CURLY_QUOTES[0], place, CURLY_QUOTES[1]
    keys = known.at(path)
    homes = [key for key in keys if name in (*known.at((*path, key)), *known.at((*path, key, 0)))]
    begun = re.match(r"(\w+)[: ]+(.*)", name, re.DOTALL)
    if begun and begun[1] in keys:
        right = f"write '{begun[1]}: {begun[2][:_LONGEST] or '...'}', with a colon and a space"
    elif (joined := {"and": "all", "or": "any"}.get(name.lower())) in keys:
        right = f"join conditions with '{joined}:' and a list of them"
    elif homes:
        right = f"it belongs under '{homes[0]}:'"
    else:
        right = nearest(name, keys) or f"known: {', '.join(keys)}"
    return f"'{name}' is not a known key", place, right


def _refused(item: Mapping[str, Any], name: str, kinds: list[str], unit: str) -> tuple[str, str]:
    """What is wrong with a value, and what would be right."""
    kind, given = str(item["type"]), item.get("input")
    context: Mapping[str, Any] = item.get("ctx") or {}
    shown = _shown(given)
    misfit = f"{shown} does not fit"
    if kind in ("literal_error", "enum"):
        words = str(context.get("expected", ""))
        named = words.split("'")[1::2]
        if not named:
            return misfit, f"it should be {words}"
        if name == "strength" and isinstance(given, int | float) and given >= 1:
            return f"{shown} cannot stand here", f"write the word for it: {_strength(given)}"
        return f"{shown} cannot stand here", nearest(str(given), [w for w in named if w != _OWN])
    if kind == "union_tag_invalid":
        what = f"'{context['tag']}' is not a {str(context['discriminator']).strip(chr(39))}"
        return what, nearest(str(context["tag"]), str(context["expected_tags"]).split("'")[1::2])
    if kind == "union_tag_not_found":
        key = str(context["discriminator"]).strip("'")
        return f"'{key}' is missing", f"add '{key}:'"
    if kind == "value_error" or kind.endswith("_shape"):
        message = str(item["msg"]).removeprefix("Value error, ")
        what, _, right = message.partition("; ")
        if kind == "condition_shape" and isinstance(given, dict) and len(given) == 1:
            [(fact, value)] = given.items()
            return what, f"write {{fact: {fact}, is: {value}}}" if "." in str(fact) else right
        return f"{what} (given: {shown})" if _plain(given) else what, right
    if kind == "string_pattern_mismatch" and name.isdigit():
        return f"{shown} is no id", "name the entry by its id: small letters, digits and hyphens"
    if kind == "string_pattern_mismatch":
        return _misnamed(str(given), str(context["pattern"]))
    if kind == "too_long":
        count = context["actual_length"]
        many = (
            "too many stand here" if count is None else f"{count:,} stand here, which is too many"
        )
        return many, f"write at most {context['max_length']:,}"
    if kind == "too_short" or (isinstance(given, list) and not given and "too_short" in kinds):
        least = int(context.get("min_length", 1))
        return "too few stand here", f"name at least {'one' if least == 1 else least}"
    if kind == "string_too_long":
        return "this is too long", f"write at most {context['max_length']:,} characters"
    if kind == "string_too_short":
        return f"{shown} is too short", f"write at least {context['min_length']} characters"
    if kind in _SIZES:
        bound, size, limit = _SIZES[kind]
        number = f"{context[bound]:g}"
        right = f"write {limit} {number}{f' {unit}' if unit else ''}"
        if context[bound] <= 1 and size == "large" and isinstance(given, int | float) and given > 1:
            right += f"; if that is per cent, write {given / 100:g}"
        return f"{shown} is too {size}", right
    if given is None:
        misfit = "nothing stands here"
    if name == "id":
        return misfit, _ID
    if _says(kinds, "string") and _says(kinds, "tuple", "list"):
        return misfit, "write a word, or a list of words in [ ]"
    if len(set(kinds)) > 1 and _says(kinds, "string"):
        several = {"is": "one_of", "is_not": "none_of"}.get(name)
        if several and isinstance(given, list):
            return misfit, f"'{name}:' takes one; for a list write '{several}: [...]'"
        return misfit, "write one value, without brackets"
    if _says(kinds, "float", "int", "finite") and isinstance(given, str):
        return misfit, _number(given, unit)
    if _says(kinds, "tuple", "list") and isinstance(given, str):
        return misfit, f"write a list: [{given[:_LONGEST]}], or one '- ' line for each"
    said = (words for names, words in _WANTED if _says(kinds, *names))
    return misfit, next(said, "compare it with a neighbour")


def _says(kinds: list[str], *names: str) -> bool:
    return any(kind.startswith(names) for kind in kinds)


def _misnamed(given: str, pattern: str) -> tuple[str, str]:
    bare = re.sub(r"[^a-z0-9]+", "-", given.lower()).strip("-")
    if pattern.startswith(r"^finding"):
        bare = bare.removeprefix("finding-")
        return f"{_shown(given)} cannot be the name of a finding", f"write 'finding.{bare}'"
    if "." in pattern:
        return f"{_shown(given)} cannot be a fact", "small letters, such as answer.hose-look"
    bare = bare.lstrip("0123456789-")
    right = "begin with a small letter; then small letters, digits and hyphens"
    return (
        f"{_shown(given)} cannot be an id",
        f"{right}, such as '{bare[:_LONGEST] or 'hose-look'}'",
    )


def _number(given: str, unit: str) -> str:
    """What would be right in place of text where a number is wanted."""
    alone = "write the number alone"
    parts = re.fullmatch(r"\s*(\d+)\s*([/:])\s*(\d+)\s*(\D*)", given[:100])
    if parts and parts[2] == "/" and int(parts[3]):
        return f"write it as a decimal: {int(parts[1]) / int(parts[3]):.4g}"
    if parts and parts[2] == ":" and unit == "minutes":
        return f"{alone}, in minutes: {int(parts[1]) + int(parts[3]) / 60:.3g}"
    match = re.fullmatch(r"\s*([+-]?\d*[.,]?\d+)\s*(.*?)\s*", given[:100])
    if match is None:
        return f"write a number such as 90{f', in {unit}' if unit else ''}"
    number, rest = float(match[1].replace(",", ".")), match[2]
    if rest == "%":
        return f"write the share as a number: {number / 100:g}"
    if not rest:
        return f"a decimal has a point: {number:g}"
    if unit in ("inH2O", "cfm", "foot", "inch"):
        try:
            number = quantity(given, unit, "", float("-inf"), float("inf"))
        except InputError:
            return f"{alone}, in {unit}"
    return f"{alone}{f', in {unit}' if unit else ''}: {float(f'{number:.3g}'):g}"


def _strength(times: float) -> str:
    """The word that stands for a factor."""
    words = [one for one in Strength if one is not Strength.COMPUTED]
    return min(words, key=lambda one: abs(log(one.factor / times))).value


def _plain(value: object) -> bool:
    return isinstance(value, str | int | float)


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return f"'{str(value).lower()}'"
    if isinstance(value, str):
        return f"'{value if len(value) <= _LONGEST else value[: _LONGEST - 3] + '...'}'"
    return f"{value!r:.40}" if _plain(value) else "what stands here"


_MEMBER = re.compile(r"str|float|bool|int|constrained-\w+|function-.*|\w+\[.*\]")
"""What pydantic calls the plain members of a union."""


def _real(loc: tuple[int | str, ...], source: Located, base: Path) -> Path:
    """Drop the union tags that pydantic mixes into a location; keep the steps the data has."""
    path: Path = ()
    value: Any = source.data
    for step in base:
        value = value[step]
    for position, step in enumerate(loc):
        if isinstance(step, str) and step.startswith("<"):
            continue  # the name of one of our own unions' members
        last = position == len(loc) - 1
        inner: object = None
        if isinstance(value, dict):
            inner = value.get(step)
        elif isinstance(value, list) and isinstance(step, int) and step < len(value):
            inner = value[step]
        # A step into nothing, or into a plain value with more steps to come, is a union's tag.
        if not last and not isinstance(inner, dict | list):
            continue
        if last and not isinstance(value, dict if isinstance(step, str) else list):
            continue
        if last and isinstance(step, str) and step not in value and _MEMBER.fullmatch(step):
            continue
        value = inner
        path = (*path, step)
    return path
