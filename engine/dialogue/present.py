"""A decision put as a `NextStep`: the words of the rule files, filled in for this house."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain

from stillflow.engine.base import Floats, Mode, Station
from stillflow.engine.dialogue.places import Places, titled
from stillflow.engine.dialogue.progress import Progress
from stillflow.engine.dialogue.steps import (
    AnswerOption,
    CheckStep,
    Choice,
    Ending,
    FaultShare,
    FixStep,
    NextStep,
    PutBackStep,
    StepKind,
)
from stillflow.engine.dialogue.verification import Repair
from stillflow.engine.inference import NO_ANSWER, Baseline, Firing, inlet_words
from stillflow.engine.ruleset import (
    NONE_HERE,
    Check,
    Fault,
    Knowledge,
    Outlay,
    Warn,
    checking,
    fixing,
    put_back_steps,
    putting_back,
    stand_of,
)


class Presenter:
    """Builds the steps of one moment of a visit."""

    def __init__(
        self,
        knowledge: Knowledge,
        baseline: Baseline,
        progress: Progress,
        firings: Sequence[Firing],
    ) -> None:
        self._knowledge = knowledge
        self._baseline = baseline
        self._places = Places(progress)
        self._progress = progress
        self._raised = [
            item.caution
            for firing in firings
            for item in knowledge.rules[firing.rule_id].then
            if isinstance(item, Warn)
        ]

    def check(
        self,
        check: Check,
        because: Sequence[str],
        choice: Choice | None = None,
        verifying: str = "",
    ) -> NextStep:
        """A check to make, with its cautions and what opening it takes."""
        knowledge = self._knowledge
        inlet = self._inlet(check.station)
        to_try = self._places.to_try(check)
        if check.station is Station.OTHER:
            again = check.id in self._progress.answered
            inlet = ("" if again else inlet) or next(iter(to_try), inlet)
            # The inlet the question names comes first among those it may be answered for.
            to_try = tuple(sorted(to_try, key=lambda name: name != inlet))
        elif check.station is Station.INLET and not inlet:
            # Which of the inlets that have names the complaint is about only the person can say.
            to_try = self._progress.inlets.names
        at_inlet = check.station is Station.INLET and bool(to_try)
        asks = not inlet and (check.station is Station.OTHER or at_inlet)
        outlay = checking(knowledge, self._progress.footing, check, inlet or "")
        opened = [knowledge.accesses[name] for name in outlay.opens]
        cautions = [*chain.from_iterable(one.cautions for one in opened), *check.cautions]
        step = CheckStep(
            id=check.id,
            ask=check.ask_at.replace("{inlet}", inlet_words(inlet))
            if inlet and check.ask_at
            else check.ask,
            kind=check.kind,
            station=check.station,
            condition=check.condition,
            inlet=inlet or _UNNAMED.get(check.station),
            asks_inlet=asks,
            inlets=to_try,
            unit="inH2O" if check.kind == "reading" else None,
            answers=_options(check, there=check.part in self._seen()),
            minutes=outlay.own,
            cautions=self._cautions(cautions),
            how=check.how,
            tools=check.tools,
            needs=tuple(self._tool_words(name) for name in check.tools),
            opens=opened[0].title if opened else None,
            verifies=check.verifies,
            several=check.several,
            part=(check.part or "").replace("-", " "),
            at=self._at(check),
            walk=outlay.walk,
        )
        made = self._step("check", because, check=step, choice=choice, verifying=verifying)
        return self._put_back(made, outlay)

    def fix(self, fault: Fault, because: Sequence[str], choice: Choice | None) -> NextStep:
        """A fix to make, or to hand to whom it belongs."""
        fix = fault.fix
        outlay = fixing(self._knowledge, self._progress.footing, fault)
        opened = [self._knowledge.accesses[name] for name in outlay.opens]
        cautions = [*chain.from_iterable(one.cautions for one in opened), *fix.cautions]
        step = FixStep(
            fault=fault.id,
            title=titled(fault, self._places.of(fault)),
            inlet=self._places.of(fault) or None,
            asks_inlet=self._places.asked(fault),
            inlets=self._places.in_order() if self._places.asked(fault) else (),
            minutes=outlay.own,
            steps=(*filter(None, [self._places.stretch(fault)]), *fix.steps),
            parts=fix.parts,
            cautions=self._cautions(cautions),
            confirm=fault.confirm,
            after=fault.after,
            refer=fix.refer,
            at=self._at(fault),
            walk=outlay.walk,
        )
        kind: StepKind = "refer" if fix.refer else "fix"
        return self._put_back(self._step(kind, because, fix=step, choice=choice), outlay)

    def end(
        self,
        kind: StepKind,
        ending: Ending,
        because: Sequence[str] = (),
        repair: Repair | None = None,
    ) -> NextStep:
        """The end of the guided part; after a fix that worked, with the belief that led to it.

        Nothing is left undone, but where there is danger: there nothing is touched any more.
        """
        made = self._step(kind, because, ending=ending, repair=repair)
        if kind == "stop":
            return made
        return self._put_back(made, putting_back(self._knowledge, self._progress.footing))

    def _put_back(self, step: NextStep, outlay: Outlay) -> NextStep:
        """The step, with what must be put back before it."""
        if not outlay.put_back:
            return step
        shut = [self._knowledge.accesses[name] for name in outlay.put_back]
        before = PutBackStep(
            accesses=outlay.put_back,
            minutes=outlay.closing,
            steps=put_back_steps(self._knowledge, outlay.put_back),
            cautions=self._cautions(chain.from_iterable(one.cautions for one in shut)),
        )
        return step.model_copy(update={"put_back": before})

    def _seen(self) -> set[str | None]:
        """Parts of which something was read or looked at, so that they are there."""
        checks = self._knowledge.checks
        answered = (one for one in self._progress.asked if one.answer not in NO_ANSWER)
        return {checks[one.check_id].part for one in answered}

    def _at(self, act: Check | Fault) -> str:
        stand = stand_of(self._knowledge, act)
        return self._knowledge.stands[stand].title if stand else ""

    def _step(
        self,
        kind: StepKind,
        because: Sequence[str],
        *,
        check: CheckStep | None = None,
        fix: FixStep | None = None,
        ending: Ending | None = None,
        choice: Choice | None = None,
        repair: Repair | None = None,
        verifying: str = "",
    ) -> NextStep:
        believed = repair.probabilities if repair else self._progress.probabilities
        shares = fault_shares(self._knowledge, believed, self._places)
        return NextStep(
            step=kind,
            check=check,
            fix=fix,
            ending=ending,
            faults=shares,
            modes=mode_shares(shares),
            baseline=self._baseline,
            because=tuple(because),
            choice=choice,
            verifying=verifying,
        )

    def _tool_words(self, name: str) -> str:
        """What people call a tool; its id in plain words where the rules do not say."""
        tool = self._knowledge.tools.get(name)
        return tool.words[0] if tool else name.replace("-", " ")

    def _inlet(self, station: Station | None) -> str:
        inlets = self._progress.inlets
        if station is Station.OTHER:
            return inlets.other
        return inlets.here if station in _UNNAMED else ""

    def _cautions(self, ids: Iterable[str]) -> tuple[str, ...]:
        ordered = dict.fromkeys([*ids, *self._raised])
        return tuple(self._knowledge.cautions[name].text for name in ordered)


_UNNAMED: dict[Station | None, str] = {
    Station.OTHER: "an inlet on another branch",
    Station.INLET: "the inlet in question",
    Station.HOSE: "the inlet in question",
}


def _options(check: Check, there: bool) -> tuple[AnswerOption, ...]:
    """The answers to a choice, none for a reading; what is known to be `there` is not missing."""
    listed = [
        AnswerOption(id=one.id, label=one.label, looks=one.looks, inlet=one.inlet, alone=one.alone)
        for one in check.answers
    ]
    if listed and check.part and not there:
        label = f"No {check.part.replace('-', ' ')} here"
        listed.append(AnswerOption(id=NONE_HERE, label=label))
    return tuple(listed)


def fault_shares(
    knowledge: Knowledge, probabilities: Floats, places: Places | None = None
) -> tuple[FaultShare, ...]:
    """Every fault with its probability, shape (F,), the likeliest first, ties by id.

    With `places`, their titles say the inlet they are at, as far as that is told.
    """
    pairs = zip(knowledge.faults.values(), probabilities, strict=True)
    ranked = sorted(pairs, key=lambda pair: (-pair[1], pair[0].id))
    return tuple(
        FaultShare(
            id=fault.id,
            title=titled(fault, places.of(fault)) if places is not None else fault.title,
            place=fault.place,
            mode=fault.mode,
            probability=float(probability),
        )
        for fault, probability in ranked
    )


def mode_shares(faults: Iterable[FaultShare]) -> dict[Mode, float]:
    """Probability of each mode, the likeliest first, ties by name."""
    totals = dict.fromkeys(Mode, 0.0)
    for fault in faults:
        totals[fault.mode] += fault.probability
    return dict(sorted(totals.items(), key=lambda pair: (-pair[1], pair[0])))
