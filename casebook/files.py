"""Visit files: YAML that a person can read and write, losslessly turned into visits and back.

What a visit holds is modelled in `stillflow.engine.inference`; the ids of checks and faults in it
are looked up when a session takes it in, and `locate` gives such errors their file and line.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from enum import StrEnum
from functools import lru_cache
from io import StringIO
from pathlib import Path as FilePath
from typing import Any

from stillflow.casebook.parsing import in_utc, placed_in, read_mapping, text_of, to_model
from stillflow.engine.base import InputError, Located, Path, Place
from stillflow.engine.inference import Visit

FORMAT = 1
"""Number of the visit file's format, the value of its key `stillflow`."""

_FIRST_LINE = f"stillflow: {FORMAT}"


def load_visit(path: str | FilePath) -> Visit:
    """Read a visit file from disk. Its times come back in UTC.

    Raises:
        InputError: the file cannot be read, is too large, or is not a visit; see `read_visit`.
    """
    return read_visit(text_of(path), str(path))


def read_visit(text: str, name: str) -> Visit:
    """Read the text of a visit file. Its times come back in UTC.

    Args:
        text: the file's text.
        name: what people know the file by, for errors.

    Raises:
        InputError: not YAML, empty, made by a newer stillflow, an unknown key, a value that
            cannot be, or a time without a time zone. Names file, line and key.
    """
    return _read(text, name)[0]


@contextmanager
def locate(path: str | FilePath) -> Iterator[None]:
    """Give errors about a visit file that only name a key in it their file and line.

    A session that refuses an event knows it only as `events.3.check`. The file is read again,
    and only when something went wrong.

        with locate(path):
            session = Session(load_rules(), load_visit(path))

    Raises:
        InputError: the same error, placed.
    """
    try:
        yield
    except InputError as problem:
        if problem.place.file or not problem.place.key:
            raise
        if not FilePath(path).is_file():  # a pipe cannot be read twice
            place = Place(str(path), None, problem.place.key)
            raise InputError(problem.what, place, problem.right) from None
        source = _read(text_of(path), str(path))[1]
        with placed_in(source):
            raise


def visit_text(visit: Visit) -> str:
    """A visit as the text of a visit file: keys in the model's order, what is not known left out.

    `read_visit` gives back an equal visit.
    """
    known = visit.model_dump(by_alias=True, exclude_defaults=True, exclude_none=True)
    return yaml_text({"stillflow": visit.stillflow, **known})


def yaml_text(data: Mapping[str, Any]) -> str:
    """A mapping as YAML that a person can read, its keys in their order."""
    from ruamel.yaml import YAML

    yaml: Any = YAML(typ="safe", pure=True)
    yaml.Representer = _representer()
    yaml.default_flow_style = False
    yaml.allow_unicode = True
    yaml.sort_base_mapping_type_on_output = False
    yaml.width = 100
    yaml.indent(mapping=2, sequence=4, offset=2)
    stream = StringIO()
    yaml.dump(_plain(data), stream)
    return stream.getvalue()


@lru_cache(maxsize=1)
def visit_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the visit file."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **Visit.model_json_schema(by_alias=True),
    }


def _read(text: str, name: str) -> tuple[Visit, Located]:
    source = read_mapping(text, name, _FIRST_LINE)
    given = source.data.get("stillflow")
    if isinstance(given, int | float) and given > FORMAT:
        raise InputError(
            f"visit file format {given:g} is of a newer stillflow",
            source.place(("stillflow",)),
            f"update stillflow; this one reads format {FORMAT}",
        )
    visit = to_model(source, Visit)
    events = tuple(
        event.model_copy(update={"at": _moment(event.at, source, ("events", index, "at"))})
        for index, event in enumerate(visit.events)
    )
    opened = _moment(visit.opened, source, ("opened",))
    return visit.model_copy(update={"opened": opened, "events": events}), source


def _moment(moment: datetime | None, source: Located, path: Path) -> datetime | None:
    """The moment in UTC, written as a date and time and not as a bare number."""
    given = source.data
    for step in path:
        given = given.get(step) if isinstance(given, dict) else given[step]
    if isinstance(given, int | float):
        right = "write a UTC time such as 2025-03-04T09:30:00Z"
        raise InputError(f"{given} is not a time", source.place(path), right)
    return in_utc(moment, source.place(path))


def _plain(value: Any) -> Any:
    """What YAML can write, whole numbers without a point."""
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    if isinstance(value, str):
        return str(value)  # a word of a list of ours is written as the word that it is
    return value


def _representer() -> Any:
    """How times and text are written; of its own class, so that no other writer is changed."""
    from ruamel.yaml.representer import SafeRepresenter

    class Representer(SafeRepresenter):
        def ignore_aliases(self, data: Any) -> bool:
            return True

    def moment(writer: Any, value: datetime) -> Any:
        written = value.astimezone(UTC).isoformat().replace("+00:00", "Z")
        return writer.represent_scalar("tag:yaml.org,2002:timestamp", written)

    def text(writer: Any, value: str) -> Any:
        style = None
        if not value.replace("\n", "").isprintable():
            style = '"'  # the one style that can escape
        elif "\n" in value:
            style = "|"
        return writer.represent_scalar("tag:yaml.org,2002:str", value, style=style)

    Representer.add_representer(datetime, moment)
    Representer.add_representer(str, text)
    return Representer
