"""What a guided visit keeps: each answer goes into the casebook first and is believed then."""

from __future__ import annotations

from collections.abc import Callable

from stillflow.casebook.store import Casebook, Overtaken
from stillflow.cli.describe import show_share
from stillflow.cli.screen import Screen
from stillflow.engine import Session
from stillflow.engine.base import InputError, SetupError, StillflowError
from stillflow.engine.dialogue import change_words
from stillflow.engine.inference import Event, Visit


class Keeping:
    """One visit in the casebook and the session over it, never apart.

    Args:
        screen: where what it comes to is shown.
        casebook: where it is kept.
        kept: the visit as it is kept.
        opened: the session over a visit.
    """

    def __init__(
        self,
        screen: Screen,
        casebook: Casebook,
        kept: Visit,
        opened: Callable[[Visit], Session],
    ) -> None:
        self._screen = screen
        self._casebook = casebook
        self._kept = kept
        self._opened = opened
        self._session = opened(kept)
        self._unsure: tuple[Event, ...] | None = None

    def _keep(self, event: Event) -> None:
        """Keep what happened, and believe it then. Errors as `_write`."""
        event = self._session.checked(event)
        self._write(
            lambda: self._casebook.add_event(self._kept, event), (*self._kept.events, event)
        )
        # Only what is kept is believed.
        self._session.take(event)
        check = self._session.knowledge.checks.get(event.check or "")
        if check is not None and check.kind == "reading":
            show_share(self._screen, self._session, check)

    def _change(self, changed: Visit) -> None:
        """Keep a visit whose house, unit or tools are now known otherwise, and believe it then."""
        before = self._session
        changed = changed.model_copy(update={"conclusion": None})
        session = self._opened(changed)
        self._kept = self._casebook.save_header(changed, self._kept)
        self._session = session
        self._screen.text(change_words(before, session))

    def _write(self, write: Callable[[], Visit], wanted: tuple[Event, ...]) -> None:
        """Have the casebook take something in, after which it has the `wanted` events.

        Raises:
            SetupError: it does not, or could not say whether it did.
            Overtaken: it has others.
        """
        try:
            self._kept = write()
            self._unsure = None
        except SetupError:
            self._unsure = wanted
            raise

    def _read_anew(self, error: Overtaken) -> None:
        """Go on from what the casebook has, and say so."""
        try:
            self._kept = self._casebook.get(self._kept.id)
        except StillflowError as problem:
            self._screen.text(str(problem))
            return
        if self._kept.events == self._unsure:
            self._screen.text("The casebook had taken in what it could not confirm before.")
        else:
            self._screen.text(str(error))
        self._unsure = None
        self._session = self._opened(self._kept)

    def _back(self) -> None:
        """Take back the last thing on record. Errors as `_write`."""
        if not self._kept.events:
            raise InputError("this is the first step", right="there is nothing to go back to")
        self._write(lambda: self._casebook.drop_last_event(self._kept), self._kept.events[:-1])
        self._session.undo()
