"""Generated visits: answers as the rules' own tables have them, and nothing of a later moment."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from small_rules import SMALL, small

from stillflow.casebook.generated import (
    CallKind,
    GeneratedVisit,
    draw_kinds,
    facts_of,
    generate,
    recorded,
)
from stillflow.engine.base.errors import InputError
from stillflow.engine.dialogue.session import Session
from stillflow.engine.inference.visit import Unit, Visit

RULES = small()

STOP = """
  - id: smoke
    when: {all: [{fact: answer.hiss, is: hissing}, {fact: level.sealed.inlet, is: low}]}
    then: [{stop: There is smoke., call: The fire service, do_not: Do not touch it.}]
    because: It burns.
    source: common-practice
"""


def drawn(count: int, seed: int = 5, share: float = 0.5) -> list[GeneratedVisit]:
    generator = np.random.default_rng(seed)
    return list(generate(draw_kinds(RULES, generator, 3), generator, count, share))


def test_the_same_seed_gives_the_same_visits() -> None:
    first, second = drawn(40), drawn(40)
    assert [(one.hidden, one.answers) for one in first] == [
        (one.hidden, one.answers) for one in second
    ]
    assert [one.answers for one in first] != [one.answers for one in drawn(40, seed=6)]


def test_answers_come_as_often_as_the_belief_says() -> None:
    kind = CallKind(RULES, Visit(unit=Unit(rated_sealed=120, rated_airflow=100)))
    generator = np.random.default_rng(1)
    count = 6000
    visits = list(generate([kind], generator, count, 1.0, ["sealed-inlet", "hiss"]))
    prior = kind.model.prior(kind.start.standing)
    hidden = Counter(one.hidden for one in visits)
    for column, fault in enumerate(RULES.faults):
        assert hidden[fault] / count == pytest.approx(prior[column], abs=0.025), fault
    # What is heard hangs on what was read: the rule on hissing fires only when suction is short.
    for level in ("low", "fine"):
        situation = kind.learnt(kind.start, RULES.checks["sealed-inlet"], level)
        [outlook] = kind.model.outlooks(situation, ["hiss"])
        some = [
            one.answers["hiss"]
            for one in visits
            if one.hidden == "seal-torn" and one.answers["sealed-inlet"] == level
        ]
        expected = outlook.likelihood[
            outlook.answers.index("hissing"), RULES.fault_index["seal-torn"]
        ]
        assert len(some) > 100
        assert some.count("hissing") / len(some) == pytest.approx(expected, abs=0.1)


def test_no_answer_is_given_that_would_stop_the_visit() -> None:
    rules = small(SMALL + STOP.strip("\n") + "\n")
    generator = np.random.default_rng(2)
    visits = list(generate(draw_kinds(rules, generator, 2), generator, 400, 1.0))
    short = [one for one in visits if one.answers["sealed-inlet"] == "low"]
    assert len(short) > 50
    assert {one.answers["hiss"] for one in short} == {"quiet"}
    assert "hissing" in {one.answers["hiss"] for one in visits}


def test_a_share_of_the_checks_is_made_and_none_that_comes_after_a_fix() -> None:
    visits = drawn(400, share=0.5)
    assert np.mean([len(one.answers) for one in visits]) == pytest.approx(2.5, abs=0.2)
    assert not any("works-now" in one.answers for one in visits)
    assert any("works-now" in one.answers for one in _all_checks())


def _all_checks() -> list[GeneratedVisit]:
    generator = np.random.default_rng(3)
    return list(generate(draw_kinds(RULES, generator, 1), generator, 3, 1.0, list(RULES.checks)))


def test_facts_are_those_of_a_live_visit_with_the_same_answers() -> None:
    visits = drawn(60)
    for visit, facts in zip(visits, facts_of(visits, RULES), strict=True):
        session = Session(RULES, recorded(visit, RULES))
        if not session.progress.doubts:
            assert session.facts(session.progress.situation) == facts | {
                "visit.fixes": 0.0,
                "visit.mended": 0.0,
                "visit.doubts": 0.0,
            }


def test_another_rule_set_sees_only_what_it_lists() -> None:
    fewer = small(
        SMALL.replace("{id: hissing, label: it hisses", "{id: whistles, label: so it is").replace(
            "is: hissing", "is: whistles"
        )
    )
    visits = [one for one in drawn(100) if one.answers.get("hiss") == "hissing"]
    assert visits
    for visit in visits:
        assert "hiss" not in {event.check for event in recorded(visit, fewer).events}


def test_fewer_than_one_visit_is_refused() -> None:
    generator = np.random.default_rng(1)
    with pytest.raises(InputError, match="0 visits cannot be generated"):
        list(generate(draw_kinds(RULES, generator, 1), generator, 0))
