"""Models of what fault trees take from the rule files besides faults: complaints, combinations.

What each entry means is explained in `rules/README.md`; trees are made of them in `views`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from stillflow.engine.base import Mode, Where
from stillflow.engine.ruleset.entries import Entry, Id, Probability, Sentence


class Complaint(Entry):
    """What a customer calls about: the answer to a question that stands for it."""

    title: Sentence
    check: Id
    answer: Id


class Circumstance(Entry):
    """Something that is no fault but that a fault may need to be felt, and in which share of homes.

    Independent of the faults: not something that a fault brings about.
    """

    title: Sentence
    share: Probability


class Combination(Entry):
    """Faults and circumstances that only together bring something about.

    In a fault tree the faults named here act through their combinations only.
    """

    title: Sentence
    place: Where
    mode: Mode
    faults: Annotated[tuple[Id, ...], Field(min_length=1)]
    circumstances: tuple[Id, ...] = ()
    because: Sentence

    @model_validator(mode="after")
    def _combines(self) -> Combination:
        if len({*self.faults, *self.circumstances}) < 2:
            raise ValueError("it combines nothing; name a second fault or a circumstance")
        return self
