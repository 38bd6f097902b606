"""The few errors stillflow raises at people.

Every message says what was wrong, where (file, line, key) and what would be right, in one line;
the command line prints it as it is and exits with code 2.
"""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Place:
    """Where in a file something stands: a name people know the file by, a line from 1, a key."""

    file: str = ""
    line: int | None = None
    key: str = ""

    def __str__(self) -> str:
        spot = self.file
        if self.line is not None:
            spot = f"{spot}:{self.line}" if spot else f"line {self.line}"
        if self.key:
            spot = f"{spot}, {_counted(self.key)}" if spot else _counted(self.key)
        return spot


def _counted(key: str) -> str:
    """A key as people say it, who count from one: `then.0.strength` is `then 1, strength`."""
    said = re.sub(r"\.(\d+)(?=\.|$)", lambda step: f" {int(step[1]) + 1},", key)
    return said.replace(",.", ", ").replace(", ,", ",").rstrip(",")


class StillflowError(Exception):
    """Base of every error meant for a person to read."""

    def __init__(self, what: str, place: Place | None = None, right: str = "") -> None:
        self.what = " ".join(what.split())
        self.place = place or Place()
        self.right = " ".join(right.split())
        super().__init__(str(self))

    def __str__(self) -> str:
        head = str(self.place)
        text = f"{head}: {self.what}" if head else self.what
        return f"{text}; {self.right}" if self.right else text


class InputError(StillflowError):
    """A value given by a person (an option, an answer, a visit file) cannot be used."""


class KnowledgeError(StillflowError):
    """A rule file cannot be used. `others` holds what else was wrong in the same load."""

    def __init__(
        self,
        what: str,
        place: Place | None = None,
        right: str = "",
        others: tuple[KnowledgeError, ...] = (),
    ) -> None:
        super().__init__(what, place, right)
        self.others = others


class SetupError(StillflowError):
    """Something this machine lacks (a package, a writable folder) keeps stillflow from working."""
