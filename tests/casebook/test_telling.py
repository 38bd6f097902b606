"""How telling answers are, learnt from verified visits: what many answered is taken in, few not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from stillflow.casebook.learning import lesson, next_to_move, overlay
from stillflow.casebook.store import Casebook
from stillflow.casebook.telling import counted_answers, weighed
from stillflow.engine import load_rules
from stillflow.engine.inference import Conclusion, Event, GoodReading, Visit
from stillflow.engine.inference.baseline import baseline_for
from stillflow.engine.inference.likelihood import LikelihoodModel, Situation
from stillflow.engine.inference.table import rule_table
from stillflow.engine.ruleset import Knowledge

CHECK, RULE, FAULT, OTHER = "slider-look", "slider-look-open", "relief-slider-open", "fan-fouled"
OPEN, CLOSED = "open", "closed"


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_rules()


@pytest.fixture
def casebook(url: str) -> Iterator[Casebook]:
    with Casebook(url) as opened:
        yield opened


def chances(knowledge: Knowledge, check: str, fault: str) -> dict[str, float]:
    """P(answer given | fault), nothing else being known, as a visit has it."""
    visit = Visit()
    baseline = baseline_for(visit, knowledge)
    model = LikelihoodModel(knowledge, rule_table(knowledge), baseline, visit)
    [outlook] = model.outlooks(Situation({}), [check])
    column = knowledge.fault_index[fault]
    return dict(zip(outlook.answers, map(float, outlook.likelihood[:, column]), strict=True))


def laid_over(tmp_path: Path, text: str) -> Knowledge:
    (tmp_path / "learnt.yaml").write_text(text, encoding="utf-8")
    return load_rules([tmp_path])


def after(
    knowledge: Knowledge, tmp_path: Path, given: dict[tuple[str, str, str], int]
) -> Knowledge:
    return laid_over(tmp_path, overlay(lesson({FAULT: 1}, knowledge, given=given), knowledge))


def test_many_answers_with_the_fault_bring_its_rule_to_what_was_seen(
    knowledge: Knowledge, tmp_path: Path
) -> None:
    seen = {(FAULT, CHECK, OPEN): 60_000, (FAULT, CHECK, CLOSED): 40_000}
    assert chances(knowledge, CHECK, FAULT)[OPEN] > 0.8
    now = after(knowledge, tmp_path, seen)
    assert chances(now, CHECK, FAULT)[OPEN] == pytest.approx(0.6, abs=0.01)
    assert chances(now, CHECK, OTHER) == chances(knowledge, CHECK, OTHER)


def test_many_answers_with_the_fault_elsewhere_bring_what_is_usual_to_what_was_seen(
    knowledge: Knowledge, tmp_path: Path
) -> None:
    now = after(knowledge, tmp_path, {(OTHER, CHECK, OPEN): 25_000, (OTHER, CHECK, CLOSED): 75_000})
    assert chances(now, CHECK, OTHER)[OPEN] == pytest.approx(0.25, abs=0.01)
    # How many times likelier the rules say it is with the fault has not been looked at.
    [item] = [one for one in now.rules[RULE].then if getattr(one, "for_", None) == FAULT]
    assert item == next(one for one in knowledge.rules[RULE].then if one == item)


def test_as_many_answers_as_the_rules_count_for_go_half_the_way(knowledge: Knowledge) -> None:
    given = {(FAULT, CHECK, OPEN): 120, (FAULT, CHECK, CLOSED): 80}
    one, *_ = (o for o in weighed(given, knowledge, 200.0) if o.rule and o.moved)
    assert one.now == pytest.approx((one.shipped + one.seen) / 2, abs=0.005)
    assert abs(one.seen - one.shipped) > 0.2


def test_a_few_answers_move_nothing_and_it_is_said_when_they_would(
    knowledge: Knowledge, tmp_path: Path
) -> None:
    few = lesson({FAULT: 2}, knowledge, given={(FAULT, CHECK, CLOSED): 2})
    assert not any(one.moved for one in few.answers)
    [first, *_] = [one for one in few.answers if one.rule]
    more = round(first.moves_after * 1.05 + 1)
    later = lesson({FAULT: 2}, knowledge, given={(FAULT, CHECK, CLOSED): 2 + more})
    assert any(one.moved for one in later.answers)
    assert "more visits like these" in next_to_move(few)
    assert chances(laid_over(tmp_path, overlay(few, knowledge)), CHECK, FAULT) == chances(
        knowledge, CHECK, FAULT
    )


def test_answers_as_the_rules_say_they_are_move_nothing(knowledge: Knowledge) -> None:
    luck = np.random.default_rng(4)
    given: Counter[tuple[str, str, str]] = Counter()
    for fault in (FAULT, OTHER, "bag-full", "hose-holed"):
        for check in (CHECK, "bag-look", "bin-seat-look"):
            table = chances(knowledge, check, fault)
            counts = luck.multinomial(20_000, list(table.values()))
            given.update({(fault, check, a): int(n) for a, n in zip(table, counts, strict=True)})
    assert [one for one in weighed(given, knowledge, 200.0) if one.moved] == []


def test_a_fault_at_which_a_rule_joins_facts_teaches_its_check_nothing(
    knowledge: Knowledge, tmp_path: Path
) -> None:
    joined = """
rules:
  - id: slider-open-on-an-old-unit
    when: {all: [{fact: answer.slider-look, is: open}, {fact: unit.age_years, above: 20}]}
    then: [{for: fan-fouled, strength: strong}]
    because: A made-up rule for this test.
    source: common-practice
"""
    rules = laid_over(tmp_path, joined)
    assert weighed({(OTHER, CHECK, OPEN): 900}, knowledge, 200.0)
    assert weighed({(OTHER, CHECK, OPEN): 900}, rules, 200.0) == ()


def test_only_what_was_answered_before_the_fix_and_not_struck_counts(
    casebook: Casebook, knowledge: Knowledge
) -> None:
    good = GoodReading.model_validate({"station": "inlet", "state": "sealed", "suction": 120})
    events = (
        Event(check=CHECK, answer=CLOSED),
        Event(check="bin-seat-look", answer="square"),
        Event(strikes=1, note="misread"),
        Event(check=CHECK, answer=OPEN),
        Event(check="sealed-inlet", answer=80.0),
        Event(fix=FAULT, done=True),
        Event(check=CHECK, answer=CLOSED),
    )
    ended = Conclusion(step="done", fault=FAULT, readings=(good,))
    casebook.put(Visit(events=events, conclusion=ended))
    casebook.put(Visit(events=events))
    assert counted_answers(casebook, knowledge) == {
        (FAULT, CHECK, OPEN): 1,
        (FAULT, "bin-seat-look", "square"): 1,
    }


def test_answers_after_a_fix_count_where_it_was_never_made_and_not_where_it_was_undone(
    casebook: Casebook, knowledge: Knowledge
) -> None:
    good = GoodReading.model_validate({"station": "inlet", "state": "sealed", "suction": 120})
    ended = Conclusion(step="done", fault=FAULT, readings=(good,))

    def put(made: bool | None, answer: str) -> None:
        events = (
            Event(fix=OTHER, done=True),
            Event(check=CHECK, answer=answer),
            Event(strikes=1, note="why", done=made),
            Event(fix=FAULT, done=True),
        )
        casebook.put(Visit(events=events, conclusion=ended))

    put(None, OPEN)
    put(True, CLOSED)
    assert counted_answers(casebook, knowledge) == {(FAULT, CHECK, OPEN): 1}
