"""Worked cases by taps on a phone of 360 by 740, and all that may happen in the middle of them."""

from __future__ import annotations

from pathlib import Path
from unittest import mock

import pytest
from playwright.sync_api import Page
from thumb import Served, Thumb

from stillflow.casebook.cases import Case, load_cases, named_case, play
from stillflow.casebook.photos import Photos
from stillflow.engine import load_rules

CASES = (
    "bin-crooked-after-emptying",
    "clogged-hose",
    "apart-since-the-plumber",
    "worn-brushes",
    "sock-behind-one-inlet",
)
UNIT = {"rated_sealed": 130, "rated_airflow": 114}


def said(case: Case, name: str, fixed: int) -> float | str:
    found = case.answers(fixed).get(name)
    if found:
        return found[0]
    check = load_rules().checks[name]
    if check.kind == "reading":
        return "can't do here"
    return max(check.answers, key=lambda answer: answer.usual).id


def tap_through(thumb: Thumb, case: Case) -> list[str]:
    unit, site = case.visit.unit, case.visit.site
    thumb.begin(
        name=site.name,
        complaint=case.visit.complaint,
        inlet=site.inlet or None,
        rated_sealed=unit.rated_sealed,
        rated_airflow=unit.rated_airflow,
        age_years=unit.age_years,
        filter=unit.filter,
        motors=unit.motors,
        altitude_ft=site.altitude_ft or None,
    )
    fixes: list[str] = []
    while thumb.asking:
        kind, name = thumb.about
        if kind == "fix":
            fixes.append(name)
            thumb.answer("yes")
        else:
            thumb.answer(said(case, name, len(fixes)))
    return fixes


@pytest.mark.parametrize("name", CASES)
def test_a_worked_case_is_tapped_to_its_fix(thumb: Thumb, served: Served, name: str) -> None:
    case = next(one for one in load_cases() if one.name == name)
    fixes = tap_through(thumb, case)
    assert fixes[-1:] == list(case.expect.fixes)[-1:] == list(play(case, load_rules()).fixes)[-1:]
    assert served.kept().conclusion is not None
    assert thumb.taps <= 1.2 * thumb.steps


def test_a_reading_is_judged_while_it_is_typed(thumb: Thumb) -> None:
    thumb.begin(**UNIT)
    thumb.answer("none")
    while not thumb.page.locator("form.reading").count():
        thumb.answer("can't tell")
    page = thumb.page
    thumb.read()
    expected = round(float(page.get_attribute("form.reading", "data-expected") or 0))
    for digit in "40":
        page.click(f".key[data-key='{digit}']")
    assert page.inner_text("output").startswith(f"40 of {expected}: ")
    page.click(".key[data-key='']")
    assert page.inner_text("output").startswith(f"4 of {expected}: next to nothing")


def test_the_name_of_an_inlet_is_asked_after_the_answer_that_points_at_one(
    thumb: Thumb, served: Served
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    thumb.answer("everywhere")
    read = {"sealed-utility": 129.0, "sealed-unit": 129.0, "sealed-inlet": 60.0}
    while not page.locator("button[data-inlet]").count():
        kind, name = thumb.about
        thumb.answer("not there" if kind == "fix" else read.get(name, "can't tell"))
    page.wait_for_selector("#inlet", state="hidden")
    thumb.ready()
    number = len(served.kept().events)
    pointing = page.locator("button[data-inlet]").first
    answer = pointing.get_attribute("value")
    pointing.click()
    page.wait_for_selector("#inlet:focus")
    assert len(served.kept().events) == number
    page.keyboard.type("landing")
    page.keyboard.press("Enter")
    page.wait_for_function(f"() => document.body?.dataset.number === '{number + 1}'")
    last = served.kept().events[-1]
    assert (last.answer, last.inlet) == (answer, "landing")


def test_back_cant_tell_and_reload_in_the_middle(thumb: Thumb, served: Served) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    second = page.inner_text("#question")
    thumb.answer("can't tell")
    page.reload()
    page.wait_for_selector("#question")
    assert page.inner_text("#question") != second
    page.click(".bar button:text('Undo')")
    page.wait_for_function("() => document.body.dataset.number === '1'")
    assert page.inner_text("#question") == second
    assert [event.answer for event in served.kept().events] == ["none"]


def test_danger_ends_the_visit_with_whom_to_call(thumb: Thumb, served: Served) -> None:
    thumb.begin(**UNIT)
    thumb.answer("burning-smell")
    assert "STOP HERE" in thumb.page.inner_text("#step")
    assert "Call:" in thumb.page.inner_text("#step")
    assert not thumb.asking
    conclusion = served.kept().conclusion
    assert conclusion is not None
    assert conclusion.step == "stop"


def test_a_double_tap_is_one_answer(thumb: Thumb, served: Served) -> None:
    thumb.begin(**UNIT)
    thumb.page.locator('#step button[value="none"]').dblclick()
    thumb.page.wait_for_function("() => document.body.dataset.number === '1'")
    thumb.page.wait_for_timeout(500)
    assert len(served.kept().events) == 1


def test_where_why_danger_and_notes_are_one_tap_away_and_so_is_the_step(thumb: Thumb) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    question = page.inner_text("#question")
    for name in ("Danger", "Where", "Why", "Notes"):
        page.click(f".bar a:text('{name}')")
        page.wait_for_selector("h1")
        page.click("a:text('Back to the step')")
        page.wait_for_selector("#question")
        assert page.inner_text("#question") == question


def test_a_photo_is_made_smaller_on_the_phone_and_kept(thumb: Thumb, tmp_path: Path) -> None:
    from PIL import Image

    page = thumb.page
    thumb.begin(**UNIT)
    file = str(tmp_path / "photo.jpg")
    Image.effect_noise((3000, 2000), 80).convert("RGB").save(file, quality=95)
    page.click(".bar a:text('Notes')")
    page.set_input_files("#photo", file)
    with mock.patch.object(Photos, "add", autospec=True, side_effect=Photos.add) as taken:
        page.click("form.photo button")
        page.wait_for_selector("figure img")
    size = page.evaluate(
        "async () => { const i = document.querySelector('figure img');"
        " await i.decode(); return [i.naturalWidth, i.naturalHeight]; }"
    )
    assert size == [1600, 1067]
    assert 0 < len(taken.call_args.args[2]) < 1_500_000 < Path(file).stat().st_size


def test_dangers_that_leave_no_room_for_the_question_are_read_first(
    page: Page, served: Served
) -> None:
    page.set_viewport_size({"width": 360, "height": 740})
    played = play(named_case("bookcase-screw-that-let-air-in"), load_rules()).visit
    for many, gated in ((6, True), (2, False)):
        visit = played.model_copy(
            update={"id": f"v-{many}", "events": played.events[:many], "conclusion": None}
        )
        served.casebook.put(visit)
        page.goto(f"{served.address}/visit/{visit.id}")
        page.wait_for_selector("body:not([data-busy])")
        page.wait_for_timeout(300)
        dangers = page.locator("#step .danger:not(.again)").all_inner_texts()
        assert dangers
        assert page.locator("#read").count() == gated
        if gated:
            assert not page.locator("#question").is_visible()
            page.click("#read")
            assert page.locator("#step .danger.folded").count() == 1
        below = page.evaluate("document.querySelector('#question').getBoundingClientRect().bottom")
        assert below <= 740
