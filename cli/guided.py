"""One guided visit at the prompt: each step shown, each line taken in, kept, and then believed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from stillflow.casebook.store import Casebook, Overtaken
from stillflow.cli.asides import note_said, show_aside
from stillflow.cli.describe import (
    show_check,
    show_ending,
    show_fix,
    show_put_back,
    show_summary,
)
from stillflow.cli.keeping import Keeping
from stillflow.cli.lines import ask
from stillflow.cli.prompt import (
    FIX_ANSWERS,
    HINT,
    Typed,
    answer_words,
    ask_inlet,
    event_for,
    fix_question,
    fix_said,
    reading_said,
    two_of,
    understand,
    understand_fix,
)
from stillflow.cli.screen import Screen
from stillflow.engine import Session
from stillflow.engine.base import InputError, StillflowError, small_first
from stillflow.engine.dialogue import (
    NextStep,
    ahead_words,
    detail_said,
    missing_said,
    read_with,
    reminder_words,
    summarise,
    taken_words,
)
from stillflow.engine.inference import NO_ANSWER, Event, Visit
from stillflow.engine.views import noted_words


class Guided(Keeping):
    """One guided visit from its next step to its end or a stop.

    Args:
        screen, casebook, kept, opened: as of `Keeping`.
        day: when it was, UTC, where it is written up from paper.
    """

    def __init__(
        self,
        screen: Screen,
        casebook: Casebook,
        kept: Visit,
        opened: Callable[[Visit], Session],
        day: datetime | None = None,
    ) -> None:
        super().__init__(screen, casebook, kept, opened)
        self._day = day
        self._cautioned: set[str] = set()
        self._with: str = ""
        self._untold = True

    def _now(self) -> datetime:
        return self._day or datetime.now(UTC)

    def run(self) -> bool:
        """Ask until the visit ends or the person stops; whether it has ended.

        Raises:
            EOFError: the input has ended.
        """
        while True:
            step = self._session.next_step()
            if step.ending is not None:
                if self._over(step):
                    return True
                continue
            self._show(step)
            if not self._answer(step):
                return False

    def _show_taken(self) -> None:
        """What the complaint says, on the first screen above the first question."""
        taken, self._untold = taken_words(self._session) if self._untold else (), False
        if taken:
            self._screen.gap()
            self._screen.text("Taken from the complaint (if that is wrong: not so):")
            self._screen.items(taken)

    def _show(self, step: NextStep, beside: bool = False) -> None:
        number = 0 if beside else 1 + sum(not one.beside for one in self._session.events)
        # The second of two readings was announced with the first: how it is taken stands above.
        second = step.check is not None and step.check.id == self._with and not step.put_back
        then = None if second or beside else read_with(self._session)
        self._with = then.id if then is not None else ""
        with self._screen.sheet():
            self._show_taken()
            if step.contradiction:
                self._screen.gap()
                self._screen.text(step.contradiction, style="bold")
            if step.put_back is not None:
                cautions, reminder = self._cautions(step.put_back.cautions)
                before = step.put_back.model_copy(update={"cautions": cautions})
                show_put_back(self._screen, before, reminder)
            if step.check is not None:
                cautions, reminder = self._cautions(step.check.cautions)
                check = step.check.model_copy(update={"cautions": cautions})
                show_check(self._screen, check, number, reminder, then)
            elif step.fix is not None:
                cautions, reminder = self._cautions(step.fix.cautions)
                fix = step.fix.model_copy(update={"cautions": cautions})
                show_fix(self._screen, fix, number, reminder)
            if not second:
                self._show_standing(step)

    def _cautions(self, cautions: tuple[str, ...]) -> tuple[tuple[str, ...], str]:
        """The dangers that are new, and a line for those that were shown in full before."""
        fresh = tuple(one for one in cautions if one not in self._cautioned)
        known = tuple(one for one in cautions if one in self._cautioned)
        self._cautioned.update(fresh)
        return fresh, reminder_words(self._session.knowledge, known)

    def _show_standing(self, step: NextStep) -> None:
        """Below the step: what comes after, and what all comes to so far, so that it stays seen."""
        if step.choice is None:
            return
        self._screen.text(ahead_words(self._session))
        if self._session.progress.situation.readings:
            self._screen.item("So far:", self._session.said().verdict, 0)

    def _answer(self, step: NextStep) -> bool:
        """Ask until something was recorded or taken back; False for stop."""
        while True:
            line = ask(self._question(step))
            try:
                changed = self._changed(line)
                if changed is not None:
                    self._change(changed)
                    return True
                noted = note_said(line, self._now())
                if noted is not None:
                    self._note(noted)
                    continue
                if step.read_before is not None and line.strip().lower() == "same":
                    line = f"{step.read_before:g}"
                fixed = fix_said(self._session, line, self._now())
                if fixed is not None:
                    self._keep(fixed)
                    title = self._session.knowledge.faults[fixed.fix or ""].title
                    came_to = "mended" if fixed.done else "not there"
                    self._screen.text(f"Taken as {came_to}: {small_first(title)}. Or: back")
                    return True
                further = reading_said(self._session, line, self._now())
                if further is not None:
                    if self._kept_unless_odd(further):
                        return True
                    continue
                typed = self._understood(line, step)
                if typed.command == "stop":
                    return False
                if typed.command is None:
                    if self._recorded(step, typed):
                        return True
                    continue
                if self._help(typed.command, step):
                    return True
            except Overtaken as error:
                self._read_anew(error)
                return True
            except StillflowError as error:
                self._screen.text(str(error))

    def _note(self, said: Event) -> None:
        """Keep what is noted beside the answers, and tell it back."""
        self._keep(said)
        self._screen.text(f"Noted: {noted_words(said)}. Or: back")

    def _question(self, step: NextStep) -> str:
        if step.fix is not None:
            answers = "   ".join(FIX_ANSWERS.values())
            others = "Or: ? why, back, where, note, unit, danger, stop"
            return f"{fix_question(step.fix)}   {answers}\n{others}"
        assert step.check is not None
        if step.check.kind == "reading":
            lacks = " Or: there is none." if step.check.part else ""
            if step.read_before is not None:
                lacks = f" Or: same (it was {step.read_before:g})."
            return f"Type the reading in inH2O, or with a unit.{lacks}\n{HINT}"
        both = f", or two such as {two_of(step.check)}" if step.check.several else ""
        return f"Type a number from 1 to {len(step.check.answers)}{both}.\n{HINT}"

    def _understood(self, line: str, step: NextStep) -> Typed:
        if step.check is not None:
            return understand(line, step.check)
        return understand_fix(line)

    def _recorded(self, step: NextStep, typed: Typed) -> bool:
        """Put an answer on record; False for a reading that is to be looked at again first."""
        answer = typed.answer or ""
        inlet = typed.inlet or self._inlet(step, answer)
        event = event_for(step, answer, self._now(), inlet)
        return self._kept_unless_odd(event)

    def _kept_unless_odd(self, event: Event) -> bool:
        """Keep an answer, but for a reading that should be looked at again first."""
        odd = self._session.questioned(event)
        if odd:
            self._screen.text(f"{odd}.")
        else:
            self._keep(event)
        return not odd

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

    def _help(self, what: str, step: NextStep) -> bool:
        """Do what was asked for instead of an answer; True if the step has changed."""
        if what == "back":
            self._back()
            return True
        if what == "danger":
            return self._ask_again(self._session.safety_step())
        show_aside(self._screen, what, self._session, step)
        return False

    def _ask_again(self, step: NextStep | None) -> bool:
        """Ask one check, whatever comes next; False if it was left with `back`."""
        if step is None or step.check is None:
            raise InputError("there is no such question", right="go on")
        self._show(step, beside=True)
        while True:
            line = ask("Type its number; or back to leave it as it was")
            try:
                typed = self._understood(line, step)
                if typed.command == "back":
                    return False
                if typed.command is None:
                    self._recorded(step, typed)
                    self._screen.text(f"Taken: {answer_words(step.check, typed.answer or '')}.")
                    return True
                show_aside(self._screen, typed.command, self._session, step)
            except Overtaken:
                raise
            except StillflowError as error:
                self._screen.text(str(error))

    def _over(self, step: NextStep) -> bool:
        """Show an ending and have it stand; False where the visit goes on after all."""
        ended = self._kept.conclusion is not None
        if step.step != "stop" and not ended:
            self._finish(step)
            return True
        with self._screen.sheet():
            show_ending(self._screen, step)
        if step.step == "stop":
            asked = "Look once more, from where it is safe. Is it so?   yes   no (ask it again)"
        else:
            asked = "This visit has ended. Enter to leave it so; or: back   weak (not cured)"
        while True:
            line = ask(f"{asked}\nOr: where, note, unit, danger, why, back")
            try:
                word = " ".join(line.lower().split())
                if word in ("yes", "y", "", "stop"):
                    if not word and step.step == "stop" and not ended:
                        raise InputError("nothing typed", right="yes or no")
                    self._finish(step)
                    return True
                if word in ("no", "n", "weak") and self._look_again(step):
                    return False
                if self._aside(line, word, step):
                    return False
            except Overtaken as error:
                self._read_anew(error)
                return False
            except StillflowError as error:
                self._screen.text(str(error))

    def _aside(self, line: str, word: str, step: NextStep) -> bool:
        """Take in what may be said at an ending; True if the visit may go on by it."""
        changed = self._changed(line)
        if changed is not None:
            self._change(changed)
            return True
        said = note_said(line, self._now())
        if said is not None:
            self._note(said)
            return False
        if word in ("where", "note", "notes", "unit", "why", "danger", "back"):
            command = "notes" if word == "note" else word
            return self._help(command, step)
        if word in ("no", "n", "weak"):
            return False
        raise InputError(f"'{line.strip()[:40]}' is not an answer", right="see the line above")

    def _look_again(self, step: NextStep) -> bool:
        """Ask once more what a visit ended on; False if nothing came of it."""
        if step.step != "stop":
            return self._ask_again(self._session.proof_step())
        checks = self._session.stopped_by()
        taken = tuple(name for name in checks if name in self._session.progress.heard)
        if taken:
            wrong = (*self._kept.not_taken, *taken)
            self._change(self._kept.model_copy(update={"not_taken": wrong}))
            return True
        return self._ask_again(self._session.once_more(checks[-1]) if checks else None)

    def _finish(self, step: NextStep) -> None:
        ended = self._kept.conclusion is not None
        try:
            self._kept = self._casebook.save_header(self._session.visit, self._kept)
        except StillflowError as error:
            # The ending follows from the answers, which are kept; it must not be kept from sight.
            self._screen.text(f"The visit could not be closed: {error}")
        with self._screen.sheet():
            if step.step != "stop" and not ended:
                if step.put_back is not None:
                    show_put_back(self._screen, step.put_back)
                show_ending(self._screen, step)
            show_summary(self._screen, summarise(self._session), ended=True)
