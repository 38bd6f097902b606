"""What a drill comes to: beside the planner, what told nothing, what came too early, the mark."""

from __future__ import annotations

import pytest
from drill_houses import RULES, choice, house_with

from stillflow.engine.charts import TitleBlock
from stillflow.engine.drill import Drill, play_by_plan, review, routes


def played(fault: str, *names: str, leave: bool = True) -> Drill:
    drill = Drill(RULES, house_with(RULES, fault).fresh())
    for name in names:
        drill.do(choice(drill, name))
    if leave:
        drill.leave()
    return drill


def test_played_as_the_planner_would_it_has_full_marks() -> None:
    house = house_with(RULES, "hose-clogged")
    came = review(play_by_plan(RULES, house))
    assert came.mark == 100
    assert came.over == 0.0
    assert not came.told_nothing
    assert not came.too_little
    assert came.practise_faults == ()


def test_the_planner_may_try_what_the_house_says_cannot_be(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    house = house_with(RULES, "hose-clogged")
    all_of_them = Drill(RULES, house.fresh()).choices
    rest = tuple(one for one in all_of_them if (one.is_fix, one.id) != (True, "hose-clogged"))
    monkeypatch.setattr(Drill, "choices", rest)
    drill = play_by_plan(RULES, house)
    assert drill.ending == "mended"
    assert any(one.is_fix and one.id == "hose-clogged" for one in drill.done)


def test_a_fix_tried_on_too_little_is_named_with_what_was_better() -> None:
    drill = played("seal-torn", "danger", "fix nothing-wrong", "fix seal-torn", "works-now")
    came = review(drill)
    assert came.too_little[0].id == "nothing-wrong"
    assert came.too_little[0].better
    assert came.practise_faults == ("seal-torn",)
    assert 0 < came.mark < 100


def test_a_check_that_moved_nothing_is_named_and_one_that_did_is_not() -> None:
    drill = played("seal-torn", "danger", "hiss", "seal-look", "fix seal-torn", "works-now")
    told = {one.id for one in review(drill).told_nothing}
    # Without a reading that is short a hiss says nothing by these RULES.
    assert told == {"hiss"}


def test_the_moment_it_could_have_been_known_is_the_first_that_held_it_likely() -> None:
    drill = played("seal-torn", "danger", "seal-look", "sealed-inlet", "fix seal-torn")
    came = review(drill)
    assert came.known is not None
    assert came.known.id == "seal-look"
    assert all((one.truth or 0) < 0.8 for one in drill.done[: came.known.number - 1])


def test_a_house_left_unmended_has_no_mark_and_is_to_be_practised() -> None:
    came = review(played("seal-torn", "danger"))
    assert came.mark == 0
    assert not came.ended_well
    assert came.practise_faults == ("seal-torn",)


def test_dangers_and_hints_cost_marks() -> None:
    steps = ("danger", "seal-look", "fix seal-torn", "works-now")
    good = review(played("seal-torn", *steps))
    hinted = played("seal-torn", *steps, leave=False)
    hinted.hint()
    hinted.leave()
    assert review(hinted).mark == good.mark - 5
    unproved = review(played("seal-torn", *steps[:-1]))
    assert unproved.mark <= 90


def test_both_routes_are_there_to_be_drawn_with_what_is_to_be_said_of_them() -> None:
    drill = Drill(RULES, house_with(RULES, "seal-torn").fresh())
    drill.do(choice(drill, "danger"))
    drill.do(choice(drill, "seal-look"), [])
    drill.do(choice(drill, "fix seal-torn"))
    drill.leave()
    model = routes(review(drill), TitleBlock(title="A drill"))
    assert [one.sort for one in model.first.steps] == ["look", "look", "fix"]
    assert model.first.steps[1].caution == "walked past: Unplug the unit first."
    assert "could have been known" in model.first.steps[1].note
    assert model.first.minutes == drill.minutes
    assert model.second.ending == "mended"
    assert model.second.steps[-1].truth is None


def test_a_mark_is_reckoned_in_words_that_add_up_to_it() -> None:
    drill = played("seal-torn", "danger", "fix nothing-wrong", "fix seal-torn", leave=False)
    drill.hint()
    drill.hint()
    drill.leave()
    came = review(drill)
    assert came.mark == 100 - sum(one.marks for one in came.losses)
    said = {one.why: one.marks for one in came.losses}
    assert said["2 hints"] == 10
    assert said["1 tried on too little"] == 5
    assert said["a fix that nothing proved"] == 10


def test_a_house_left_as_it_was_says_so_and_what_would_have_shown_it() -> None:
    came = review(played("seal-torn", "danger"))
    assert [(one.marks, one.why) for one in came.losses] == [(100, "not mended")]
    assert came.mark == 0
    assert not came.comparable
    [(title, check)] = came.would_show
    assert title == RULES.faults["seal-torn"].title
    assert check == RULES.checks["seal-look"].ask


def test_a_planner_that_failed_is_no_measure_of_minutes() -> None:
    drill = played("seal-torn", "danger", "seal-look", "fix seal-torn", "works-now")
    gave_up = played("seal-torn", "danger")
    came = review(drill, gave_up)
    assert not came.comparable
    assert came.mark == 100
