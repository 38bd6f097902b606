"""Why the belief is what it is: the loudest rules first, and what each answer would make of it."""

from __future__ import annotations

import pytest
from small_rules import SMALL, small

from stillflow.engine import Session
from stillflow.engine.dialogue.answers import given, learnt
from stillflow.engine.dialogue.explain import FAINT, MOST_REASONS, reasons
from stillflow.engine.inference.production import Firing
from stillflow.engine.ruleset.knowledge import Knowledge

RULE = """
  - id: {name}
    when: {{fact: answer.hiss, is: hissing}}
    then: [{then}]
    because: {because}
    source: common-practice
"""


def told(knowledge: Knowledge, *rule_ids: str) -> tuple[str, ...]:
    """The reasons at the start of a visit on which just these rules fired."""
    firings = [Firing(rule_id, {}, ()) for rule_id in rule_ids]
    return reasons(knowledge, Session(knowledge).progress, firings)


def with_rules(*rules: tuple[str, str]) -> Knowledge:
    made = (RULE.format(name=name, then=then, because=f"Of {name}.") for name, then in rules)
    return small(SMALL + "".join(made))


def test_the_loudest_rule_is_told_first_and_what_speaks_against_is_not() -> None:
    knowledge = with_rules(
        ("quiet", "{for: hose-clogged, strength: substantial}"),
        ("loud", "{for: hose-clogged, strength: very-strong}"),
        ("against", "{against: hose-clogged, strength: decisive}"),
    )
    assert told(knowledge, "quiet", "against", "loud") == ("Of loud.", "Of quiet.")
    assert told(knowledge) == ()
    assert told(knowledge, "against") == ()


def test_what_is_faint_beside_the_loudest_is_left_out() -> None:
    # At the start seal and hose are as likely as each other, the motor a third of that.
    knowledge = with_rules(
        ("loud", "{for: hose-clogged, strength: decisive}"),
        ("faint", "{for: nothing-wrong, strength: slight}"),
        ("heard", "{for: seal-torn, strength: substantial}"),
    )
    shares = dict(zip(knowledge.faults, Session(knowledge).progress.probabilities, strict=True))
    faint = 1.8 * shares["nothing-wrong"]
    assert faint < FAINT * 100 * shares["hose-clogged"] < 3.2 * shares["seal-torn"]
    assert told(knowledge, "faint", "heard", "loud") == ("Of loud.", "Of heard.")


def test_a_voice_counts_every_fault_it_names_by_how_likely_it_is() -> None:
    knowledge = with_rules(
        ("one", "{for: seal-torn, strength: strong}"),
        ("two", "{for: [seal-torn, hose-clogged], strength: strong}"),
    )
    assert told(knowledge, "one", "two") == ("Of two.", "Of one.")


def test_reasons_are_few_ties_go_by_id_and_the_same_sentence_stands_once() -> None:
    names = [f"rule-{letter}" for letter in "edcba"]
    knowledge = with_rules(*((name, "{for: seal-torn, strength: strong}") for name in names))
    assert len(names) > MOST_REASONS
    assert told(knowledge, *names) == tuple(f"Of rule-{letter}." for letter in "abcd")
    twice = small(
        SMALL
        + "".join(
            RULE.format(name=name, then="{for: seal-torn, strength: strong}", because="It hisses.")
            for name in ("one", "two")
        )
    )
    assert told(twice, "one", "two") == ("It hisses.",)


def test_advice_is_told_after_the_reasons_however_many_there_are() -> None:
    knowledge = with_rules(
        ("tip", "{advise: Ask when it began.}"),
        *((f"rule-{n}", "{for: seal-torn, strength: strong}") for n in range(5)),
    )
    said = told(knowledge, "tip", *(f"rule-{n}" for n in range(5)))
    assert len(said) == MOST_REASONS + 1
    assert said[-1] == "Ask when it began."


def test_what_an_answer_would_mean_is_what_it_then_makes_of_the_belief() -> None:
    knowledge = small()
    for check in knowledge.checks.values():
        session = Session(knowledge)
        told_ = session.meanings(check.id)
        assert sum(one.chance for one in told_) == pytest.approx(1.0)
        assert [one.chance for one in told_] == sorted((m.chance for m in told_), reverse=True)
        labels = {one.label: one.id for one in check.answers}
        labels |= {level.title: level.id for level in knowledge.levels} if not labels else {}
        assert {one.answer for one in told_} == set(labels)
        for one in told_:
            then = Session(knowledge)
            then.record(check.id, given(knowledge, then.baseline, check, labels[one.answer]))
            if then.progress.doubts:
                continue
            first = then.next_step().faults[0]
            assert (one.fault, one.probability) == (first.title, pytest.approx(first.probability))
            assert one.stops == ""


def test_an_answer_that_ends_the_visit_says_so_and_no_other_does() -> None:
    stop = RULE.format(
        name="burnt",
        then="{stop: The seal has burnt., call: an electrician, do_not: Do not run it.}",
        because="It smells.",
    ).replace("answer.hiss, is: hissing", "answer.seal-look, is: torn")
    session = Session(small(SMALL + stop))
    stops = {one.answer: one.stops for one in session.meanings("seal-look")}
    assert stops == {"torn": "The seal has burnt.", "whole": ""}


def test_an_answer_is_laid_in_as_what_could_be_recorded() -> None:
    knowledge = small()
    session = Session(knowledge)
    look, sealed = knowledge.checks["seal-look"], knowledge.checks["sealed-inlet"]
    assert given(knowledge, session.baseline, look, "torn") == "torn"
    # The plain unit reads 120 sealed, and low stands at 0.6 of it.
    assert given(knowledge, session.baseline, sealed, "low") == pytest.approx(72.0)
    known = learnt(session.progress.situation, look, "torn")
    known = learnt(known, sealed, 72.0)
    session.record("seal-look", "torn")
    session.record("sealed-inlet", 72.0)
    assert known.choices == session.progress.situation.choices
    assert known.readings == session.progress.situation.readings
