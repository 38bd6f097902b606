"""Inspections of the faults: those the rules cannot find, and those they cannot tell apart."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from stillflow.engine.audit.finding import Severity, Slips, inspection
from stillflow.engine.audit.subject import Subject
from stillflow.engine.base import Floats, Strength, in_percent
from stillflow.engine.dialogue import given, learnt
from stillflow.engine.inference import Situation
from stillflow.engine.ruleset import Fault

_PASSES = 6
"""Times every answer is chosen again; the choice stands still after two or three."""

_EQUAL = 1e-9
"""Below this a difference is rounding."""


@inspection(Severity.HIGH)
def never_raised(subject: Subject) -> Slips:
    """A fault that no rule can raise above its prior."""
    raised = _raised(subject)
    for fault_id, is_raised in zip(subject.knowledge.faults, raised, strict=True):
        if not is_raised:
            what = "no rule that can fire speaks for it"
            right = "write a rule for the answer that shows it"
            yield "faults", fault_id, what, right


@inspection(Severity.HIGH)
def never_first(subject: Subject) -> Slips:
    """A fault that stays behind another even when every answer goes its way."""
    if subject.model is None:
        return
    faults = list(subject.knowledge.faults.values())
    prior = subject.model.prior({})
    raised = _raised(subject)
    for index, fault in enumerate(faults):
        if not raised[index]:
            continue
        answers, weights = _best_answers(subject, fault, index, prior)
        if weights[index] >= weights.max():
            continue
        # The table of single answers leaves joined evidence out; the belief counts it.
        shares = _believed(subject, answers, prior)
        lead = int(shares.argmax())
        outdone = shares[lead] > shares[index] * (1 + _EQUAL)
        if outdone and not _declared(subject, fault.id, faults[lead].id):
            what = (
                f"with every answer in its favour '{faults[lead].id}' is still likelier "
                f"({in_percent(shares[lead])} against {in_percent(shares[index])})"
            )
            right = "give it evidence that the other does not have"
            yield "faults", fault.id, what, right


@inspection(Severity.MEDIUM)
def not_told_apart(subject: Subject) -> Slips:
    """Two faults that no sequence of answers can separate."""
    faults = subject.knowledge.faults
    apart = _separation(subject)
    limit = np.log(Strength.SUBSTANTIAL.factor)
    for (i, one), (j, other) in combinations(enumerate(faults), 2):
        if apart[i, j] >= limit or _declared(subject, one, other):
            continue
        # What is known of unit and site tells them apart if they cannot both be possible.
        whens = faults[one].possible_when, faults[other].possible_when
        if not subject.logic.possible({}, *whens):
            continue
        words = "no answer tells it"
        if apart[i, j] > _EQUAL:
            words = f"all answers together weigh less than {np.exp(apart[i, j]):.1f} to 1 for it"
        what = f"{words} from '{other}'"
        right = "write a check that does, or name both under 'alike:' with the reason"
        yield "faults", one, what, right


@inspection(Severity.MEDIUM)
def only_left_over(subject: Subject) -> Slips:
    """A fault that no answer speaks for over some other, so that it is only ever left over."""
    if subject.model is None:
        return
    names = list(subject.knowledge.faults)
    own, apart = _own(subject, subject.model.prior({})), _separation(subject)
    whens = [one.possible_when for one in subject.knowledge.faults.values()]
    for index, name in enumerate(names):
        # Of several that it is not told from, the one most like it in all answers.
        for near in np.lexsort((apart[index], own[index].round(1))):
            if own[index, near] >= np.log(Strength.SUBSTANTIAL.factor):
                break
            other = names[near]
            if near == index or _declared(subject, name, other):
                continue
            if subject.logic.possible({}, whens[index], whens[near]):
                what = f"no answer that speaks for it tells it from '{other}'"
                right = "write a check that looks straight at it, and a rule for what is seen"
                yield "faults", name, what, right
                break


@inspection(Severity.LOW)
def alike_without_need(subject: Subject) -> Slips:
    """Faults declared alike that the rules do tell apart."""
    index = subject.knowledge.fault_index
    apart = _separation(subject)
    limit = np.log(Strength.SUBSTANTIAL.factor)
    for entry in subject.knowledge.alike.values():
        for one, other in combinations(entry.faults, 2):
            if apart[index[one], index[other]] >= limit:
                what = f"the rules tell '{one}' from '{other}'"
                yield "alike", entry.id, what, "take one of them out"


@inspection(Severity.MEDIUM)
def alike_in_name_only(subject: Subject) -> Slips:
    """Faults declared alike that are fixed in different ways."""
    faults = subject.knowledge.faults
    for entry in subject.knowledge.alike.values():
        for one, other in combinations(entry.faults, 2):
            mine, theirs = faults[one].fix, faults[other].fix
            if (mine.steps, mine.access, mine.refer) != (
                theirs.steps,
                theirs.access,
                theirs.refer,
            ):
                what = f"'{one}' and '{other}' are fixed in different ways"
                right = "give them the same steps, or a check that tells them apart"
                yield "alike", entry.id, what, right


def _raised(subject: Subject) -> list[bool]:
    """Per fault, whether some rule that can fire speaks for it."""
    said = [subject.signs[rule_id] for rule_id in subject.logic.firing]
    return [any(1 in signs.get(fault, ()) for signs in said) for fault in subject.knowledge.faults]


def _declared(subject: Subject, one: str, other: str) -> bool:
    return any({one, other} <= set(entry.faults) for entry in subject.knowledge.alike.values())


def _separation(subject: Subject) -> Floats:
    """The most that any answers can say for one fault over another, either way, natural log.

    Single answers by their likelihoods; joined evidence by the difference of its weights.
    """
    count = len(subject.knowledge.faults)
    apart = np.zeros((count, count))
    for logs in subject.logs.values():
        apart += (logs[:, :, None] - logs[:, None, :]).max(axis=0)
    single = {
        rule_id
        for seen, cases in subject.by_observation.items()
        if len(seen) == 1 and next(iter(seen)).startswith(("answer.", "reading."))
        for rule_id, _ in cases
    }
    for rule_id, row in zip(subject.rule_ids, subject.weights, strict=True):
        if rule_id not in single:
            apart += np.maximum(row[:, None] - row[None, :], 0)
    return np.maximum(apart, apart.T)


def _own(subject: Subject, prior: Floats) -> Floats:
    """The most that answers which speak for a fault say for it over another, natural log, (F, F).

    An answer speaks for a fault where it is likelier with it than elsewhere by more than a hint.
    Readings hang together, so that only the most telling of them counts.
    """
    count = len(subject.knowledge.faults)
    looks, reads = np.zeros((count, count)), np.zeros((count, count))
    for check_id, logs in subject.logs.items():
        chance = np.exp(logs)
        elsewhere = ((chance @ prior)[:, None] - chance * prior) / (1.0 - prior)
        speaks = chance > elsewhere * Strength.SLIGHT.factor
        most = np.where(speaks[:, :, None], logs[:, :, None] - logs[:, None, :], 0.0).max(axis=0)
        if subject.knowledge.checks[check_id].kind == "reading":
            reads = np.maximum(reads, most)
        else:
            looks += np.maximum(most, 0.0)
    return looks + reads


def _best_answers(
    subject: Subject, fault: Fault, index: int, prior: Floats
) -> tuple[dict[str, str], Floats]:
    """For each check the answer that serves a fault best, given the other answers.

    Returns:
        answers by check, and the logarithm of the weight each fault then has by single answers.
    """
    tables = {
        check_id: (outlook.answers, subject.logs[check_id])
        for check_id, outlook in subject.outlooks.items()
        if subject.logic.possible(
            {}, fault.possible_when, subject.knowledge.checks[check_id].possible_when
        )
    }
    with np.errstate(divide="ignore"):
        weights = np.log(prior)
    chosen: dict[str, int] = {}
    for _ in range(_PASSES):
        before = dict(chosen)
        for check_id, (_, logs) in tables.items():
            if check_id in chosen:
                weights = weights - logs[chosen[check_id]]
            options = weights + logs
            gain = options[:, index] - np.logaddexp.reduce(options, axis=1)
            best = int(gain.argmax())
            if gain[best] > weights[index] - np.logaddexp.reduce(weights):
                chosen[check_id] = best
                weights = options[best]
            else:
                chosen.pop(check_id, None)
        if chosen == before:
            break
    return {check_id: tables[check_id][0][best] for check_id, best in chosen.items()}, weights


def _believed(subject: Subject, answers: dict[str, str], prior: Floats) -> Floats:
    """Probabilities after these answers, joined evidence counted, shape (F,)."""
    model, knowledge = subject.model, subject.knowledge
    assert model is not None
    situation, weights = Situation({}), prior
    for check_id, answer in answers.items():
        check = knowledge.checks[check_id]
        said = given(knowledge, model.baseline, check, answer)
        weights = weights * model.likelihood(situation, check, said)
        weights = weights / weights.sum()
        situation = learnt(situation, check, said)
    return weights
