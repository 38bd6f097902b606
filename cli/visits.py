"""A visit named on the command line: a file, an id in the casebook, or a worked case."""

from __future__ import annotations

import os.path
from typing import TYPE_CHECKING

from stillflow.casebook.cases import Case, named_case, play, read_case
from stillflow.casebook.files import locate, read_visit
from stillflow.casebook.parsing import text_of, written_as_case
from stillflow.engine import Session, Visit
from stillflow.engine.ruleset import Knowledge

if TYPE_CHECKING:
    from stillflow.casebook.store import Casebook


def as_played(case: Case, knowledge: Knowledge) -> Visit:
    """The whole visit, as the rules of today take it."""
    return play(case, knowledge).visit


def any_visit(name: str, knowledge: Knowledge, db: str | None) -> Session:
    """The session of what a person names; arguments and errors as `visit_and_home`."""
    return visit_and_home(name, knowledge, db)[0]


def visit_and_home(
    name: str, knowledge: Knowledge, db: str | None
) -> tuple[Session, Casebook | None]:
    """The session of what a person names, and the casebook, open, where it was found in one.

    A file of a visit or a worked case if there is such a file, else a shipped case of that name,
    else a kept visit with that id.

    Raises:
        InputError: none is there, or it cannot be used; of a file with its line.
    """
    looks_like_file = name.endswith((".yaml", ".yml")) or "/" in name
    if looks_like_file or os.path.exists(name):  # noqa: PTH110 - no, where Path raises
        text = text_of(name)
        if written_as_case(text):
            return Session(knowledge, as_played(read_case(text, name), knowledge)), None
        with locate(name):
            return Session(knowledge, read_visit(text, name)), None
    case = named_case(name)
    if case is not None:
        return Session(knowledge, as_played(case, knowledge)), None
    from stillflow.casebook.database import missing_file
    from stillflow.casebook.store import Casebook

    # Nothing is kept where there is no file, and looking for it makes none.
    casebook = Casebook("sqlite://" if missing_file(db) else db)
    return Session(knowledge, casebook.find(name)), casebook
