"""A file that a person wrote, read into a model: text from disk, YAML, then a pydantic model.

Whatever is wrong comes back as one InputError that names file, line and key and says what would
be right. What the models mean is left to `files` (visits) and `cases` (worked cases).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path as FilePath
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from stillflow.engine.base import (
    SIZE_LIMIT,
    InputError,
    Keys,
    Located,
    Path,
    Place,
    explain_validation,
    read_yaml,
)

Model = TypeVar("Model", bound=BaseModel)


def written_as_case(text: str) -> bool:
    """Whether a file's text is that of a worked case: a visit has neither of its keys."""
    return re.search(r"^(?:finds|expect)[ \t]*:", text, re.MULTILINE) is not None


def text_of(path: str | FilePath) -> str:
    """The text of a file that a person names, refused unread if it is too large.

    Raises:
        InputError: no such file, a folder, not to be read, larger than 1,000,000 bytes, or not
            UTF-8 text.
    """
    path = FilePath(path)
    place = Place(str(path))
    try:
        if path.is_dir():
            raise InputError("this is a folder", place, "name a file in it")
        size = path.stat().st_size
        if size <= SIZE_LIMIT:
            # A pipe has no size, so the reading is bounded too.
            with path.open("rb") as stream:
                raw = stream.read(SIZE_LIMIT + 1)
            size = len(raw)
    except FileNotFoundError:
        raise InputError("there is no such file", place, "check the name and the folder") from None
    except OSError as problem:
        reason = (problem.strerror or str(problem)).lower()
        raise InputError(f"it cannot be read ({reason})", place, "name another file") from None
    if size > SIZE_LIMIT:
        raise InputError(
            f"the file is too large ({size:,} bytes or more)",
            place,
            f"a file here has at most {SIZE_LIMIT:,} bytes",
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("not a text file", place, "save it as text in UTF-8") from None


def read_mapping(text: str, name: str, example: str) -> Located:
    """Read a YAML document that must be a mapping.

    Args:
        text: the document.
        name: what people know the file by, for errors.
        example: the first line of a good file, said where nothing nearer can be.

    Raises:
        InputError: too long, not YAML, empty, or not a mapping.
    """

    def wrong(what: str, place: Place, right: str) -> InputError:
        return InputError(what, place, right or f"write 'key: value' lines such as '{example}'")

    source = read_yaml(text, name, wrong)
    if not isinstance(source.data, dict):
        raise wrong("not a mapping of keys to values", source.place(()), "")
    return source


def to_model(source: Located, model: type[Model]) -> Model:
    """Turn what was read into a model. A key with nothing after it counts as not given.

    Raises:
        InputError: the first thing wrong.
    """
    known = Keys(model)
    try:
        _refuse_flags(source, source.data, ())
        return model.model_validate(_given(source.data, (), known))
    except RecursionError:
        right = "a few levels are enough"
        raise InputError("nested too deeply", Place(source.file), right) from None
    except ValidationError as problem:
        what, place, right = next(explain_validation(problem, source, (), known))
        raise InputError(what, _present(place, source), right) from None


@contextmanager
def placed_in(source: Located) -> Iterator[None]:
    """Give InputErrors that only name a key of a file their file and line."""
    try:
        yield
    except InputError as problem:
        if problem.place.file or not problem.place.key:
            raise
        place = _present(problem.place, source)
        if not place.key:
            place = Place(source.file, None, problem.place.key)
        raise InputError(problem.what, place, problem.right) from None


def in_utc(moment: datetime | None, place: Place) -> datetime | None:
    """A moment as UTC; one without a time zone is refused, since nobody can tell which was meant.

    Raises:
        InputError: no time zone.
    """
    if moment is None:
        return None
    if moment.utcoffset() is None:
        raise InputError(
            f"the time {moment.isoformat()} has no time zone",
            place,
            f"write it in UTC, as {moment.isoformat()}Z",
        )
    try:
        return moment.astimezone(UTC)
    except OverflowError:
        what = f"the time {moment.isoformat()} cannot be written in UTC"
        raise InputError(what, place, "write a year from 1 to 9999 in UTC") from None


def _given(data: Any, path: Path, known: Keys) -> Any:
    """The data without known keys that have nothing after them."""
    if isinstance(data, list):
        return [_given(item, (*path, index), known) for index, item in enumerate(data)]
    if not isinstance(data, dict):
        return data
    blank = {key for key, value in data.items() if value is None}
    blank = blank and blank & set(known.at(path))
    return {key: _given(v, (*path, key), known) for key, v in data.items() if key not in blank}


_FLAGS = (("done",), ("found",), ("described",))
"""Last step of the paths that may hold true or false."""


def _refuse_flags(source: Located, data: Any, path: Path) -> None:
    """Refuse true and false wherever they would pass for 1 and 0."""
    if isinstance(data, bool) and path[-1:] not in _FLAGS:
        shown = str(data).lower()
        raise InputError(
            f"'{shown}' is not a value here", source.place(path), "write a word or a number"
        )
    if isinstance(data, dict | list):
        for step, value in data.items() if isinstance(data, dict) else enumerate(data):
            _refuse_flags(source, value, (*path, step))


def _present(place: Place, source: Located) -> Place:
    """The place in the file: the key, or what encloses it where the file has no such key."""
    paths = {".".join(str(step) for step in path): path for path in source.lines}
    key = place.key
    while key not in paths:
        key = key.rpartition(".")[0]
    return source.place(paths[key])
