"""Playing a drill: what may be done, what it shows, what it costs, and how it ends.

The trainee's record is kept in a `Session`, which knows at every moment what could be known; what
it makes of it is for `review`.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, get_args

from stillflow.engine.base import Floats, small_first
from stillflow.engine.dialogue import NextStep, Session
from stillflow.engine.drill.house import DrillHouse
from stillflow.engine.inference import CANT_TELL, possible
from stillflow.engine.ruleset import (
    Caution,
    Check,
    Fault,
    Knowledge,
    Outlay,
    checking,
    fixing,
    truth,
)
from stillflow.engine.simulate import same_fix

Ending = Literal["mended", "handed-over", "stopped", "hurt", "not-mended", "stopped-for-nothing"]

ENDINGS: dict[Ending, str] = {
    "mended": "mended",
    "handed-over": "handed over",
    "stopped": "rightly stopped",
    "hurt": "went on past a stop sign",
    "not-mended": "not mended",
    "stopped-for-nothing": "stopped for nothing",
}

WELL: tuple[Ending, ...] = ("mended", "handed-over", "stopped")
"""After these what was wrong is put right or in the right hands."""

SKIPPED_MINUTES = 20.0
"""What walking past a caution costs: a cut seen to, a plug found, a ceiling patched (assumed)."""

NEEDLESS_MINUTES = 1.0
"""What making safe against a danger that is not there costs."""

IGNORED_MINUTES = 60.0
"""What going on past a stop sign costs; it ends the drill too."""

AGAIN_MINUTES = 60.0
"""What leaving a house unmended costs: the drive back, when the customer calls again (assumed)."""

UNASKED_MINUTES = 10.0
"""What not asking about danger signs costs where, by luck, there were none."""

CAUTIOUS: tuple[str, ...] = get_args(Caution.model_fields["about"].annotation)
"""What can be made safe, in the words of cautions: mains, dust, heights."""


@dataclass(frozen=True)
class Possible:
    """One thing the trainee may do: a check, or the fix of a fault."""

    id: str
    title: str
    minutes: float
    check: Check | None = None
    fault: Fault | None = None

    @staticmethod
    def of(entry: Check | Fault) -> Possible:
        """A check, or the fix of a fault."""
        if isinstance(entry, Check):
            return Possible(entry.id, entry.ask, entry.minutes, check=entry)
        return Possible(entry.id, entry.title, entry.fix.minutes, fault=entry)

    @property
    def is_fix(self) -> bool:
        """Whether it is a fix."""
        return self.fault is not None


@dataclass(frozen=True)
class Walked:
    """A danger that was walked past, what comes of that, and what it costs."""

    number: int
    what: str
    happens: str
    minutes: float


@dataclass(frozen=True)
class Done:
    """One step as it went.

    Attributes:
        number: from 1.
        id: of the check or fault.
        title: the question, or what was mended.
        is_fix: whether it was a fix.
        said: what was found, in words.
        began: minutes on the clock before it.
        ended: and after it.
        moved: the largest change of any fault's probability; 0 for a fix.
        likely: of a fix, how likely its fault was when it was chosen.
        better: of a fix that the planner would not have made yet, what it would have done.
        truth: how likely what is really wrong was held after it, by what was known; None once
            nothing is wrong any more.
        tells: whether it is a check that should tell something: not the question about danger, nor
            what proves a fix.
        helped: of a fix, whether it put something right.
    """

    number: int
    id: str
    title: str
    is_fix: bool
    said: str
    began: float
    ended: float
    moved: float = 0.0
    likely: float = 0.0
    better: str = ""
    truth: float | None = None
    tells: bool = False
    helped: bool = False


@dataclass
class Drill:
    """A house being played by a trainee, or by the planner.

    Attributes:
        knowledge: the rule set it is played by.
        house: the house.
        session: the record so far, and what it comes to.
        done: the steps so far.
        walked_past: dangers that were walked past.
        hints: how often the trainee asked what comes next.
        needless: dangers made safe that were not there.
        ending: how it ended; None while it goes on.
    """

    knowledge: Knowledge
    house: DrillHouse
    session: Session = field(init=False)
    done: list[Done] = field(default_factory=list)
    walked_past: list[Walked] = field(default_factory=list)
    hints: int = 0
    needless: int = 0
    ending: Ending | None = None
    _extra: float = 0.0
    _safe: set[str] = field(default_factory=set)
    _asked_danger: bool = False
    _unproved: bool = False
    _handed: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.session = Session(self.knowledge, self.house.visit)

    @property
    def minutes(self) -> float:
        """What the clock shows."""
        return self.session.progress.spent - self._before + self._extra

    @cached_property
    def _before(self) -> float:
        # What was said on the phone is not on the clock.
        return Session(self.knowledge, self.house.visit).progress.spent

    @cached_property
    def choices(self) -> tuple[Possible, ...]:
        """All checks and fixes that can be in this house, checks first, in a fixed order.

        A trainee types their numbers, so that a number means the same to the end.
        """
        checks, faults = self.knowledge.checks.values(), self.knowledge.faults.values()
        entries: list[Check | Fault] = [*checks, *faults]
        true = self.house.call.truth
        return tuple(Possible.of(one) for one in entries if possible(one.possible_when, true))

    def minutes_of(self, choice: Possible) -> float:
        """What a choice takes now, with the way, and what must be put back and opened for it."""
        return self._outlay(choice).minutes

    def _outlay(self, choice: Possible) -> Outlay:
        footing = self.session.progress.footing
        if choice.check is not None:
            return checking(self.knowledge, footing, choice.check)
        assert choice.fault is not None
        return fixing(self.knowledge, footing, choice.fault)

    def why_not_now(self, choice: Possible) -> str:
        """Why a choice makes no sense yet; empty if it does."""
        check = choice.check
        if check is None:
            return ""
        if check.verifies and check.kind == "choice" and not self.session.progress.round:
            return "it proves a fix, and nothing was fixed yet"
        facts = self.session.conclude().facts
        if check.asked_when is not None and truth(check.asked_when, facts) is not True:
            return "it asks more about something that was not found yet"
        return ""

    def cautions(self, choice: Possible) -> tuple[Caution, ...]:
        """The dangers of a choice that were not made safe yet in this house.

        None of the question about danger, which is what asks for them.
        """
        if choice.check is not None and choice.check.first:
            return ()
        named = choice.check.cautions if choice.check else ()
        if choice.fault is not None:
            named = choice.fault.fix.cautions
        for access in self._outlay(choice).opens:
            named = (*self.knowledge.accesses[access].cautions, *named)
        if choice.fault is not None and choice.fault.fix.refer:
            named = ()  # somebody else's hands
        unsafe = dict.fromkeys(name for name in named if name not in self._safe)
        return tuple(self.knowledge.cautions[name] for name in unsafe)

    def do(self, choice: Possible, safe: Collection[str] | None = None) -> Done:
        """Do a check or a fix.

        Args:
            choice: which, one of `choices`.
            safe: what was made safe first, of `CAUTIOUS`; None for all that is called for.

        Returns:
            The step; `ending` is set if it ended the drill.
        """
        began = self.minutes
        number = len(self.done) + 1
        if self._past_danger(choice, number):
            step = Done(number, choice.id, choice.title, choice.is_fix, "", began, self.minutes)
            self.done.append(step)
            return step
        self._make_safe(choice, number, safe)
        step = self._fix(choice, began) if choice.is_fix else self._check(choice, began)
        self.done.append(step)
        return step

    def hint(self) -> NextStep:
        """What `why` would say now; counted."""
        self.hints += 1
        return self.session.next_step()

    def stop(self) -> Ending:
        """Stop for danger, and hand over."""
        self.ending = "stopped" if self.session.is_stopped else "stopped-for-nothing"
        if self.ending != "stopped":
            self._extra += AGAIN_MINUTES
        return self.ending

    def leave(self) -> Ending:
        """Pack up: it is mended, or handed over, or it is not."""
        if self.session.is_stopped:
            return self._ignored(len(self.done))
        call = self.house.call
        if not self._asked_danger:
            text = "You never asked about danger signs. Here, by luck, there were none."
            self._walk(len(self.done), "danger signs", text, UNASKED_MINUTES)
        left = {
            name
            for name in call.remaining
            if not any(same_fix(self.knowledge, name, one) for one in self._handed)
        }
        if left:
            self._extra += AGAIN_MINUTES
            self.ending = "not-mended"
        else:
            self.ending = "handed-over" if call.remaining else "mended"
        return self.ending

    @property
    def unproved(self) -> bool:
        """Whether a fix was made that nothing has proved since."""
        return self._unproved

    def _past_danger(self, choice: Possible, number: int) -> bool:
        """Whether this goes on past a stop sign; then the drill is over."""
        if choice.check is not None and choice.check.first:
            self._asked_danger = True
        if self.session.is_stopped:
            self._ignored(number)
            return True
        touches = choice.is_fix or (
            choice.check is not None
            and not choice.check.first
            and bool(choice.check.kind == "reading" or choice.check.access or choice.check.cautions)
        )
        if not (touches and self.house.danger and not self._asked_danger):
            return False
        first = next(check for check in self.knowledge.checks.values() if check.first)
        self.session.record(first.id, self.house.danger)
        self._ignored(number)
        return True

    def _ignored(self, number: int) -> Ending:
        concluded = self.session.conclude()
        ending = self.session.next_step().ending
        because = [
            self.knowledge.rules[one.rule_id].because
            for one in concluded.firings
            if self.knowledge.rules[one.rule_id].stop is not None
        ]
        words = [ending.what if ending else "", *because[:1]]
        if ending is not None:
            words += [f"Call: {ending.call}", ending.do_not]
        self._walk(number, "a stop sign", " ".join(word for word in words if word), IGNORED_MINUTES)
        self.ending = "hurt"
        return self.ending

    def _make_safe(self, choice: Possible, number: int, safe: Collection[str] | None) -> None:
        due = self.cautions(choice)
        if safe is not None:
            for caution in due:
                if caution.about not in safe:
                    happens = caution.skipped or "It goes well, this time."
                    self._walk(number, caution.text, happens, SKIPPED_MINUTES)
            called_for = {caution.about for caution in due}
            needless = len(set(safe) - called_for)
            self.needless += needless
            self._extra += NEEDLESS_MINUTES * needless
        self._safe.update(caution.id for caution in due)

    def _walk(self, number: int, what: str, happens: str, minutes: float) -> None:
        self.walked_past.append(Walked(number, what, happens, minutes))
        self._extra += minutes

    def _check(self, choice: Possible, began: float) -> Done:
        check = choice.check
        assert check is not None
        step = self.session.step_for(check.id)
        answer = self.house.answer(check, self.house.call.inlet(step, 0.0))
        self.session.record(check.id, answer, inlet=self.house.call.inlet(step, answer))
        if answer == CANT_TELL:
            self._extra += check.minutes
        said = str(answer)
        if isinstance(answer, float):
            said = f"{answer:.0f} inH2O"
        elif answer != CANT_TELL:
            said = next(one.label for one in check.answers if one.id == answer)
        if check.verifies:
            self._unproved = False
        return Done(
            number=len(self.done) + 1,
            id=check.id,
            title=check.ask,
            is_fix=False,
            said=said,
            began=began,
            ended=self.minutes,
            moved=self.session.progress.asked[-1].moved,
            truth=self._held_true(self.session.progress.probabilities),
            tells=not (check.first or check.verifies),
        )

    def _fix(self, choice: Possible, began: float) -> Done:
        fault = choice.fault
        assert fault is not None
        progress = self.session.progress
        likely = float(progress.probabilities[self.knowledge.fault_index[fault.id]])
        held = self._held_true(progress.probabilities)
        planned = self.session.next_step()
        better = ""
        if planned.fix is None or not same_fix(self.knowledge, planned.fix.fault, fault.id):
            better = planned.fix.title if planned.fix else "to look on"
            if planned.check is not None:
                better = planned.check.ask
        refer = fault.fix.refer
        helped = any(same_fix(self.knowledge, one, fault.id) for one in self.house.call.remaining)
        if refer:
            self._handed.add(fault.id)
            said = f"left to {small_first(refer)}"
        else:
            self.house.call.repair(fault.id)
            self._unproved = True
            said = "done"
        self.session.record_fix(fault.id, done=not refer)
        return Done(
            number=len(self.done) + 1,
            id=fault.id,
            title=fault.title,
            is_fix=True,
            said=said,
            began=began,
            ended=self.minutes,
            likely=likely,
            better=better,
            truth=held,
            helped=helped,
        )

    def _held_true(self, probabilities: Floats) -> float | None:
        """How likely one of the faults that are really left, or one with its fix, is held."""
        left = self.house.call.remaining
        if not left:
            return None
        return float(
            sum(
                share
                for name, share in zip(self.knowledge.faults, probabilities, strict=True)
                if any(same_fix(self.knowledge, name, one) for one in left)
            )
        )
