"""The phones that may see the casebook: each a named person's, until that is taken back.

Of the token in a phone's cookie only a hash is kept, so that nobody who reads the database can use
it.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import sqlalchemy as sa

from stillflow.casebook.store import Casebook
from stillflow.casebook.tables import phones
from stillflow.engine.base import InputError, nearest

LONGEST_NAME = 80
_A_WHILE = timedelta(minutes=5)


@dataclass(frozen=True)
class Paired:
    """One phone: whose, since when, and when it was last seen, UTC."""

    name: str
    paired: datetime
    seen: datetime


class Phones:
    """The phones of one casebook."""

    def __init__(self, casebook: Casebook) -> None:
        self._casebook = casebook

    def pair(self, name: str) -> str:
        """Let a person's phone in.

        Returns:
            The token for its cookie, told this once.

        Raises:
            InputError: no name, or one that somebody has already.
        """
        name = " ".join(name.split())[:LONGEST_NAME]
        if not name:
            raise InputError("no name was given", right="say who you are")
        token = secrets.token_urlsafe(32)
        now = datetime.now(UTC)
        row = {"token": _hash(token), "name": name, "paired": now, "seen": now}
        with self._casebook.transaction(write=True) as connection:
            taken = sa.func.lower(phones.c.name) == name.lower()
            if connection.scalar(sa.select(phones.c.name).where(taken)) is not None:
                right = "add a letter or a number, or have the old phone revoked first"
                raise InputError(f"a phone of '{name}' is paired already", right=right)
            connection.execute(phones.insert().values(**row))
            self._casebook.note(connection, "phones", f"paired: {name}")
        return token

    def who(self, token: str) -> str | None:
        """Whose phone has this token; None for nobody's."""
        mine = phones.c.token == _hash(token)
        with self._casebook.transaction() as connection:
            row = connection.execute(sa.select(phones).where(mine)).first()
        if row is None:
            return None
        now = datetime.now(UTC)
        if now - row.seen > _A_WHILE:
            with self._casebook.transaction(write=True) as connection:
                connection.execute(phones.update().where(mine).values(seen=now))
        return str(row.name)

    def listed(self) -> list[Paired]:
        """Every phone, by name."""
        with self._casebook.transaction() as connection:
            rows = connection.execute(sa.select(phones).order_by(phones.c.name))
            return [Paired(row.name, row.paired, row.seen) for row in rows]

    def revoke(self, name: str) -> None:
        """Let a person's phone in no longer, from its next request on.

        Raises:
            InputError: nobody of that name has a phone here.
        """
        with self._casebook.transaction(write=True) as connection:
            gone = connection.execute(phones.delete().where(phones.c.name == name))
            if gone.rowcount:
                self._casebook.note(connection, "phones", f"revoked: {name}")
                return
            names = list(connection.scalars(sa.select(phones.c.name)))
        right = nearest(name, names) if names else "no phone is paired"
        raise InputError(f"no phone of '{name[:LONGEST_NAME]}' is paired", right=right)


def _hash(token: str) -> str:
    # A token has 256 bits of chance in it, so that a plain hash cannot be undone by trying.
    return hashlib.sha256(token.encode()).hexdigest()
