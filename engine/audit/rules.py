"""Inspections of the rules: those that cannot fire, contradict each other or say a thing twice."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations

from stillflow.engine.audit.finding import Finding, Inspection, Severity
from stillflow.engine.audit.logic import MOST_CASES, Case
from stillflow.engine.audit.subject import Subject
from stillflow.engine.ruleset import Evidence, observed, say
from stillflow.engine.simulate import Question

FOR, AGAINST = 1, -1
_WORD = {FOR: "for", AGAINST: "against"}


class NeverFires(Inspection):
    """Reads every condition case by case."""

    name = "never-fires"
    finds = "A rule whose condition cannot be true, whatever is answered."
    severity = Severity.HIGH

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Rules that cannot fire."""
        for rule in subject.knowledge.rules.values():
            if rule.id not in subject.logic.firing:
                what = f"this can never be: {say(rule.when)}"
                right = "let it name what can be known and true at once"
                yield self.found(subject, "rules", rule.id, what, right)


class Contradicts(Inspection):
    """Compares cases that rest on the same observations."""

    name = "contradicts"
    finds = "Evidence for and against one fault from the same observation."
    severity = Severity.HIGH

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Rules that contradict themselves or each other."""
        for rule_id, said in subject.signs.items():
            for fault in sorted(fault for fault, signs in said.items() if len(signs) > 1):
                what = f"it speaks both for and against '{fault}'"
                yield self.found(subject, "rules", rule_id, what, "keep one of the two")
        for one, other in _meeting(subject):
            mine, theirs = subject.signs[one], subject.signs[other]
            faults = sorted(f for f in mine if f in theirs and mine[f].isdisjoint(theirs[f]))
            if faults:
                where = _where(subject, "rules", other)
                what = f"it contradicts '{other}' ({where}) about {_few(_quoted(faults))}"
                right = "keep one, or let the two exclude each other"
                yield self.found(subject, "rules", one, what, right)


class CountedTwice(Inspection):
    """Compares cases that rest on the same observations."""

    name = "counted-twice"
    finds = "Evidence that counts one observation twice for or against the same fault."
    severity = Severity.HIGH

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Rules that repeat themselves or each other."""
        for rule_id, items in subject.knowledge.evidence.items():
            counts: dict[tuple[str, int], int] = {}
            for item, faults in items:
                for fault in faults:
                    counts[fault, item.sign] = counts.get((fault, item.sign), 0) + 1
            for (fault, sign), count in sorted(counts.items()):
                if count > 1:
                    what = f"it speaks {_WORD[sign]} '{fault}' {count} times"
                    right = "say it once, with the strength that is meant; 'except:' takes one out"
                    yield self.found(subject, "rules", rule_id, what, right)
        for one, other in _meeting(subject):
            mine, theirs = subject.signs[one], subject.signs[other]
            shared = sorted(f for f in mine if mine[f] & theirs.get(f, frozenset()))
            if shared:
                where = _where(subject, "rules", other)
                what = f"'{other}' ({where}) says the same of {_few(_quoted(shared))}"
                right = "say it in one rule, or let the two exclude each other"
                yield self.found(subject, "rules", one, what, right)


class SaidAlready(Inspection):
    """Compares rules that join several observations with the rules on each of these alone."""

    name = "said-already"
    finds = "A rule that joins answers and repeats what each of them says in a rule of its own."
    severity = Severity.MEDIUM

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Joined evidence that adds nothing but weight."""
        for rule_id in subject.readable:
            repeated: dict[tuple[str, int], set[str]] = {}
            for fault, signs in subject.signs[rule_id].items():
                for sign in sorted(signs):
                    speakers = self._speakers(subject, rule_id, fault, sign)
                    if speakers:
                        repeated[fault, sign] = speakers
            if repeated:
                said = _few([f"{_WORD[sign]} '{fault}'" for fault, sign in sorted(repeated)])
                others = _few(_quoted(sorted({one for some in repeated.values() for one in some})))
                what = f"what it says {said} is said by {others} already"
                right = "join answers only where they say more together than one by one"
                yield self.found(subject, "rules", rule_id, what, right)

    def _speakers(self, subject: Subject, rule_id: str, fault: str, sign: int) -> set[str]:
        """Rules on single observations that say it all in some case; none if something is new."""
        for case in subject.logic.cases(rule_id):
            seen = observed(case)
            if len(seen) < 2:
                continue
            speakers = [self._alone(subject, case, one, fault, sign) for one in seen]
            if all(speakers):
                return {one for some in speakers for one in some}
        return set()

    def _alone(
        self, subject: Subject, case: Case, observation: str, fault: str, sign: int
    ) -> set[str]:
        rules = {rule for rule, _ in subject.by_observation.get(frozenset({observation}), ())}
        return {
            rule
            for rule in rules
            if sign in subject.signs[rule].get(fault, ()) and subject.logic.means(case, rule)
        }


class ForTheImpossible(Inspection):
    """Holds evidence that names a fault against the fault's `possible_when`."""

    name = "for-the-impossible"
    finds = "Evidence for a named fault that cannot be there whenever the rule fires."
    severity = Severity.MEDIUM

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Evidence for faults that are off the list."""
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
                        yield self.found(subject, "rules", rule_id, what, right)


class TooLong(Inspection):
    """Names the rules that the other inspections could not read."""

    name = "too-long"
    finds = "A rule whose condition has too many cases to be read, by people or by this audit."
    severity = Severity.LOW

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Rules that were left unread."""
        for rule_id in sorted(subject.logic.unread):
            what = f"its condition has more than {MOST_CASES:,} cases"
            right = "split it into several rules"
            yield self.found(subject, "rules", rule_id, what, right)


class NothingToWeigh(Inspection):
    """Looks for a reason to differ from the airflow model where that model is never asked."""

    name = "nothing-to-weigh"
    finds = "A rule with `weighed` whose condition is not of readings alone, so nobody weighs it."
    severity = Severity.LOW

    def look(self, subject: Subject) -> Iterator[Finding]:
        """Reasons that excuse nothing."""
        knowledge = subject.knowledge
        for rule in knowledge.rules.values():
            asked = Question.reads(rule) and not Question.beyond(knowledge, rule)
            if rule.weighed and not (asked and knowledge.evidence[rule.id]):
                what = "it gives a reason to differ from the airflow model, which cannot weigh it"
                right = "drop 'weighed'; what can fool a technician goes under 'misleads'"
                yield self.found(subject, "rules", rule.id, what, right)


def _meeting(subject: Subject) -> list[tuple[str, str]]:
    """Pairs of rules that speak of a common fault and can fire on the very same observations."""
    pairs: set[tuple[str, str]] = set()
    for cases in subject.by_observation.values():
        for (one, case), (other, other_case) in combinations(cases, 2):
            pair = (one, other)
            common = subject.signs[one].keys() & subject.signs[other].keys()
            if one == other or pair in pairs or not common:
                continue
            if subject.logic.both(case, other_case):
                pairs.add(pair)
    return sorted(pairs)


def _where(subject: Subject, section: str, entry_id: str) -> str:
    place = subject.knowledge.places[section, entry_id]
    return f"{place.file}:{place.line}"


def _quoted(ids: Iterable[str]) -> list[str]:
    return [f"'{one}'" for one in ids]


def _few(words: list[str], most: int = 4) -> str:
    shown = ", ".join(words[:most])
    return f"{shown} and {len(words) - most} more" if len(words) > most else shown
