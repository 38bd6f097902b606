"""A visit named on the command line: a file, or an id in the casebook."""

from __future__ import annotations

import os.path

from stillflow.casebook.files import load_visit, locate
from stillflow.engine import Session
from stillflow.engine.ruleset import Knowledge


def file_session(name: str, knowledge: Knowledge) -> Session:
    """The session of a visit file.

    Raises:
        InputError: the file cannot be used; with file and line.
    """
    with locate(name):
        return Session(knowledge, load_visit(name))


def any_visit(name: str, knowledge: Knowledge, db: str | None) -> Session:
    """The session of a visit file if there is such a file, else of a kept visit with that id.

    Raises:
        InputError: neither is there, or it cannot be used.
    """
    looks_like_file = name.endswith((".yaml", ".yml")) or "/" in name
    if looks_like_file or os.path.exists(name):  # noqa: PTH110 - no, where Path raises
        return file_session(name, knowledge)
    from stillflow.casebook.store import Casebook

    return Session(knowledge, Casebook(db).find(name))
