"""Which conclusions hang on which number is told by drawing the numbers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from stillflow.casebook.beliefs import ManyVisits, WorkedOut
from stillflow.casebook.cases import load_cases
from stillflow.casebook.doubt import _correlations, case_calls, doubt, timed
from stillflow.casebook.generated import GeneratedVisit, draw_kinds, generate
from stillflow.casebook.replay import minutes_of
from stillflow.engine import load_rules
from stillflow.engine.inference import Event
from stillflow.engine.ruleset import Knowledge, judged


@pytest.fixture(scope="module")
def shipped() -> Knowledge:
    return load_rules()


@pytest.fixture(scope="module")
def calls(shipped: Knowledge) -> list[GeneratedVisit]:
    generator = np.random.default_rng(5)
    return list(generate(draw_kinds(shipped, generator, 1), generator, 60, together=True))


def at(worked: WorkedOut, name: str) -> int:
    return next(n for n, one in enumerate(worked.numbers) if one.name == name)


def test_numbers_that_are_not_moved_leave_the_belief_as_it_is(
    shipped: Knowledge, calls: list[GeneratedVisit]
) -> None:
    worked = ManyVisits(calls).worked_out(shipped, sizes=True)
    still = worked.believed(np.zeros(len(worked.numbers)))
    assert still == pytest.approx(worked.believed())
    kinds = {one.kind for one in worked.numbers}
    assert kinds == {"how-common", "strength", "usual", "mistaken", "size"}
    known = {*judged(shipped)}
    assert {*worked.numbers} <= known
    assert len(worked.numbers) == len({*worked.numbers})


def test_how_common_a_fault_is_moves_its_odds_by_just_that(
    shipped: Knowledge, calls: list[GeneratedVisit]
) -> None:
    worked = ManyVisits(calls).worked_out(shipped)
    moved = np.zeros(len(worked.numbers))
    moved[at(worked, "hose-clogged: how common")] = np.log(3.0)
    column = shipped.fault_index["hose-clogged"]
    before, after = (one[:, column] for one in (worked.believed(), worked.believed(moved)))
    assert after / (1 - after) == pytest.approx(3.0 * before / (1 - before), rel=1e-6)


def test_a_strength_moves_only_the_visits_on_which_its_rule_can_fire(
    shipped: Knowledge, calls: list[GeneratedVisit]
) -> None:
    worked = ManyVisits(calls).worked_out(shipped)
    moved = np.zeros(len(worked.numbers))
    moved[at(worked, "slider-look-open: strength for relief-slider-open")] = 0.5
    changed = np.abs(worked.believed(moved) - worked.believed()).max(axis=1) > 1e-12
    asked = np.array(["slider-look" in one.answers for one in calls])
    assert changed.any()
    assert not changed[~asked].any()


def test_an_end_of_a_size_moves_belief_as_rules_do_that_say_so(
    shipped: Knowledge, calls: list[GeneratedVisit], tmp_path: Path
) -> None:
    worked = ManyVisits(calls).worked_out(shipped, sizes=True)
    number = worked.numbers[at(worked, "hose-crushed: greatest diameter in")]
    moved = np.zeros(len(worked.numbers))
    moved[worked.numbers.index(number)] = np.log(number.low / number.value)
    (tmp_path / "own.yaml").write_text(
        f"change: [{{id: hose-crushed, effect: {{diameter_in: [0.4, {number.low}]}}}}]\n"
    )
    still, told = worked.believed(), ManyVisits(calls).believed(load_rules([tmp_path]))
    assert np.abs(told - still).max() > 5e-3
    # What is left between them: all ends are moved at once in what readings say of nothing.
    assert np.abs(worked.believed(moved) - told).max() < 0.2 * np.abs(told - still).max()


def test_minutes_are_drawn_for_calls_as_they_went(shipped: Knowledge) -> None:
    went = [[Event(check="slider-look", answer="open"), Event(fix="relief-slider-open", done=True)]]
    found = timed(went, shipped, np.random.default_rng(1), 300)
    assert found.minutes == minutes_of(went[0], shipped)
    assert found.low < found.minutes < found.high
    names = {one.name for one, _ in found.numbers}
    assert names == {
        "inlet: minutes",
        "slider-look: minutes",
        "relief-slider-open: fix minutes",
    }
    # The way there is least known, and the three explain all there is.
    assert found.numbers[0][0].name == "inlet: minutes"
    assert sum(index for _, index in found.numbers) == pytest.approx(1.0)


def test_squared_correlations_are_first_order_indices_of_what_is_additive() -> None:
    generator = np.random.default_rng(0)
    drawn = generator.uniform(-1, 1, (20_000, 3))
    result = drawn @ np.array([[3.0], [4.0], [0.0]])
    # Sobol's index of a sum is each term's share of the variance: 9, 16 and 0 of 25.
    assert (_correlations(drawn, result) ** 2)[:, 0] == pytest.approx([0.36, 0.64, 0.0], abs=0.02)


def test_what_flips_is_told_with_what_it_hangs_on(
    shipped: Knowledge, calls: list[GeneratedVisit]
) -> None:
    named = [one for one in load_cases() if one.expect.fixes][:2]
    cases = list(case_calls(named, shipped))
    assert [one.hidden for one in cases] == [one.name for one in named]
    stops = [one for one in load_cases() if one.kind == "stop" and not one.expect.fixes]
    assert not list(case_calls(stops, shipped))
    found = doubt([*cases, *calls], shipped, np.random.default_rng(1), 50)
    assert found.items == len(calls) + 2
    assert found.shaky
    assert all(0 < one.flips <= 1 for one in found.shaky)
    assert [one.flips for one in found.shaky] == sorted(
        (one.flips for one in found.shaky), reverse=True
    )
    held = {one.number for one in found.held}
    assert {number for one in found.shaky for number, _ in one.numbers} <= held
    assert any(one.least or one.most for one in found.held)
    again = doubt([*cases, *calls], shipped, np.random.default_rng(1), 50)
    assert again == found
