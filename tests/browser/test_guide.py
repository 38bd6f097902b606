"""The one-file guide in a browser: opened from disk, gone on with after a reload, brought home."""

from __future__ import annotations

from pathlib import Path

import pytest
from command import stillflow
from playwright.sync_api import BrowserContext
from thumb import Thumb

from stillflow.casebook.files import load_visit
from stillflow.engine import Session, load_rules


@pytest.fixture(scope="module")
def guide(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("guide") / "guide.html"
    args = ("--rated-sealed", "130", "--rated-airflow", "114", "--out", str(file))
    assert stillflow("guide", *args).code == 0
    return file


READ = {
    "sealed-utility": 94.0,
    "sealed-unit": 129.0,
    "working-unit": 78.0,
    "sealed-inlet": 93.0,
    "working-inlet": 55.0,
    "sealed-other": 94.0,
    "working-other": 57.0,
    "sealed-hose": 92.0,
    "working-hose": 44.0,
}


def test_one_cannot_tell_still_ends_in_a_verdict_and_a_fix(
    context: BrowserContext, guide: Path, tmp_path: Path
) -> None:
    """A leak at the inlets: what the readings say, the fixes that this leaves, the proof."""
    page = context.new_page()
    page.goto(guide.as_uri())
    thumb = Thumb(page)
    thumb.answer("none")
    thumb.answer("everywhere")
    left_open = False
    while thumb.about[0] == "check":
        name = thumb.about[1]
        thumb.read()
        told = "Push the house tubing home" in page.inner_text("#step")
        assert told is (left_open and not name.endswith("-unit"))
        left_open = name.endswith("-unit")
        thumb.answer(READ.get(name, "can't tell"))
    assert thumb.about == ("fix", "face-gasket-leaks")
    page.click("text=What the readings say")
    said = page.inner_text("#step details.how")
    assert "the air gets in through the house" in said
    assert "The door gasket of a closed inlet" in said
    assert "bag" not in said
    page.click('#step button[value="yes"]')
    page.fill("#inlet", "hall")
    page.click("text=Keep it")
    page.wait_for_selector("form.reading")
    assert thumb.about == ("check", "working-hose")
    thumb.answer(62.0)
    thumb.answer("as-it-should")
    assert "Done" in page.inner_text("#step")
    assert "Visit file" in page.inner_text("#step")
    with page.expect_download() as found:
        page.click("#home")
    home = tmp_path / "visit.yaml"
    found.value.save_as(home)
    events = load_visit(home).events
    assert [one.fix for one in events if one.done] == ["face-gasket-leaks"]
    assert [one.answer for one in events[-2:]] == [62.0, "as-it-should"]


def test_what_no_unit_can_make_is_to_be_read_again(context: BrowserContext, guide: Path) -> None:
    page = context.new_page()
    page.goto(guide.as_uri())
    thumb = Thumb(page)
    thumb.answer("none")
    thumb.answer("everywhere")
    assert thumb.about == ("check", "sealed-utility")
    for tries in (1, 2):
        page.fill("form.reading [name=answer]", "190")
        thumb.tap(page.locator("form.reading button.main"))
        if tries == 1:
            assert "more sealed suction than this unit can make" in page.inner_text("output")
            assert "the same number once more" in page.inner_text("output")
            assert page.evaluate("document.body.dataset.number") == "2"
    page.wait_for_function("() => document.body.dataset.number === '3'")


def test_a_visit_is_tapped_kept_over_a_reload_and_brought_home_as_a_file(
    context: BrowserContext, guide: Path, tmp_path: Path
) -> None:
    page = context.new_page()
    troubles: list[str] = []
    page.on("console", lambda one: troubles.append(one.text))
    page.on("request", lambda one: troubles.append(one.url) if "http" in one.url else None)
    page.goto(guide.as_uri())
    page.click('button[value="none"]')
    page.click('button[value="everywhere"]')
    page.reload()
    page.wait_for_selector("form.reading")
    for digit in "64":
        page.click(f".key[data-key='{digit}']")
    page.click("form.reading button.main")
    page.wait_for_function("() => document.body.dataset.number === '3'")
    page.click("#undo")
    page.wait_for_selector("form.reading")
    page.click('button[value="can\'t tell"]')
    assert "by the card" in page.inner_text("#step")
    with page.expect_download() as found:
        page.click("#home")
    home = tmp_path / "visit.yaml"
    found.value.save_as(home)
    visit = load_visit(home)
    assert [event.answer for event in visit.events] == ["none", "everywhere", "can't tell"]
    assert Session(load_rules(), visit).next_step().step == "check"
    assert troubles == []
