"""Worked cases: invented calls with a known fault, and playing one through a session.

A case says what a technician finds in one house with the fault present, what has changed once it
is fixed, and what a good technician concludes. Comparing many at once is in `replay`.
"""

from __future__ import annotations

import os.path
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path as FilePath
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PrivateAttr, model_validator

from stillflow.casebook.parsing import read_mapping, text_of, to_model
from stillflow.engine.airflow import System, apply, readings
from stillflow.engine.base import InputError, Located, Model, Path, Place, Station, named
from stillflow.engine.dialogue import NextStep, Session
from stillflow.engine.inference import CANT_DO, Event, Visit, checked_answer, known_check
from stillflow.engine.ruleset import Check, Knowledge

MOST_STEPS = 60
"""Steps after which a case that has not ended never will."""

_FIRST_LINE = "title: The hall inlet is weak"


def _several(value: Any) -> Any:
    return value if isinstance(value, list | tuple) else (value,)


Answers = Mapping[
    str, Annotated[tuple[float | str, ...], BeforeValidator(_several), Field(min_length=1)]
]
"""Check -> its answer; or its answers in turn, each time it is asked, of which the last holds."""

Difficulty = Literal["easy", "middling", "hard"]

MANY_CHECKS = 10
"""More checks than these make a plain case one of middling difficulty."""

Sentence = Annotated[str, Field(min_length=10, max_length=500)]


class CaseHouse(Model):
    """What the house really is: where a case's readings come from."""

    air_path: System = Field(description="the house in good order")
    faults: dict[str, Annotated[tuple[float, ...], BeforeValidator(_several)]] = Field(
        default_factory=dict, description="fault -> size of its effect, in the effect's unit"
    )


class Expectation(Model):
    """What a good technician comes to."""

    fixes: tuple[str, ...] = Field(description="faults to be fixed or handed over, in order")
    ends: Literal["done", "refer", "stop"] = Field(description="how the visit ends")
    inlets: tuple[str, ...] = Field(
        (), description="name of the inlet that each fix is at, in their order; empty for none"
    )
    enough_checks: int | None = Field(None, ge=1, description="checks thought enough for it")


class Case(Model):
    """One worked case."""

    title: Sentence = Field(description="what is the matter, as a sentence")
    teaches: Sentence = Field(description="what there is to learn from it")
    kind: Literal["plain", "severe", "misleading", "stop"] = Field(
        description="whether the signs point the right way (with a severe fault), the wrong way, "
        "or end the visit"
    )
    visit: Visit = Field(description="the call as it begins, without events")
    house: CaseHouse | None = Field(
        None, description="the house that the readings were worked out for"
    )
    finds: Answers = Field(description="check -> answer with the fault present")
    after: Annotated[tuple[Answers, ...], BeforeValidator(_several)] = Field(
        (), description="check -> answer where it is another after each fix, in order of fixes"
    )
    inlets: dict[str, Annotated[tuple[str, ...], BeforeValidator(_several)]] = Field(
        default_factory=dict,
        description="check -> name of the inlet its answer is about; or the names before any fix "
        "and after each, of which the last holds",
    )
    expect: Expectation = Field(description="what a good technician comes to")
    _name: str = PrivateAttr("")
    _source: Located | None = PrivateAttr(None)

    @model_validator(mode="after")
    def _begins_and_ends(self) -> Case:
        if self.visit.events or self.visit.conclusion:
            raise ValueError("the visit of a case has no events and no conclusion; drop them")
        if len(self.after) > len(self.expect.fixes):
            raise ValueError("'after' says more than there are fixes; one mapping for each fix")
        return self

    @property
    def name(self) -> str:
        """The case's file name without its ending."""
        return self._name

    @property
    def difficulty(self) -> Difficulty:
        """How much it asks of a trainee.

        Hard where the signs mislead or faults hide each other; middling where many checks are
        enough, easy else.
        """
        if self.kind == "misleading" or len(self.expect.fixes) > 1:
            return "hard"
        many = (self.expect.enough_checks or 0) > MANY_CHECKS
        return "middling" if many else "easy"

    def answers(self, fixed: int) -> dict[str, tuple[float | str, ...]]:
        """Check -> answers in turn, when the first so many fixes have been made."""
        stages = (self.finds, *self.after[:fixed])
        return {check: answer for stage in stages for check, answer in stage.items()}

    def stages(self) -> Iterator[tuple[Path, Answers]]:
        """What is found and what has changed after each fix, with where the file says so."""
        yield ("finds",), self.finds
        listed = self._source is None or isinstance(self._source.data.get("after"), list)
        for index, stage in enumerate(self.after):
            yield ("after", index) if listed else ("after",), stage

    def place(self, *path: str | int) -> Place:
        """Where something stands in the case's file."""
        if self._source is None:
            return Place(self.name, None, ".".join(str(step) for step in path))
        return self._source.place(path)


@dataclass(frozen=True)
class PlayedTurn:
    """One step of a played case, and what was answered: a check's answer, or a fix done or left."""

    step: NextStep
    answer: float | str | bool


@dataclass(frozen=True)
class PlayedCase:
    """How a case went.

    Attributes:
        case: the case.
        visit: the record with all its events, and its conclusion if it came to one.
        turns: each step and its answer.
        last: the last step, which ends the visit unless it ran on for too long.
        fixes: faults whose fix was proposed, in order, right and wrong ones.
        inlets: the inlet that each of those was said to be at, empty where none was.
    """

    case: Case
    visit: Visit
    turns: tuple[PlayedTurn, ...]
    last: NextStep
    fixes: tuple[str, ...]
    inlets: tuple[str, ...] = ()

    @property
    def ends(self) -> str:
        """`done`, `refer` or `stop`; empty if it did not end."""
        return self.last.step if self.last.ending is not None else ""

    @property
    def checks(self) -> int:
        """How many checks were asked."""
        return sum(1 for turn in self.turns if turn.step.check is not None)

    @property
    def problems(self) -> tuple[str, ...]:
        """Where it differs from what was expected, a sentence each; empty if nowhere."""
        return tuple(self._problems())

    def _problems(self) -> Iterator[str]:
        expect = self.case.expect
        if not self.ends:
            yield f"no end after {MOST_STEPS} steps"
        elif self.ends != expect.ends:
            yield f"ends with '{self.ends}', not '{expect.ends}'"
        if self.fixes != expect.fixes:
            found, wanted = (", ".join(fixes) or "nothing" for fixes in (self.fixes, expect.fixes))
            yield f"fixes {found}; a good technician fixes {wanted}"
        elif expect.inlets and self.inlets != expect.inlets:
            yield f"at {', '.join(self.inlets)}; it is at {', '.join(expect.inlets)}"

    @property
    def remarks(self) -> tuple[str, ...]:
        """What is no mistake but worth a look, a sentence each.

        The planner spends minutes, not checks, so more checks than a technician would think
        enough are remarked on and not held against it.
        """
        enough = self.case.expect.enough_checks
        if enough is None or self.checks <= enough:
            return ()
        return (f"asks {self.checks} checks where {enough} are enough",)


def load_cases(folder: str | FilePath | None = None) -> list[Case]:
    """Read the worked cases of a folder, in order of their names; those shipped by default.

    Raises:
        InputError: no such folder, or a file that is not a worked case; names file, line and key.
    """
    if folder is None:
        folder = FilePath(str(resources.files("stillflow.casebook").joinpath("worked")))
    folder = FilePath(folder)
    if not os.path.isdir(folder):  # noqa: PTH112 - no, where Path raises
        raise InputError("there is no such folder of cases", Place(str(folder)), "check the name")
    paths = sorted(folder.glob("*.yaml"))
    if not paths:
        right = "case files are named such as case.yaml"
        raise InputError("no worked case is in this folder", Place(str(folder)), right)
    return [read_case(text_of(path), path.name) for path in paths]


def fixed_in_cases() -> dict[str, set[str]]:
    """Kind of case -> the faults that are fixed in some shipped case of that kind."""
    fixed: dict[str, set[str]] = {"plain": set(), "severe": set(), "misleading": set()}
    for case in load_cases():
        if case.kind != "stop":
            fixed[case.kind].update(case.expect.fixes)
    return fixed


def read_case(text: str, name: str) -> Case:
    """Read the text of one case. Errors as `load_cases`."""
    source = read_mapping(text, name, _FIRST_LINE)
    case = to_model(source, Case)
    case._name = FilePath(name).stem
    case._source = source
    return case


def named_case(name: str) -> Case | None:
    """The shipped case with exactly this name; None if there is none."""
    path = FilePath(str(resources.files("stillflow.casebook").joinpath("worked"))) / f"{name}.yaml"
    # As a name, not as a path that leads elsewhere.
    if path.name != f"{name}.yaml" or not os.path.isfile(path):  # noqa: PTH113 - as above
        return None
    return read_case(text_of(path), path.name)


def play(case: Case, knowledge: Knowledge) -> PlayedCase:
    """Play a case through a session, every check answered as the case says.

    A check the case says nothing about gets its most usual answer, a reading "can't do here". A
    fix that belongs to somebody else is handed over, any other is done; one that is not due
    changes nothing in the house.

    Raises:
        InputError: the case names a check, answer or fault that the rules do not have.
    """
    checked_case(case, knowledge)
    session = Session(knowledge, case.visit)
    turns: list[PlayedTurn] = []
    fixes: list[str] = []
    inlets: list[str] = []
    fixed = 0
    asked: dict[tuple[int, str], int] = {}
    while (step := session.next_step()).ending is None and len(turns) < MOST_STEPS:
        if step.fix is not None:
            done = not step.fix.refer
            session.record_fix(step.fix.fault, done)
            due = case.expect.fixes[fixed : fixed + 1]
            fixes.append(step.fix.fault)
            inlets.append(step.fix.inlet or "")
            fixed += done and due == (step.fix.fault,)
            turns.append(PlayedTurn(step, done))
        else:
            assert step.check is not None
            check = knowledge.checks[step.check.id]
            turn = asked.get((fixed, check.id), 0)
            asked[fixed, check.id] = turn + 1
            answer = _answer(case, check, fixed, turn)
            names = case.inlets.get(check.id, ())
            inlet = names[min(fixed, len(names) - 1)] if names else None
            session.record(check.id, answer, inlet=inlet)
            turns.append(PlayedTurn(step, answer))
    return PlayedCase(case, session.visit, tuple(turns), step, tuple(fixes), tuple(inlets))


def checked_case(case: Case, knowledge: Knowledge) -> None:
    """See that the rules have every check, answer and fault that a case names.

    Raises:
        InputError: they do not; names file, line and key.
    """
    for path, stage in case.stages():
        for check_id, answers in stage.items():
            try:
                check = known_check(knowledge, check_id)
                for answer in answers:
                    checked_answer(check, answer, "finds")
            except InputError as problem:
                place = case.place(*path, check_id)
                raise InputError(problem.what, place, problem.right) from None
    for path, fault_id in _faults_named(case):
        named(knowledge.faults, fault_id, "fault", case.place(*path))


def measured(case: Case, knowledge: Knowledge) -> Visit:
    """The visit with every reading of the case taken one after the other, and nothing else.

    Raises:
        InputError: the case names a check, answer or fault that the rules do not have.
    """
    checked_case(case, knowledge)
    readings = [name for name in case.finds if knowledge.checks[name].kind == "reading"]
    events = tuple(Event(check=name, answer=case.finds[name][-1]) for name in readings)
    return case.visit.model_copy(update={"events": events})


def worked_out(case: Case, knowledge: Knowledge, fixed: int) -> dict[str, float]:
    """What the gauge would show at every reading check in the case's house, inH2O.

    Args:
        case: a case that says what its house is.
        knowledge: the rules, which say what each fault does to the air path.
        fixed: how many of the expected fixes have been made.

    Raises:
        InputError: the case has no house, or one without the inlets its visit names.
    """
    if case.house is None:
        raise InputError("the case does not say what its house is", case.place(), "add 'house:'")
    system = case.house.air_path
    for fault_id, sizes in case.house.faults.items():
        if fault_id not in case.expect.fixes[:fixed]:
            system = apply(system, knowledge.faults[fault_id].effect, sizes)
    site = case.visit.site
    named = {Station.INLET: site.inlet, Station.HOSE: site.inlet, Station.OTHER: site.other_inlet}
    return {
        check.id: readings(system, check.station, check.condition, named.get(check.station) or None)
        for check in knowledge.checks.values()
        if check.station is not None and check.condition is not None
    }


def _answer(case: Case, check: Check, fixed: int, turn: int) -> float | str:
    answers = case.answers(fixed).get(check.id)
    if answers is not None:
        return answers[min(turn, len(answers) - 1)]
    if check.kind == "reading":
        return CANT_DO
    return max(check.answers, key=lambda answer: answer.usual).id


def _faults_named(case: Case) -> Iterator[tuple[Path, str]]:
    for index, fault_id in enumerate(case.expect.fixes):
        yield ("expect", "fixes", index), fault_id
    for fault_id in case.house.faults if case.house is not None else ():
        yield ("house", "faults", fault_id), fault_id
