"""The one-file guide in a browser: opened from disk, gone on with after a reload, brought home."""

from __future__ import annotations

from pathlib import Path

from command import stillflow
from playwright.sync_api import BrowserContext

from stillflow.casebook.files import load_visit
from stillflow.engine import Session, load_rules


def test_a_visit_is_tapped_kept_over_a_reload_and_brought_home_as_a_file(
    context: BrowserContext, tmp_path: Path
) -> None:
    file = tmp_path / "guide.html"
    args = ("--rated-sealed", "130", "--rated-airflow", "114", "--out", str(file))
    assert stillflow("guide", *args).code == 0
    page = context.new_page()
    troubles: list[str] = []
    page.on("console", lambda one: troubles.append(one.text))
    page.on("request", lambda one: troubles.append(one.url) if "http" in one.url else None)
    page.goto(file.as_uri())
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
