"""Playing a drill: the clock, dangers walked past, stop signs, how it ends."""

from __future__ import annotations

import pytest
from drill_houses import RULES, choice, house_with

from stillflow.engine.drill import Drill, play_by_plan
from stillflow.engine.drill.play import (
    AGAIN_MINUTES,
    IGNORED_MINUTES,
    NEEDLESS_MINUTES,
    SKIPPED_MINUTES,
    UNASKED_MINUTES,
)


@pytest.fixture
def torn() -> Drill:
    return Drill(RULES, house_with(RULES, "seal-torn"))


def test_the_clock_counts_checks_fixes_and_what_is_opened_once(torn: Drill) -> None:
    assert torn.minutes == 0.0
    torn.do(choice(torn, "danger"))
    assert torn.minutes == 1.0
    look = choice(torn, "seal-look")
    assert torn.minutes_of(look) == 5.0
    torn.do(look)
    assert torn.minutes == 6.0
    assert torn.minutes_of(look) == 1.0
    torn.do(choice(torn, "fix seal-torn"))
    assert torn.minutes == 16.0


def test_any_order_is_possible_and_numbers_stay(torn: Drill) -> None:
    before = torn.choices
    step = torn.do(choice(torn, "fix hose-clogged"))
    assert not step.helped
    assert step.is_fix
    assert torn.choices is before
    names = [one.id for one in torn.choices if not one.is_fix]
    assert names == [one.id for one in torn.choices][: len(names)]


def test_a_fix_is_not_proved_before_it_is_made(torn: Drill) -> None:
    proof = choice(torn, "works-now")
    assert "nothing was fixed" in torn.why_not_now(proof)
    torn.do(choice(torn, "danger"))
    torn.do(choice(torn, "fix seal-torn"))
    assert torn.why_not_now(proof) == ""
    assert torn.unproved
    assert torn.do(proof).said == "it does"
    assert not torn.unproved
    assert torn.leave() == "mended"


def test_a_danger_walked_past_says_what_comes_of_it_and_costs(torn: Drill) -> None:
    torn.do(choice(torn, "danger"))
    look = choice(torn, "seal-look")
    assert [one.about for one in torn.cautions(look)] == ["mains"]
    torn.do(look, [])
    (walked,) = torn.walked_past
    assert (walked.what, walked.happens) == ("Unplug the unit first.", "The fan starts.")
    assert torn.minutes == 6.0 + SKIPPED_MINUTES
    # Learnt once, it is minded from then on.
    assert torn.cautions(look) == ()


def test_what_is_minded_costs_nothing_and_what_is_not_there_a_little(torn: Drill) -> None:
    torn.do(choice(torn, "danger"))
    torn.do(choice(torn, "seal-look"), ["mains", "dust", "heights"])
    assert not torn.walked_past
    assert torn.minutes == 6.0 + 2 * NEEDLESS_MINUTES


def test_going_on_past_a_stop_sign_ends_the_drill() -> None:
    drill = Drill(RULES, house_with(RULES, "seal-torn", danger=True))
    assert drill.do(choice(drill, "danger")).said == "smoke"
    drill.do(choice(drill, "sealed-inlet"))
    assert drill.ending == "hurt"
    (walked,) = drill.walked_past
    assert "Smoke is a fire" in walked.happens
    assert "Do not go back in." in walked.happens
    assert drill.minutes == 1.0 + IGNORED_MINUTES


def test_a_danger_that_was_not_asked_about_is_met_at_the_first_touch() -> None:
    drill = Drill(RULES, house_with(RULES, "seal-torn", danger=True))
    drill.do(choice(drill, "hiss"))
    assert drill.ending is None
    drill.do(choice(drill, "seal-look"))
    assert drill.ending == "hurt"


def test_stopping_is_right_where_there_is_a_danger_and_wrong_where_there_is_none() -> None:
    drill = Drill(RULES, house_with(RULES, "seal-torn", danger=True))
    drill.do(choice(drill, "danger"))
    assert drill.stop() == "stopped"
    assert drill.minutes == 1.0
    other = Drill(RULES, house_with(RULES, "seal-torn"))
    other.do(choice(other, "danger"))
    assert other.stop() == "stopped-for-nothing"
    assert other.minutes == 1.0 + AGAIN_MINUTES


def test_leaving_a_house_unmended_means_coming_again(torn: Drill) -> None:
    torn.do(choice(torn, "danger"))
    assert torn.leave() == "not-mended"
    assert torn.minutes == 1.0 + AGAIN_MINUTES


def test_not_asking_about_danger_costs_even_where_there_was_none(torn: Drill) -> None:
    torn.do(choice(torn, "fix seal-torn"))
    assert torn.leave() == "mended"
    assert torn.minutes == 14.0 + UNASKED_MINUTES
    assert [one.what for one in torn.walked_past] == ["danger signs"]


def test_work_that_belongs_to_others_is_handed_over() -> None:
    drill = Drill(RULES, house_with(RULES, "motor-worn"))
    drill.do(choice(drill, "danger"))
    step = drill.do(choice(drill, "fix motor-worn"))
    assert step.said == "left to the workshop"
    assert drill.leave() == "handed-over"


def test_the_planner_plays_the_same_house_to_its_end() -> None:
    for fault in ("seal-torn", "hose-clogged"):
        house = house_with(RULES, fault)
        first, second = play_by_plan(RULES, house), play_by_plan(RULES, house)
        assert first.ending == "mended"
        assert [one.id for one in first.done] == [one.id for one in second.done]
        assert [one.said for one in first.done] == [one.said for one in second.done]
        assert not first.walked_past
        assert house.call.remaining == {fault}


def test_a_hint_is_what_why_would_say_and_is_counted(torn: Drill) -> None:
    step = torn.hint()
    assert step.check is not None
    assert step.check.id == "danger"
    assert step.why_now
    assert torn.hints == 1
