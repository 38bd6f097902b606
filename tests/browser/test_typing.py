"""What is typed and tapped by a thumb: nothing of it is lost, nothing of it counts twice."""

from __future__ import annotations

import pytest
from playwright.sync_api import BrowserContext, Page
from thumb import Served, Thumb, violations

UNIT = {"rated_sealed": 130, "rated_airflow": 114}
CALL = {
    "#f-name": "Half Typed Hall",
    "#f-complaint": "weak in the attic",
    "#f-altitude_ft": "5280",
    "#f-age_years": "about 8",
}


def ready_for_no_signal(page: Page) -> None:
    page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    page.wait_for_function("() => navigator.serviceWorker.controller")


def test_a_half_typed_call_outlasts_reload_and_signal(
    context: BrowserContext, page: Page, served: Served
) -> None:
    page.goto(f"{served.address}/new")
    ready_for_no_signal(page)
    for field, words in CALL.items():
        page.fill(field, words)
    page.click("summary:has-text('More of unit')")
    page.fill("#f-inlets", "attic, hall")
    page.uncheck("#t-gauge")
    context.set_offline(True)
    page.click("button.begin")
    page.wait_for_function("() => document.querySelector('#signal').textContent.includes('stays')")
    page.reload()
    page.wait_for_selector("#none:not([hidden])")
    assert not page.locator("#some").is_visible()
    context.set_offline(False)
    page.reload()
    page.wait_for_selector("text=Filled in as it was left")
    for field, words in CALL.items():
        assert page.input_value(field) == words
    assert page.input_value("#f-inlets") == "attic, hall"
    assert page.locator("#f-inlets").is_visible()
    assert not page.is_checked("#t-gauge")
    page.click("button.begin")
    page.wait_for_selector("#question", state="attached")
    kept = served.kept()
    assert (kept.site.name, kept.unit.age_years) == ("Half Typed Hall", 8.0)
    assert "gauge" in kept.missing_tools
    page.goto(f"{served.address}/new")
    page.wait_for_timeout(300)
    assert page.input_value("#f-name") == ""


def test_what_was_left_is_emptied_by_a_tap(page: Page, served: Served) -> None:
    page.goto(f"{served.address}/new")
    page.wait_for_timeout(300)
    page.fill("#f-name", "Nowhere")
    page.reload()
    page.click("text=Empty it")
    page.wait_for_function("() => document.querySelector('#f-name')?.value === ''")
    assert not page.locator("text=Filled in as it was left").count()


def test_a_half_typed_note_outlasts_reload_and_is_kept_once(
    context: BrowserContext, thumb: Thumb, served: Served
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    page.click(".bar a:text('Notes')")
    page.wait_for_selector("#note")
    page.wait_for_timeout(300)
    page.fill("#note", "key at the neighbour's")
    page.reload()
    page.wait_for_selector("text=Filled in as it was left")
    assert page.input_value("#note") == "key at the neighbour's"
    context.set_offline(True)
    page.click("text=Keep the note")
    page.wait_for_function("() => document.querySelector('#signal').textContent.includes('stays')")
    assert served.kept().events == ()
    context.set_offline(False)
    page.click("text=Keep the note")
    page.wait_for_selector('p.item:has-text("key at the neighbour\'s")')
    assert [event.note for event in served.kept().events] == ["key at the neighbour's"]
    page.reload()
    page.wait_for_timeout(300)
    assert page.input_value("#note") == ""


TAP_AGAIN = """async ([x, y, wait]) => {
  const shown = () => document.body.dataset.number === "1" && !document.body.dataset.busy;
  while (!shown()) await new Promise(requestAnimationFrame);
  await new Promise((done) => setTimeout(done, wait));
  const middle = (one) => one.getBoundingClientRect().top + one.offsetHeight / 2;
  const [near] = [...document.querySelectorAll("#step .answers button:not([hidden])")]
    .sort((one, other) => Math.abs(middle(one) - y) - Math.abs(middle(other) - y));
  const tap = { bubbles: true, cancelable: true, detail: 1, clientX: x, clientY: y + 5 };
  near.dispatchEvent(new MouseEvent("click", tap));
}"""
"""From within the page, so that a slow machine does not come between the taps."""


@pytest.mark.parametrize(("wait", "counted"), [(0, 1), (700, 2)])
def test_a_second_tap_on_the_same_place_is_no_answer_to_what_came_meanwhile(
    thumb: Thumb, served: Served, wait: int, counted: int
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    box = page.locator('#step button[value="none"]').bounding_box()
    assert box is not None
    x, y = box["x"] + 40, box["y"] + box["height"] / 2
    page.mouse.click(x, y)
    page.evaluate(TAP_AGAIN, [x, y, wait])
    if counted > 1:
        page.wait_for_function("() => document.body.dataset.number === '2'")
    page.wait_for_timeout(1000)
    assert len(served.kept().events) == counted


def test_a_known_inlet_is_tapped_after_the_answer_that_points_at_one(
    thumb: Thumb, served: Served
) -> None:
    page = thumb.page
    thumb.begin(inlet="hall", inlets="hall, landing, study", **UNIT)
    thumb.answer("none")
    read = {"sealed-utility": 129.0, "sealed-unit": 129.0, "sealed-inlet": 60.0}
    while not page.locator("button[data-inlet]").count():
        kind, name = thumb.about
        thumb.answer("not there" if kind == "fix" else read.get(name, "can't tell"))
    thumb.ready()
    number = len(served.kept().events)
    page.locator("button[data-inlet]").first.click()
    names = page.locator(".which .names button")
    assert {"landing", "study"} <= set(names.all_inner_texts())
    for box in (one.bounding_box() for one in names.all()):
        assert box is not None
        assert min(box["width"], box["height"]) >= 48
    assert violations(page) == []
    names.filter(has_text="landing").click()
    page.wait_for_function(f"() => document.body?.dataset.number === '{number + 1}'")
    assert served.kept().events[-1].inlet == "landing"


def test_a_house_that_is_known_is_picked_by_a_tap(page: Page, served: Served, thumb: Thumb) -> None:
    thumb.begin(name="Quillfeather house", **UNIT)
    first = served.kept()
    page.goto(f"{served.address}/new")
    page.fill("#f-name", "quillfeather house")
    page.fill("#f-complaint", "weak again")
    page.click("button.begin")
    page.wait_for_selector("text=is it a house that was visited before?")
    assert violations(page) == []
    assert page.input_value("#f-complaint") == "weak again"
    page.click("button[name=known]:has-text('Quillfeather house')")
    page.wait_for_selector("#question", state="attached")
    again = served.kept()
    assert again.id != first.id
    assert (again.site.id, again.complaint) == (first.site.id, "weak again")
