"""Marks of drills, kept for each trainee: a small text file, one line of JSON for each drill.

A class's file can be mailed, joined to another (`cat`) or opened in anything. What a drill comes
to is worked out by the engine.
"""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path as FilePath

from pydantic import Field, ValidationError

from stillflow.casebook.parsing import text_of
from stillflow.engine.base import InputError, Model, Place, SetupError
from stillflow.engine.drill import Deduction, Ending, Level, Review, losses_of

EXAM = 10
"""Houses of an exam."""

EXAM_LEVELS: tuple[Level, ...] = (1, 1, 1, 2, 2, 2, 2, 3, 3, 3)


class DrillMark(Model):
    """One drill as it went."""

    trainee: str = Field(min_length=1, max_length=80)
    at: datetime
    seed: int
    level: Level
    exam: int | None = None
    number: int | None = None
    house: str
    rules: str
    faults: tuple[str, ...]
    ending: Ending
    minutes: float
    planner: float
    steps: int
    told_nothing: int
    too_little: int
    walked_past: int
    hints: int
    unproved: bool = False
    planner_ended: Ending = "mended"
    mark: int = Field(ge=0, le=100)
    practise: tuple[str, ...] = ()

    @property
    def losses(self) -> tuple[Deduction, ...]:
        """What the mark lacks of 100."""
        return losses_of(
            self.ending,
            self.minutes,
            self.planner,
            self.planner_ended,
            past=self.walked_past,
            hints=self.hints,
            guesses=self.too_little,
            unproved=self.unproved,
        )


def mark_of(
    review: Review, trainee: str, exam: int | None = None, number: int | None = None
) -> DrillMark:
    """The line that a drill leaves."""
    drill = review.yours
    return DrillMark(
        trainee=trainee,
        at=datetime.now(UTC).replace(microsecond=0),
        seed=drill.house.order.seed,
        level=drill.house.order.level,
        exam=exam,
        number=number,
        house=drill.house.digest,
        rules=drill.knowledge.digest,
        faults=drill.house.call.faults,
        ending=drill.ending or "not-mended",
        minutes=round(drill.minutes, 1),
        planner=round(review.planners.minutes, 1),
        steps=len(drill.done),
        told_nothing=len(review.told_nothing),
        too_little=len(review.too_little),
        walked_past=len(review.walked_past),
        hints=drill.hints,
        unproved=drill.unproved,
        planner_ended=review.planners.ending or "not-mended",
        mark=review.mark,
        practise=review.practise_faults,
    )


def exam_seed(exam: int, number: int) -> int:
    """The seed of one house of an exam; both from 1."""
    return exam * 1000 + number


def marks_file() -> FilePath:
    """Where marks are kept by default: beside the casebook, in the user's data folder."""
    from platformdirs import user_data_dir

    return FilePath(user_data_dir("stillflow", appauthor=False)) / "marks.jsonl"


def read_marks(path: FilePath) -> list[DrillMark]:
    """All marks of a file, in order; none if there is no such file.

    Raises:
        InputError: a line is not a mark; says which.
    """
    if not os.path.exists(path):  # noqa: PTH110 - no, where Path raises
        return []
    marks = []
    for number, line in enumerate(text_of(path).splitlines(), 1):
        if not line.strip():
            continue
        try:
            marks.append(DrillMark.model_validate_json(line))
        except ValidationError as problem:
            first = problem.errors()[0]
            raise InputError(
                f"this line is not a mark ({first['msg'][:80].lower()})",
                Place(str(path), number, ".".join(map(str, first["loc"]))),
                "take it out, or name another file with --marks",
            ) from None
    return marks


def add_mark(path: FilePath, mark: DrillMark) -> None:
    """Write a mark behind the others.

    Raises:
        SetupError: the file cannot be written.
    """
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with path.open("a", encoding="utf-8") as stream:
            stream.write(mark.model_dump_json(exclude_defaults=True) + "\n")
    except OSError as problem:
        reason = (problem.strerror or str(problem)).lower()
        raise SetupError(
            f"the mark cannot be kept ({reason})", Place(str(path)), "name a file with --marks"
        ) from None
