"""How a phone gets in: a code on the terminal, typed or read by its camera, good once."""

from __future__ import annotations

import hmac
import secrets
import time
from collections.abc import Callable
from threading import Lock

from stillflow.engine.base import InputError

LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""None that is taken for another."""
LENGTH = 8
GOOD_FOR = 15 * 60.0
MOST_TRIES = 10
CLOSED_FOR = 15 * 60.0


class Pairing:
    """The code that is good now.

    Eight letters of thirty are 6.6e11 codes; ten wrong ones close the door for a quarter of an
    hour and the code is another then, so that one try in 10^10 succeeds in a year of trying.

    Args:
        tell: called with every new code.
        clock: seconds.
    """

    def __init__(
        self, tell: Callable[[str], None], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._tell = tell
        self._clock = clock
        self._lock = Lock()
        self._wrong = 0
        self._opens = 0.0
        self._renew()

    def _renew(self) -> None:
        self._code = "".join(secrets.choice(LETTERS) for _ in range(LENGTH))
        self._until = self._clock() + GOOD_FOR
        self._tell(self._code)

    def check(self, typed: str, pair: Callable[[], str]) -> str:
        """Let a phone in that knows the code, which is then used up.

        Args:
            typed: what was typed as the code.
            pair: gives the phone's token.

        Raises:
            InputError: another code, one that has run out, or too many wrong ones before.
        """
        typed = "".join(one for one in typed.upper() if one.isalnum())[: 2 * LENGTH]
        with self._lock:
            now = self._clock()
            if now < self._opens:
                what = "too many wrong codes were typed; nobody is let in for a quarter of an hour"
                raise InputError(what, right="then take the new code from the terminal")
            if now > self._until:
                self._renew()
            if not hmac.compare_digest(typed.encode(), self._code.encode()):
                self._wrong += 1
                if self._wrong >= MOST_TRIES:
                    self._wrong, self._opens = 0, now + CLOSED_FOR
                    self._renew()
                    self._until += CLOSED_FOR
                raise InputError("this is not the code", right="read it off the terminal again")
            token = pair()
            self._wrong = 0
            self._renew()
            return token
