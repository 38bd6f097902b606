"""One guided visit at the prompt: each step shown, each line taken in, kept, and then believed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from stillflow.casebook.store import Casebook, Overtaken
from stillflow.cli.describe import (
    show_because,
    show_belief,
    show_check,
    show_ending,
    show_fix,
    show_how,
    show_meanings,
    show_reading,
    show_summary,
)
from stillflow.cli.intake import show_known
from stillflow.cli.prompt import (
    FIX_ANSWERS,
    HINT,
    Typed,
    ask,
    ask_inlet,
    event_for,
    fix_question,
    reading_said,
    understand,
    understand_fix,
)
from stillflow.cli.screen import Screen
from stillflow.engine import Session
from stillflow.engine.base import InputError, SetupError, StillflowError
from stillflow.engine.dialogue import (
    NextStep,
    change_words,
    detail_said,
    missing_said,
    summarise,
    taken_words,
)
from stillflow.engine.inference import NO_ANSWER, Event, Visit


class Guided:
    """One guided visit from its next step to its end or a stop."""

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

    def run(self) -> bool:
        """Ask until the visit ends or the person stops; whether it has ended.

        Raises:
            EOFError: the input has ended.
        """
        self._show_taken()
        while True:
            step = self._session.next_step()
            if step.ending is not None:
                self._finish(step)
                return True
            self._show(step)
            if not self._answer(step):
                return False

    def _show_taken(self) -> None:
        taken = taken_words(self._session)
        if taken:
            self._screen.gap()
            self._screen.text("Taken from the complaint:")
            self._screen.items(taken)
            self._screen.text("If that is wrong: not so")

    def _show(self, step: NextStep) -> None:
        number = self._session.progress.events + 1
        if step.check is not None:
            show_check(self._screen, step.check, number)
        elif step.fix is not None:
            show_fix(self._screen, step.fix, number)

    def _answer(self, step: NextStep) -> bool:
        """Ask until something was recorded or taken back; False for stop."""
        while True:
            line = ask(self._question(step))
            try:
                changed = self._changed(line)
                if changed is not None:
                    self._change(changed)
                    return True
                further = reading_said(self._session, line, datetime.now(UTC))
                if further is not None:
                    self._keep(further)
                    return True
                typed = self._understood(line, step)
                if typed.command == "stop":
                    return False
                if typed.command is None:
                    self._record(step, typed)
                    return True
                if self._help(typed.command, step):
                    return True
            except Overtaken as error:
                self._read_anew(error)
                return True
            except StillflowError as error:
                self._screen.text(str(error))

    def _question(self, step: NextStep) -> str:
        if step.fix is not None:
            answers = "   ".join(FIX_ANSWERS.values())
            return f"{fix_question(step.fix)}   {answers}\nOr: ? (how)   why   back   stop"
        assert step.check is not None
        if step.check.kind == "reading":
            lacks = " Or: there is none." if step.check.part else ""
            return f"Type the reading in inH2O, or with a unit.{lacks}\n{HINT}"
        both = ", or two such as 2 and 3" if step.check.several else ""
        return f"Type a number from 1 to {len(step.check.answers)}{both}.\n{HINT}"

    def _understood(self, line: str, step: NextStep) -> Typed:
        if step.check is not None:
            return understand(line, step.check)
        return understand_fix(line)

    def _record(self, step: NextStep, typed: Typed) -> None:
        answer = typed.answer or ""
        inlet = typed.inlet or self._inlet(step, answer)
        self._keep(event_for(step, answer, datetime.now(UTC), inlet))

    def _keep(self, event: Event) -> None:
        event = self._session.checked(event)
        self._write(
            lambda: self._casebook.add_event(self._kept, event), (*self._kept.events, event)
        )
        # Only what is kept is believed.
        self._session.take(event)
        check = self._session.knowledge.checks.get(event.check or "")
        if check is not None and check.kind == "reading":
            show_reading(self._screen, self._session, check)

    def _inlet(self, step: NextStep, answer: str) -> str | None:
        """Which inlet an answer is about, asked where only the person can say."""
        if step.check is None:
            asks = step.fix is not None and step.fix.asks_inlet and answer == "yes"
            return ask_inlet(step.fix.inlets) if step.fix is not None and asks else None
        points = any(one.inlet for one in step.check.answers if one.id == answer)
        asks = points or (step.check.asks_inlet and answer not in NO_ANSWER)
        return ask_inlet(step.check.inlets) if asks else None

    def _changed(self, line: str) -> Visit | None:
        """The visit with what a line corrects or adds of house, unit and tools, if it does."""
        if line.strip().lower() == "not so":
            wrong = tuple(dict.fromkeys((*self._kept.not_taken, *self._session.progress.heard)))
            return self._kept.model_copy(update={"not_taken": wrong})
        missing = missing_said(self._session.knowledge, line, self._kept.missing_tools)
        if missing is not None:
            return self._kept.model_copy(update={"missing_tools": missing})
        said = detail_said(line)
        if said is None:
            return None
        detail, value = said
        return detail.put(self._kept, detail.read(value))

    def _change(self, changed: Visit) -> None:
        """Keep a visit whose house, unit or tools are now known otherwise, and believe it then."""
        before = self._session
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

    def _help(self, what: str, step: NextStep) -> bool:
        """Do what was asked for instead of an answer; True if the step has changed."""
        if what == "back":
            if not self._kept.events:
                raise InputError("this is the first step", right="there is nothing to go back to")
            self._write(lambda: self._casebook.drop_last_event(self._kept), self._kept.events[:-1])
            self._session.undo()
            return True
        if what == "unit":
            show_known(self._screen, self._session.knowledge, self._kept)
            return False
        if what == "how":
            if step.check is not None:
                show_how(self._screen, step.check)
            elif step.fix is not None:
                self._screen.numbered(step.fix.steps)
            return False
        self._screen.gap()
        self._screen.text("Why this now:", style="bold")
        show_because(self._screen, step)
        show_belief(self._screen, step)
        if step.check is not None and not step.verifying:
            show_meanings(self._screen, self._session.meanings(step.check.id))
        return False

    def _finish(self, step: NextStep) -> None:
        try:
            self._kept = self._casebook.save_header(self._session.visit, self._kept)
        except StillflowError as error:
            # The ending follows from the answers, which are kept; it must not be kept from sight.
            self._screen.text(f"The visit could not be closed: {error}")
        show_ending(self._screen, step)
        show_summary(self._screen, summarise(self._session), ended=True)
