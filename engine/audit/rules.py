"""Inspections of the rules: those that cannot fire, contradict each other or say a thing twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace

from stillflow.engine.audit.finding import Severity, Slips, inspection
from stillflow.engine.audit.logic import MOST_CASES, Case
from stillflow.engine.audit.subject import MOST_COMPARED, Subject
from stillflow.engine.base import Where, counted, nearest
from stillflow.engine.ruleset import Evidence, observed, say

FOR, AGAINST = 1, -1
_WORD = {FOR: "for", AGAINST: "against"}
_FEW = 4


@inspection(Severity.HIGH)
def never_fires(subject: Subject) -> Slips:
    """A rule whose condition cannot be true, whatever is answered."""
    for rule in subject.knowledge.rules.values():
        if rule.id not in subject.logic.firing:
            what = f"this can never be: {say(rule.when)}"
            right = "let it name what can be known and true at once"
            yield "rules", rule.id, what, right


@inspection(Severity.HIGH)
def contradicts(subject: Subject) -> Slips:
    """Evidence for and against one fault from the same observation."""
    for rule_id, said in subject.signs.items():
        for fault in sorted(fault for fault, signs in said.items() if len(signs) > 1):
            what = f"it speaks both for and against '{fault}'"
            yield "rules", rule_id, what, "keep one of the two"
    against = {
        (one, other): faults
        for one, other in subject.meeting
        if (faults := _about(subject, one, other, frozenset.isdisjoint))
    }
    for one, others, faults in _told_together(against):
        what = f"it contradicts {_placed(subject, others)} about {_few(_quoted(faults))}"
        yield "rules", one, what, "keep one, or let them exclude each other"


@inspection(Severity.HIGH)
def counted_twice(subject: Subject) -> Slips:
    """Evidence that counts one observation twice for or against the same fault."""
    for rule_id, items in subject.knowledge.evidence.items():
        counts: dict[tuple[str, int], int] = {}
        for item, faults in items:
            for fault in faults:
                counts[fault, item.sign] = counts.get((fault, item.sign), 0) + 1
        for (fault, sign), count in sorted(counts.items()):
            if count > 1:
                what = f"it speaks {_WORD[sign]} '{fault}' {count} times"
                right = "say it once, with the strength that is meant; 'except:' takes one out"
                yield "rules", rule_id, what, right
    same = {
        (one, other): shared
        for one, other in (*subject.meeting, *subject.twins)
        if (shared := _about(subject, one, other, frozenset.intersection))
    }
    for one, others, shared in _told_together(same):
        say_ = "says" if len(others) == 1 else "say"
        what = f"{_placed(subject, others)} {say_} the same of {_few(_quoted(shared))}"
        yield "rules", one, what, "say it in one rule, or let them exclude each other"


@inspection(Severity.MEDIUM)
def said_already(subject: Subject) -> Slips:
    """A rule that joins answers and repeats what each of them says in a rule of its own."""
    for rule_id in subject.readable:
        repeated: dict[tuple[str, int], set[str]] = {}
        for fault, signs in subject.signs[rule_id].items():
            for sign in sorted(signs):
                speakers = _speakers(subject, rule_id, fault, sign)
                if speakers:
                    repeated[fault, sign] = speakers
        if repeated:
            said = _few([f"{_WORD[sign]} '{fault}'" for fault, sign in sorted(repeated)])
            others = _few(_quoted(sorted({one for some in repeated.values() for one in some})))
            what = f"what it says {said} is said by {others} already"
            right = "join answers only where they say more together than one by one"
            yield "rules", rule_id, what, right


def _speakers(subject: Subject, rule_id: str, fault: str, sign: int) -> set[str]:
    """Rules on single observations that say it all in some case; none if something is new."""
    for case in subject.logic.cases(rule_id):
        seen = observed(case)
        if len(seen) < 2:
            continue
        speakers = [_alone(subject, case, one, fault, sign) for one in seen]
        if all(speakers):
            return {one for some in speakers for one in some}
    return set()


def _alone(subject: Subject, case: Case, observation: str, fault: str, sign: int) -> set[str]:
    rules = subject.alone.get((observation, fault, sign), ())
    return {rule for rule in rules if subject.logic.means(case, rule)}


@inspection(Severity.MEDIUM)
def for_the_impossible(subject: Subject) -> Slips:
    """Evidence for a named fault that cannot be there whenever the rule fires."""
    knowledge = subject.knowledge
    for rule_id in subject.readable:
        cases = subject.logic.cases(rule_id)
        for item in knowledge.rules[rule_id].then:
            if not isinstance(item, Evidence) or item.sign < 0:
                continue
            for fault in (knowledge.faults[f] for f in item.selector if f in knowledge.faults):
                if not any(subject.logic.possible(case, fault.possible_when) for case in cases):
                    what = f"it speaks for '{fault.id}', which cannot be there then"
                    where = _where(subject, "faults", fault.id)
                    right = f"drop it, or look at its possible_when ({where})"
                    yield "rules", rule_id, what, right


@inspection(Severity.LOW)
def too_long(subject: Subject) -> Slips:
    """A rule whose condition has too many cases to be read, by people or by this audit."""
    for rule_id in sorted(subject.logic.unread):
        what = f"its condition has more than {MOST_CASES:,} cases"
        right = "split it into several rules"
        yield "rules", rule_id, what, right


@inspection(Severity.LOW)
def not_compared(subject: Subject) -> Slips:
    """More rules on the same observations than are compared with each other."""
    for left in subject.left_out:
        count = counted(len(left), "rule")
        what = f"not compared with others on the same observations: {count} from here on"
        right = f"the first {MOST_COMPARED} are; join rules that say the same"
        yield "rules", left[0], what, right


@inspection(Severity.MEDIUM)
def against_physics(subject: Subject) -> Slips:
    """A rule on readings that says for or against where the airflow model says the reverse."""
    knowledge = subject.knowledge
    factors = subject.factors
    misplaced = {fault for fault, _, _ in _misplaced(subject)}
    for rule_id, said in subject.reversed_in(knowledge).items():
        for sign in (FOR, AGAINST):
            wrong = [
                f"'{fault}' (x {factors[rule_id][knowledge.fault_index[fault]]:.2g})"
                for fault, its in said
                if its == sign and fault not in misplaced
            ]
            if wrong:
                than = "rarer" if sign > 0 else "likelier"
                what = (
                    f"it speaks {_WORD[sign]} {_few(wrong)}, "
                    f"with which the airflow model makes these readings {than}"
                )
                right = "turn it round, take it out with 'except:', or say why under 'weighed:'"
                yield "rules", rule_id, what, right


@inspection(Severity.MEDIUM)
def place_against_effect(subject: Subject) -> Slips:
    """A fault laid over rules on readings that say of its place the reverse of what it does."""
    for name, rules, place in _misplaced(subject):
        fault = subject.knowledge.faults[name]
        what = (
            f"'place: {fault.place}' does not go with what its 'effect:' does to readings "
            f"({counted(len(rules), 'rule')} such as '{rules[0]}' would mislead)"
        )
        yield "faults", name, what, f"write 'place: {place}', or another 'effect:'"


def _misplaced(subject: Subject) -> Iterator[tuple[str, list[str], Where]]:
    """Faults laid over rules that say the reverse, those rules, and the place where none would."""
    knowledge = subject.knowledge
    wrong: dict[str, list[str]] = {}
    for rule_id, said in subject.reversed_in(knowledge).items():
        for name, _ in said:
            if subject.above(name, rule_id):
                wrong.setdefault(name, []).append(rule_id)
    for name, rules in wrong.items():
        for place in Where:
            moved = knowledge.faults[name].model_copy(update={"place": place})
            elsewhere = replace(knowledge, faults={**knowledge.faults, name: moved})
            found = subject.reversed_in(elsewhere).values()
            if not any(one == name for said in found for one, _ in said):
                yield name, rules, place
                break


@inspection(Severity.LOW)
def nothing_to_weigh(subject: Subject) -> Slips:
    """A rule with `weighed` whose condition is not of readings alone, so nobody weighs it."""
    knowledge = subject.knowledge
    for rule in knowledge.rules.values():
        if rule.weighed and not (rule.gauged and knowledge.evidence[rule.id]):
            what = "it gives a reason to differ from the airflow model, which cannot weigh it"
            right = "drop 'weighed'; what can fool a technician goes under 'misleads'"
            yield "rules", rule.id, what, right


@inspection(Severity.MEDIUM)
def once_alone(subject: Subject) -> Slips:
    """A rule that is to count once with others, and no other has that name."""
    named = Counter(rule.once for rule in subject.knowledge.rules.values())
    for rule in subject.knowledge.rules.values():
        if rule.once is not None and named[rule.once] == 1:
            others = [name for name in named if name is not None and name != rule.once]
            what = f"it is to count once with others, and no other rule says 'once: {rule.once}'"
            yield "rules", rule.id, what, nearest(rule.once, others) or "drop 'once:'"


def _about(
    subject: Subject, one: str, other: str, how: Callable[[frozenset[int], frozenset[int]], object]
) -> list[str]:
    """Faults that two rules both speak of, with signs that are so to each other."""
    mine, theirs = subject.signs[one], subject.signs[other]
    return sorted(fault for fault in mine.keys() & theirs.keys() if how(mine[fault], theirs[fault]))


def _told_together(
    pairs: Mapping[tuple[str, str], list[str]],
) -> Iterator[tuple[str, list[str], list[str]]]:
    """Each rule with the rules it is paired with and what about; a group is told once.

    Args:
        pairs: two rules, in order -> the faults.
    """
    partners: dict[str, dict[str, list[str]]] = {}
    for (one, other), faults in sorted(pairs.items()):
        partners.setdefault(one, {})[other] = faults
    told: dict[str, list[set[str]]] = {}
    for one, others in partners.items():
        group = {one, *others}
        if any(group <= earlier for earlier in told.get(one, ())):
            continue
        for member in group:
            told.setdefault(member, []).append(group)
        yield one, list(others), sorted({fault for some in others.values() for fault in some})


def _placed(subject: Subject, ids: list[str]) -> str:
    return _few([f"'{one}' ({_where(subject, 'rules', one)})" for one in ids])


def _where(subject: Subject, section: str, entry_id: str) -> str:
    place = subject.knowledge.places[section, entry_id]
    return f"{place.file}:{place.line}"


def _quoted(ids: Iterable[str]) -> list[str]:
    return [f"'{one}'" for one in ids]


def _few(words: list[str]) -> str:
    shown = ", ".join(words[:_FEW])
    return f"{shown} and {len(words) - _FEW} more" if len(words) > _FEW else shown
