"""What a complaint plainly says: answers taken from the customer's own words by listed phrases.

Nothing is guessed. A phrase counts as whole words only; a clause in which anything makes it unsure
(`not`, `maybe`, `used to`, a question) gives nothing; words that point two ways give nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from stillflow.engine.ruleset.knowledge import Knowledge


@dataclass(frozen=True)
class Heard:
    """One answer taken from a complaint.

    Attributes:
        check: id of the question it answers.
        answer: id of the answer.
        words: the words it was taken from.
    """

    check: str
    answer: str
    words: str


_CLAUSE = re.compile(r"([.,;:!?\n]|\bbut\b|\balthough\b|\bthough\b)")
_WORD = re.compile(r"[^\W_]+(?:'[^\W_]+)*")


def heard(knowledge: Knowledge, complaint: str) -> dict[str, Heard]:
    """The answers that a complaint plainly gives, by check, in order of the check's id."""
    found: dict[str, dict[str, Heard]] = {}
    unsure = [word for one in knowledge.unsure.values() for word in one.words]
    plainly = [words for one in knowledge.unsure.values() for words in one.but_not]
    for clause, asks in _clauses(complaint):
        for phrase in knowledge.phrases.values():
            # The longest, so that the words shown say most.
            said = max((one for one in phrase.says if _in(clause, one)), key=len, default=None)
            if said is None:
                continue
            rest = clause.replace(f" {said} ", "  ", 1)
            for words in plainly:
                rest = rest.replace(f" {words} ", "  ")
            answers = found.setdefault(phrase.check, {})
            if asks or any(_in(rest, word) for word in unsure):
                # What is denied in one place is not plain in another either.
                answers[""] = Heard(phrase.check, "", said)
            else:
                answers.setdefault(phrase.answer, Heard(phrase.check, phrase.answer, said))
    plain = {check: one for check, one in sorted(found.items()) if len(one) == 1 and "" not in one}
    return {check: next(iter(answers.values())) for check, answers in plain.items()}


def _clauses(complaint: str) -> Iterator[tuple[str, bool]]:
    """Each clause as its words between blanks, in lower case, and whether it is a question."""
    pieces = [*_CLAUSE.split(complaint.lower().replace("’", "'")), ""]
    for clause, end in zip(pieces[::2], pieces[1::2], strict=False):
        yield f" {' '.join(_WORD.findall(clause))} ", end == "?"


def _in(clause: str, words: str) -> bool:
    return f" {words} " in clause
