"""For every eye and hand: axe-core, contrast in the sun, large text, the keyboard alone."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser
from thumb import AXE, Served, Thumb, violations

UNIT = {"rated_sealed": 130, "rated_airflow": 114}
AAA = 7.0


def pages(thumb: Thumb) -> Iterator[str]:
    """Every page of a visit, one after the other in the same window."""
    page, address = thumb.page, thumb.served.address

    page.goto(f"{address}/new")
    page.click("summary:has-text('More of unit')")
    yield "new"
    thumb.begin(name="Fern Cottage", **UNIT)
    yield "question"
    thumb.answer("none")
    thumb.to_a_reading()
    if page.locator("#read").count():
        yield "dangers"
        thumb.read()
    page.click(".how summary")
    yield "reading"
    thumb.answer(41.0)
    visit = page.evaluate("document.body.dataset.visit")
    for name in ("danger", "where", "why", "unit", "notes", "more", "sheet", "sheet.html"):
        page.goto(f"{address}/visit/{visit}/{name}")
        yield name
    for name in ("coverage", "rules", "rules/brushes-worn"):
        page.goto(f"{address}/{name}")
        assert not page.locator("h1:text('That did not work')").count()
        yield name
    for name in ("charts", "marks", "drill"):
        page.goto(f"{address}/{name}")
        yield name
    page.fill("#trainee", "Ann Alder")
    # Some houses end the drill at once for whoever guards against nothing.
    page.fill("#seed", "7")
    page.click("text=Drive there")
    page.click("summary:has-text('Measure')")
    yield "drill begun"
    page.click("button[value=sealed-unit]")
    yield "drill minds"
    page.click("text=Do it")
    page.wait_for_selector(".said")
    yield "drill goes on"
    page.click("button[value=leave]")
    page.wait_for_selector("text=What it comes to")
    yield "drill ends"
    page.goto(f"{address}/marks")
    yield "class"
    page.goto(f"{address}/")
    yield "front"
    thumb.begin(**UNIT)
    thumb.answer("burning-smell")
    yield "end"
    page.click("text=Look once more")
    page.wait_for_selector("text=Is it put right?")
    yield "lift"
    page.click("text=ask it once more")
    page.click("button[value=none]")
    page.wait_for_selector("text=Stopped before")
    yield "lifted"
    page.goto(f"{address}/visit/none-such")
    yield "problem"
    page.goto(f"{address}/offline")
    yield "offline"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_any_page(browser: Browser, served: Served, scheme: Any) -> None:
    assert AXE.exists(), "npm install axe-core, and say where with AXE"
    context = browser.new_context(
        viewport={"width": 360, "height": 740}, color_scheme=scheme, bypass_csp=True
    )
    thumb = Thumb(context.new_page(), served)
    found = {name: violations(thumb.page) for name in pages(thumb)}
    context.close()
    assert len(found) > 10
    assert {name: one for name, one in found.items() if one} == {}


CONTRAST = """(what) => {
  const light = (words) => {
    const [r, g, b] = words.match(/[\\d.]+/g).map((one) => Number(one) / 255)
      .map((one) => one <= 0.04045 ? one / 12.92 : ((one + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  return [...document.querySelectorAll(what)].map((one) => {
    let ground = one;
    const none = "rgba(0, 0, 0, 0)";
    while (getComputedStyle(ground).backgroundColor === none) ground = ground.parentElement;
    const pair = [getComputedStyle(one).color, getComputedStyle(ground).backgroundColor].map(light);
    return (Math.max(...pair) + 0.05) / (Math.min(...pair) + 0.05);
  });
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_question_answers_and_dangers_are_read_in_the_sun(
    browser: Browser, served: Served, scheme: Any
) -> None:
    context = browser.new_context(viewport={"width": 360, "height": 740}, color_scheme=scheme)
    thumb = Thumb(context.new_page(), served)
    thumb.begin(**UNIT)
    seen = 0
    for _ in range(4):
        for what in ("#question", "#step button", ".danger", "output"):
            ratios = thumb.page.evaluate(CONTRAST, what)
            seen += len(ratios)
            assert all(ratio >= AAA for ratio in ratios), (what, ratios)
        thumb.answer("none" if thumb.about[1] == "danger-signs" else "can't tell")
    context.close()
    assert seen > 30


def test_what_is_tapped_is_large_enough_for_a_thumb(thumb: Thumb) -> None:
    thumb.begin(**UNIT)
    for _ in range(3):
        sizes = thumb.page.evaluate(
            "() => [...document.querySelectorAll('#step button, .bar a, .bar button')]"
            ".filter((one) => one.checkVisibility()).map((one) => {"
            " const box = one.getBoundingClientRect(); return [box.width, box.height]; })"
        )
        assert len(sizes) > 5
        assert all(min(size) >= 48 for size in sizes), json.dumps(sizes)
        thumb.answer("none" if thumb.about[1] == "danger-signs" else "can't tell")


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_text_of_twice_the_size_leaves_nothing_out_of_the_page(
    browser: Browser, served: Served, width: int
) -> None:
    context = browser.new_context(viewport={"width": width, "height": 740})
    thumb = Thumb(context.new_page(), served)
    session = context.new_cdp_session(thumb.page)
    session.send("Page.enable")
    session.send("Page.setFontSizes", {"fontSizes": {"standard": 32, "fixed": 26}})
    for name in pages(thumb):
        over = thumb.page.evaluate(
            "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        assert over <= 0, name
        assert thumb.page.evaluate("() => getComputedStyle(document.body).fontSize") == "32px"
    context.close()


def test_a_visit_goes_by_the_keyboard_alone(thumb: Thumb) -> None:
    page = thumb.page
    thumb.begin(**UNIT)

    def press_to(what: str) -> None:
        for _ in range(60):
            page.keyboard.press("Tab")
            if page.evaluate("(what) => document.activeElement.matches(what)", what):
                outline = page.evaluate(
                    "() => getComputedStyle(document.activeElement).outlineStyle"
                )
                assert outline != "none"
                return
        raise AssertionError(f"{what} is not come to")

    press_to('button[value="none"]')
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.body.dataset.number === '1'")
    thumb.to_a_reading()
    number = int(page.evaluate("document.body.dataset.number"))
    press_to("input[name=answer]")
    page.keyboard.type("64")
    assert page.inner_text("output").startswith("64 of ")
    page.keyboard.press("Enter")
    page.wait_for_function(f"() => document.body.dataset.number === '{number + 1}'")
