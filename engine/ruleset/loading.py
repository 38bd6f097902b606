"""Reads folders of rule files into one checked `Knowledge`.

Folders are read in order and an entry replaces an earlier one with the same section and id, or
changes or retires it, so a shop's own folder is a difference laid over the shipped one. All errors
of a load are gathered; the first is raised and carries the others.
"""

from __future__ import annotations

import hashlib
import json
import os.path
import stat
from collections.abc import Iterable, Sequence
from functools import lru_cache
from graphlib import CycleError
from importlib import resources
from pathlib import Path as FilePath

from stillflow.engine.base import SIZE_LIMIT, InputError, KnowledgeError, Place
from stillflow.engine.ruleset.gathering import SECTIONS, Gathered
from stillflow.engine.ruleset.knowledge import Knowledge, dependency_order, fact_kinds
from stillflow.engine.ruleset.references import References
from stillflow.engine.ruleset.storing import stored


def shipped_folder() -> FilePath:
    """Where the rules that ship with stillflow are."""
    return FilePath(str(resources.files("stillflow.rules").joinpath("sources.yaml"))).parent


def load_rules(folders: Sequence[str | FilePath] = ()) -> Knowledge:
    """Load the shipped rules, then any further folders over them.

    Args:
        folders: extra folders, later ones winning entry by entry.

    Raises:
        KnowledgeError: the first thing wrong, with the rest in `others`.
        InputError: a folder is not there.
    """
    return _load_cached((str(shipped_folder()), *(str(folder) for folder in folders)))


@lru_cache(maxsize=4)
def _load_cached(folders: tuple[str, ...]) -> Knowledge:
    return load_folders(folders)


def load_without(
    below: Sequence[str | FilePath], above: Sequence[str | FilePath], section: str, entry_id: str
) -> Knowledge:
    """What folders make of those below them, but for what they do to one entry.

    Args:
        below: folders over the shipped rules.
        above: folders over those.
        section: of the entry, such as `rules`.
        entry_id: its id; one that is only above goes, with what names it.

    Raises:
        KnowledgeError: without it the rules cannot be loaded. Others as `load_rules`.
    """
    gathered = Gathered()
    folders = (shipped_folder(), *below)
    for layer, name, text in texts_of(folders):
        gathered.read(layer, name, text)
    gathered.settle()
    old = gathered.raw[section].get(entry_id)
    for layer, name, text in texts_of(above):
        gathered.read(len(folders) + layer, name, text)
    last = {section: [old]} if old is not None else {"retire": [f"{section}/{entry_id}"]}
    gathered.read(len(folders) + len(above), "taken out", json.dumps(last))
    return _finish(gathered)


def load_folders(folders: Sequence[str | FilePath]) -> Knowledge:
    """Load exactly these folders, in order. Errors as `load_rules`."""
    texts = texts_of(folders)
    return stored(texts, lambda: load_texts(texts))


def texts_of(folders: Sequence[str | FilePath]) -> list[tuple[int, str, str]]:
    """The rule files of folders: number of the folder, name, text."""
    texts: list[tuple[int, str, str]] = []
    for layer, folder in enumerate(map(FilePath, folders)):
        if not os.path.isdir(folder):  # noqa: PTH112 - no, where Path raises
            raise InputError("there is no such folder of rules", Place(str(folder)))
        for path in sorted(folder.rglob("*.yaml")):
            name = path.relative_to(folder.parent).as_posix()
            texts.append((layer, name, _text_of(path, name)))
        if not any(one[0] == layer for one in texts):
            right = "rule files are named such as rules.yaml, not .yml or .YAML"
            raise InputError("no rule file is in this folder", Place(str(folder)), right)
    return texts


def _text_of(path: FilePath, name: str) -> str:
    """The text of a rule file. A pipe is not waited for, and no more is read than a file may be."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise OSError("not a file")
        with path.open(encoding="utf-8-sig") as stream:
            return stream.read(SIZE_LIMIT + 1)
    except UnicodeDecodeError:
        raise KnowledgeError("not a text file", Place(name), "save it as UTF-8") from None
    except OSError as problem:
        what = f"it cannot be read ({(problem.strerror or str(problem)).lower()})"
        right = "a rule file is a file that may be read; rename or remove this"
        raise KnowledgeError(what, Place(name), right) from None


def load_texts(texts: Iterable[tuple[int, str, str]]) -> Knowledge:
    """Load rule files given as (layer, name, text). Errors as `load_rules`.

    An id may stand once in a layer; a higher layer's entry replaces a lower one's.
    """
    gathered = Gathered()
    for layer, name, text in texts:
        gathered.read(layer, name, text)
    return _finish(gathered)


def _finish(gathered: Gathered) -> Knowledge:
    """The checked rule set, or the first error raised with the others on it."""
    gathered.settle()
    groups = gathered.entries
    if not gathered.errors:
        gathered.forget()
        facts = fact_kinds(
            groups["levels"].values(),
            groups["checks"].values(),
            groups["faults"],
            groups["rules"].values(),
        )
        References(gathered, facts).check()
    if not gathered.errors:
        try:
            dependency_order(groups["rules"])
        except CycleError as problem:
            circle: list[str] = problem.args[1]
            gathered.fail(
                f"these rules wait for each other's findings: {' <- '.join(circle)}",
                gathered.place("rules", circle[0]),
                "let one of them use plain facts only",
            )
    if gathered.errors:
        first, *others = gathered.blamed()
        raise KnowledgeError(first.what, first.place, first.right, tuple(others))
    ordered = {name: {key: group[key] for key in sorted(group)} for name, group in groups.items()}
    text = json.dumps(gathered.raw, sort_keys=True, ensure_ascii=False, default=str)
    return Knowledge(
        **{name: ordered[name] for name in SECTIONS if name != "levels"},
        levels=tuple(groups["levels"].values()),
        places={key: gathered.place(*key) for key in gathered.where},
        files=tuple(gathered.files),
        replaced=tuple(gathered.replaced),
        digest=hashlib.sha256(text.encode()).hexdigest()[:16],
    )
