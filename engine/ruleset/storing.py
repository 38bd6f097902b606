"""Keeps loaded rule sets between runs, so that the same files are not read anew by every command.

Nothing is kept but where the variable `STILLFLOW_CACHE` names a folder; the command line does. What
is kept is named by a digest of the files, of the code that reads them and of the interpreter, and
begins with a digest of its own: damaged, foreign or out of date, it is as if it were not there.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

import pydantic

from stillflow.engine import base, ruleset
from stillflow.engine.ruleset.knowledge import Knowledge

_MOST = 8
"""Rule sets that are kept; the oldest go first. Each takes half a megabyte."""


def stored(texts: Sequence[tuple[int, str, str]], load: Callable[[], Knowledge]) -> Knowledge:
    """What `load` makes of rule files, from the cache where it is there, else put into it."""
    folder = os.environ.get("STILLFLOW_CACHE")
    if not folder:
        return load()
    file = Path(folder) / f"rules-{_key(texts)}"
    with suppress(Exception):  # whatever is wrong with it, the rule files are there
        kept = _read(file)
        if kept is not None:
            return kept
    knowledge = load()
    with suppress(OSError):
        _write(file, knowledge)
    return knowledge


def _key(texts: Sequence[tuple[int, str, str]]) -> str:
    code = [path for folder in (base, ruleset) for path in Path(folder.__path__[0]).glob("*.py")]
    stamps = sorted((path.name, path.stat().st_mtime_ns) for path in code)
    said = repr((sys.version, pydantic.VERSION, stamps, texts))
    return hashlib.sha256(said.encode(errors="surrogatepass")).hexdigest()[:32]


def _read(file: Path) -> Knowledge | None:
    with file.open("rb") as stream:
        found = os.fstat(stream.fileno())
        # Unpickling runs what it is told to: only what nobody else can have written.
        if os.name == "posix" and (found.st_uid != os.getuid() or found.st_mode & 0o022):
            return None
        digest, body = stream.read(32), stream.read()
    if hashlib.sha256(body).digest() != digest:
        return None
    knowledge = pickle.loads(body)
    return knowledge if isinstance(knowledge, Knowledge) else None


def _write(file: Path, knowledge: Knowledge) -> None:
    body = pickle.dumps(knowledge, pickle.HIGHEST_PROTOCOL)
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    new = file.with_suffix(f".{os.getpid()}")
    new.write_bytes(hashlib.sha256(body).digest() + body)
    new.chmod(0o600)
    new.replace(file)
    for old in sorted(file.parent.glob("rules-*"), key=lambda one: one.stat().st_mtime)[:-_MOST]:
        old.unlink()
