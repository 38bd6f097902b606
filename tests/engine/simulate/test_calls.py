"""Simulated calls: houses that fit their fault, readings from the air, answers from the rules."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from statistics import mean

import numpy as np
import pytest

from stillflow.engine import Session, load_rules
from stillflow.engine.base.scales import Mode
from stillflow.engine.inference.baseline import baseline_for
from stillflow.engine.inference.likelihood import LikelihoodModel, Situation
from stillflow.engine.inference.table import rule_table
from stillflow.engine.inference.visit import CANT_TELL
from stillflow.engine.ruleset.entries import Stop
from stillflow.engine.simulate.calls import SimulatedCall, draw_calls, play, same_fix

KNOWLEDGE = load_rules()
CHECKS = KNOWLEDGE.checks
QUESTIONS = [c for c in CHECKS.values() if c.kind == "choice" and not c.verifies]
READINGS = [c for c in CHECKS.values() if c.kind == "reading"]


def generator(seed: int = 5) -> np.random.Generator:
    return np.random.default_rng(seed)


@pytest.fixture(scope="module")
def drawn() -> list[SimulatedCall]:
    return draw_calls(KNOWLEDGE, generator(1), 3 * len(KNOWLEDGE.faults), how_often="equally")


@pytest.fixture
def calls(drawn: list[SimulatedCall]) -> list[SimulatedCall]:
    return [replace(call) for call in drawn]


def with_fault(calls: list[SimulatedCall], fault: str) -> SimulatedCall:
    return next(call for call in calls if call.faults == (fault,))


def test_each_fault_gets_its_turn(calls: list[SimulatedCall]) -> None:
    hidden = Counter(call.faults for call in calls)
    assert hidden == {(fault,): 3 for fault in KNOWLEDGE.faults}


def test_the_same_seed_draws_the_same_calls() -> None:
    first, second = (draw_calls(KNOWLEDGE, generator(2), 20) for _ in range(2))
    assert [c.faults for c in first] == [c.faults for c in second]
    assert [c.visit for c in first] == [c.visit for c in second]
    check = CHECKS["sealed-inlet"]
    answers = [[c.answer(check, generator(3)) for c in calls] for calls in (first, second)]
    assert answers[0] == answers[1]


def test_a_fault_is_hidden_only_where_it_can_be(calls: list[SimulatedCall]) -> None:
    for call in calls:
        unit = call.visit.unit
        if call.faults == ("one-motor-dead",):
            assert unit.motors in (None, 2)
        if call.faults == ("bag-full",):
            assert unit.filter in (None, "bag")
        if call.faults == ("altitude-explains",):
            assert call.visit.site.altitude_ft >= 1500


def test_what_is_common_is_drawn_often_and_what_is_rare_seldom() -> None:
    hidden = Counter(call.faults[0] for call in draw_calls(KNOWLEDGE, generator(4), 2000))
    weight = {name: fault.how_common.weight for name, fault in KNOWLEDGE.faults.items()}
    very_common = mean(hidden[name] for name, often in weight.items() if often == 10.0)
    rare = mean(hidden[name] for name, often in weight.items() if often < 1.0)
    # Hose and tool clogs are possible in every house: 20 of a weight of about 80 to 100.
    assert hidden["hose-clogged"] + hidden["tool-clogged"] > 300
    assert very_common > 10 * rare


def test_two_faults_are_two_that_the_technician_can_put_right() -> None:
    for call in draw_calls(KNOWLEDGE, generator(6), 60, faults=2):
        first, second = (KNOWLEDGE.faults[name] for name in call.faults)
        assert first is not second
        assert not first.fix.refer
        assert not second.fix.refer
        assert Mode.NORMAL not in (first.mode, second.mode)


def test_a_house_in_order_reads_about_what_the_paperwork_says(calls: list[SimulatedCall]) -> None:
    shares = []
    for call in calls[:60]:
        call.remaining = set()
        baseline = baseline_for(call.visit, KNOWLEDGE)
        for check in READINGS:
            assert check.station is not None
            assert check.condition is not None
            shares.append(call.reading(check) / baseline.at(check.condition, check.station))
        call.remaining = set(call.faults)
    assert 0.97 < float(np.median(shares)) < 1.03
    assert 0.02 < float(np.std(shares)) < 0.15


def test_a_leak_shows_until_it_is_repaired(calls: list[SimulatedCall]) -> None:
    call = with_fault(calls, "inlet-left-open")
    check = CHECKS["sealed-inlet"]
    before = call.reading(check)
    assert not call.repair("hose-clogged")
    assert call.reading(check) == before
    assert call.repair("inlet-left-open")
    assert call.reading(check) > 1.5 * before


def test_a_clog_in_the_tool_is_beyond_every_reading(calls: list[SimulatedCall]) -> None:
    call = with_fault(calls, "tool-clogged")
    before = [call.reading(check) for check in READINGS]
    call.repair("tool-clogged")
    assert [call.reading(check) for check in READINGS] == pytest.approx(before)


def test_the_gauge_is_good_to_its_tolerance(calls: list[SimulatedCall]) -> None:
    call, check, luck = calls[0], CHECKS["sealed-unit"], generator()
    true = call.reading(check)
    shown = np.array([call.answer(check, luck) for _ in range(300)], dtype=float)
    # Read to a whole inH2O on top of 2 %.
    assert np.abs(shown - true).max() <= 0.02 * true + 0.5
    assert np.ptp(shown) > 0.03 * true


def test_whether_it_works_now_is_answered_by_the_truth() -> None:
    [call] = draw_calls(KNOWLEDGE, generator(7), 1, faults=2)
    check, luck = CHECKS["works-now"], generator()
    good = {answer.id for answer in check.answers if answer.good}
    assert call.answer(check, luck) not in good
    call.repair(call.faults[0])
    assert (call.answer(check, luck) in good) is (not call.remaining)
    call.repair(call.faults[1])
    assert call.answer(check, luck) in good


def test_answers_come_from_the_rules_own_table(calls: list[SimulatedCall]) -> None:
    stops = [r.id for r in KNOWLEDGE.rules.values() if any(isinstance(i, Stop) for i in r.then)]
    table = rule_table(KNOWLEDGE)
    given_here = [(check.id, answer) for check in QUESTIONS for answer in check.answer_ids]
    for call in calls[::40]:
        model = LikelihoodModel(KNOWLEDGE, table, baseline_for(call.visit, KNOWLEDGE), call.visit)
        bare = Situation(call.truth)
        # All answers at once, a row each.
        fired = table.fire(table.rows([model.facts(bare.with_choice(*one)) for one in given_here]))
        stopping = fired[:, [table.rule_ids.index(rule_id) for rule_id in stops]].any(axis=1)
        stopped = {one for one, stops_it in zip(given_here, stopping, strict=True) if stops_it}
        column = KNOWLEDGE.fault_index[call.faults[0]]
        outlooks = model.outlooks(bare, [check.id for check in QUESTIONS])
        for check, outlook in zip(QUESTIONS, outlooks, strict=True):
            given = outlook.likelihood[:, column]
            # Mistakes are drawn apart from the table: of the answers given, those that are right.
            wrong = check.mistaken / (len(given) - 1)
            expected = (given - wrong) / (1.0 - check.mistaken - wrong)
            for index, answer in enumerate(check.answer_ids):
                if (check.id, answer) in stopped:
                    expected[index] = 0.0
            assert call.chances(check) == pytest.approx(expected / expected.sum())


def test_no_answer_ends_the_visit_for_danger(calls: list[SimulatedCall]) -> None:
    luck = generator()
    given = {calls[0].answer(CHECKS["danger-signs"], luck) for _ in range(400)}
    assert given == {"none", CANT_TELL}


def test_two_faults_multiply_what_each_makes_of_an_answer() -> None:
    [call] = draw_calls(KNOWLEDGE, generator(8), 1, faults=2)
    check = CHECKS["where-weak"]
    usual = np.array([answer.usual for answer in check.answers])
    both = call.chances(check) / usual
    apart = np.ones(len(usual))
    for name in call.faults:
        call.remaining = {name}
        apart *= call.chances(check) / usual
    ratio = both / apart
    assert ratio == pytest.approx(np.full(len(usual), ratio[0]))


def test_a_tenth_of_the_answers_is_wrong_or_cannot_be_told(calls: list[SimulatedCall]) -> None:
    call, luck = with_fault(calls, "bin-overfull"), generator(9)
    check = CHECKS["bin-level"]
    count = 4000
    given = Counter(call.answer(check, luck) for _ in range(count))
    overfull = float(call.chances(check)[check.answer_ids.index("overfull")])
    # Of two answers the wrong one is the other; three standard deviations of a count.
    wanted = {CANT_TELL: 0.05, "overfull": 0.9 * overfull + 0.05 * (1 - overfull)}
    for answer, share in wanted.items():
        assert abs(given[answer] / count - share) < 3 * (share * (1 - share) / count) ** 0.5


def test_work_that_serves_both_faults_is_the_same_fix() -> None:
    assert same_fix(KNOWLEDGE, "bag-full", "bag-full")
    assert same_fix(KNOWLEDGE, "bearings-worn", "one-motor-dead")
    assert same_fix(KNOWLEDGE, "nothing-wrong", "as-good-as-it-gets")
    assert not same_fix(KNOWLEDGE, "bin-seal-leaks", "bin-not-seated")
    assert not same_fix(KNOWLEDGE, "tool-clogged", "hose-clogged")


def test_a_call_is_played_to_its_end(calls: list[SimulatedCall]) -> None:
    call = with_fault(calls, "relief-slider-open")
    session = Session(KNOWLEDGE, call.visit)
    played = play(session, call, generator(10))
    assert played.ending == session.next_step().step
    assert [event.fix for event in session.events if event.is_fix] == [
        fault for fault, _ in played.offered
    ]
    assert played.checks == sum(not event.is_fix for event in session.events)
    assert played.minutes > 0
    mended = any(same_fix(KNOWLEDGE, "relief-slider-open", fault) for fault, _ in played.offered)
    assert played.remaining == (frozenset() if mended else {"relief-slider-open"})


def test_houses_have_three_to_twelve_named_inlets_and_one_of_them_leaks(
    calls: list[SimulatedCall],
) -> None:
    names = [call.inlets.names for call in calls]
    assert {len(one) for one in names} == set(range(3, 13))
    assert all(len(set(one)) == len(one) for one in names)
    others = [call.inlets.leaks_at != call.inlets.names[1] for call in calls]
    assert all(call.inlets.leaks_at in call.inlets.names[1:] for call in calls)
    # With n inlets the leak is at none that is read in n - 2 of n - 1 houses.
    assert 0.6 < np.mean(others) < 0.95
    assert 0.2 < np.mean([bool(call.visit.site.inlets) for call in calls]) < 0.5


def test_the_gauge_on_the_inlet_that_leaks_closes_the_leak(calls: list[SimulatedCall]) -> None:
    sealed = KNOWLEDGE.checks["sealed-other"]
    call = next(
        replace(one)
        for one in calls
        if one.faults == ("inlet-left-open",) and one.inlets.leaks_at != one.inlets.names[1]
    )
    leak, first = call.inlets.leaks_at, call.inlets.names[1]
    other = next((n for n in call.inlets.names[2:] if n != leak), first)
    assert call.reading(sealed, leak) > 1.3 * call.reading(sealed)
    assert call.reading(sealed, other) == pytest.approx(call.reading(sealed), rel=0.1)
    call.repair("inlet-left-open")
    assert call.reading(sealed, leak) == pytest.approx(call.reading(sealed), rel=0.1)


def test_a_fix_at_the_wrong_inlet_mends_nothing(calls: list[SimulatedCall]) -> None:
    call = replace(with_fault(calls, "face-gasket-leaks"))
    wrong = next(name for name in call.inlets.names if name != call.inlets.leaks_at)
    assert not call.repair("face-gasket-leaks", wrong)
    assert call.repair("face-gasket-leaks", call.inlets.leaks_at)


def test_answers_that_point_at_an_inlet_name_the_one_that_leaks(
    calls: list[SimulatedCall],
) -> None:
    call = with_fault(calls, "face-gasket-leaks")
    session = Session(KNOWLEDGE, call.visit)
    listen = session.step_for("inlets-listen")
    assert call.inlet(listen, "another") == call.inlets.leaks_at
    assert call.inlet(listen, "quiet") is None
    assert call.inlet(session.step_for("sealed-other"), 90.0) in call.inlets.names[1:]
