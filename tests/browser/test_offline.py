"""The network cut at a random step and back three steps later: nothing lost, nothing doubled."""

from __future__ import annotations

import json
import os
from concurrent.futures import Future
from pathlib import Path
from random import Random

import pytest
from playwright.sync_api import BrowserContext, Page
from thumb import Served, Thumb

from stillflow.cli.web.carrying import Packer, pack
from stillflow.engine import Session, Unit, load_rules
from stillflow.engine.inference import Event, Visit, spot_of
from stillflow.engine.ruleset import leaves

SEEDS = int(os.environ.get("STILLFLOW_SEEDS", "50"))
UNIT = {"rated_sealed": 130, "rated_airflow": 114}


def draw_answer(thumb: Thumb, draw: Random) -> float | str:
    """An answer to whatever is asked, that does not end the visit."""
    kind, name = thumb.about
    if kind == "fix":
        return draw.choice(["not there", "yes"])
    check = load_rules().checks[name]
    if check.kind == "reading":
        return draw.choice([38.0, 52.5, 71.0, 77.0, 90.0])
    if check.first:
        return "none"
    quiet = max(check.answers, key=lambda answer: answer.usual).id
    return draw.choice([quiet, quiet, "can't tell", "skipped"])


def carried(page: Page) -> None:
    """Wait until the phone has with it what it needs."""
    page.wait_for_function(
        "() => { const data = document.body?.dataset;"
        " return data?.moment && data.ready === data.moment; }",
        timeout=120_000,
    )


def on_record(page: Page) -> None:
    """Wait until there is a signal and what waited is joined."""
    page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_function(
        "() => !document.body.dataset.carried && document.body.dataset.mark", timeout=120_000
    )
    for _ in range(600):
        if page.evaluate(ALL_SENT):
            return
        page.wait_for_timeout(100)
    raise AssertionError("answers still wait on the phone")


ALL_SENT = """() => new Promise((done) => {
  const asked = indexedDB.open("stillflow");
  asked.onsuccess = () => {
    const all = asked.result.transaction("answers").objectStore("answers").getAll();
    all.onsuccess = () => { asked.result.close(); done(all.result.every((one) => one.sent)); };
  };
})"""


@pytest.mark.parametrize("seed", range(SEEDS))
def test_answers_without_a_signal_are_on_record_once_and_in_order(
    thumb: Thumb, served: Served, context: BrowserContext, seed: int
) -> None:
    draw = Random(seed)
    page = thumb.page
    said: list[tuple[str, float | str]] = []

    def step() -> None:
        _, name = thumb.about
        answer = draw_answer(thumb, draw)
        thumb.answer(answer)
        said.append((name, answer))

    thumb.begin(**UNIT)
    for _ in range(draw.randrange(1, 4)):
        step()
    carried(page)
    before = served.kept()
    live = Session(load_rules(), before)
    context.set_offline(True)
    for number in range(3):
        if not thumb.asking:
            break
        if number == 0:
            asked = live.next_step()
            expected = asked.check.id if asked.check else asked.fix and asked.fix.fault
            assert thumb.about[1] == expected
        if number == 1 and draw.random() < 0.5:
            page.reload()
            page.wait_for_selector("#step form")
        step()
    assert "No signal" in page.inner_text("#signal")
    assert served.kept().events == before.events
    context.set_offline(False)
    on_record(page)
    kept = [(str(one.check or one.fix), one) for one in served.kept().events]
    assert [name for name, _ in kept] == [name for name, _ in said]
    for (_, event), (_, answer) in zip(kept, said, strict=True):
        if event.fix:
            assert event.done is (answer == "yes")
        else:
            assert event.answer == answer


class NoTrees(Packer):
    """A server whose trees do not come in time."""

    def ask(self, visit: Visit, soon: bool = False) -> Future[str]:
        return Future()


def test_no_signal_before_any_tree_has_come_goes_by_the_card_and_is_recorded(
    context: BrowserContext, tmp_path: Path
) -> None:
    bare = Served(tmp_path, NoTrees())
    thumb = Thumb(context.new_page(), bare)
    page = thumb.page
    thumb.begin(**UNIT)
    page.wait_for_function(HAS_CARD)
    context.set_offline(True)
    # Before the first answer too: the page itself is loaded again.
    page.reload()
    page.wait_for_selector("#step form")
    assert thumb.about == ("check", "danger-signs")
    thumb.answer("none")
    asked = []
    for value in (118.0, 64.0):
        assert "by the card" in page.inner_text("#step")
        assert "when there is a signal" in page.inner_text("output")
        asked.append((thumb.about[1], value))
        thumb.answer(value)
    assert [name for name, _ in asked] == ["sealed-unit", "working-unit"]
    assert page.inner_text(".eyebrow").startswith("4. measure")
    # What the readings at the unit took off goes back on before the house is read.
    assert thumb.about[1] == "sealed-utility"
    thumb.read()
    assert page.inner_text("#step h2").startswith("first put back")
    assert "Push the house tubing home" in page.inner_text("#step")
    assert "Plug the unit in again" in page.inner_text("#step")
    thumb.answer("can't tell")
    assert "put back" not in page.inner_text("#step")
    page.click("#undo")
    page.reload()
    page.wait_for_selector("#read")
    thumb.read()
    assert "Push the house tubing home" in page.inner_text("#step")
    context.set_offline(False)
    on_record(page)
    kept = [(event.check, event.answer) for event in bare.kept().events]
    assert kept == [("danger-signs", "none"), *asked]
    bare.close()


def test_a_page_loaded_again_without_a_signal_takes_the_next_answer(
    thumb: Thumb, served: Served, context: BrowserContext
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    carried(page)
    context.set_offline(True)
    page.reload()
    page.wait_for_selector("#step form")
    thumb.answer("can't tell")
    context.set_offline(False)
    on_record(page)
    assert [one.answer for one in served.kept().events] == ["none", "can't tell"]


def test_what_was_noted_meanwhile_is_counted_and_no_tree_is_gone_on_with(
    thumb: Thumb, served: Served, context: BrowserContext
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    carried(page)
    served.packer.ask = lambda visit, soon=False: Future()  # type: ignore[method-assign]
    try:
        page.click(".bar a:text('Notes')")
        page.fill("#note", "the dog is loose")
        page.click("text=Keep the note")
        page.wait_for_selector("text=the dog is loose")
        page.click("text=Back to the step")
        page.wait_for_function("() => document.body?.dataset.number === '2'")
        thumb.ready()
        context.set_offline(True)
        thumb.answer("can't tell")
        assert page.inner_text(".eyebrow").startswith("4.")
        thumb.answer("skipped")
    finally:
        del served.packer.ask
    context.set_offline(False)
    on_record(page)
    assert [one.answer or one.note for one in served.kept().events] == [
        "none",
        "the dog is loose",
        "can't tell",
        "skipped",
    ]


def test_a_tree_of_an_answer_that_was_taken_back_is_gone(
    thumb: Thumb, context: BrowserContext
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    thumb.answer("can't tell")
    carried(page)
    page.click(".bar button:text('Undo')")
    page.wait_for_function("() => document.body?.dataset.number === '1'")
    carried(page)
    pack = page.evaluate(
        "async () => (await import('/static/store.js')).pack(document.body.dataset.visit)"
    )
    assert pack["number"] == 1


def test_what_is_carried_is_of_the_unit_as_it_is_now_known(
    thumb: Thumb, context: BrowserContext
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    carried(page)
    before = page.evaluate("document.body.dataset.ready")
    page.click(".bar a:text('Unit')")
    page.fill("[name=rated_sealed]", "100")
    page.click("button.main")
    page.wait_for_selector(".told")
    carried(page)
    assert page.evaluate("document.body.dataset.ready") != before


HAS_CARD = """async () => {
  const store = await import("/static/store.js");
  return Boolean(await store.pack(store.ANY));
}"""


def test_back_without_a_signal_takes_back_what_is_not_on_record_yet(
    thumb: Thumb, served: Served, context: BrowserContext
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    carried(page)
    context.set_offline(True)
    first, question = thumb.about, page.inner_text("#question")
    thumb.answer("can't tell")
    assert thumb.about != first
    # Under its question, and nothing is foretold any more.
    page.reload()
    page.wait_for_selector("#step form")
    assert question in page.inner_text("#last")
    assert "Can't tell" in page.inner_text("#last")
    assert page.locator("#ahead").count() == 0
    page.goto(f"{served.address}/")
    page.wait_for_selector("#carried a")
    assert "1 answer on record, 1 on this phone alone" in page.inner_text("#carried")
    page.click(f"#carried a[href$='{served.kept().id}']")
    page.wait_for_selector("#step form")
    thumb.ready()
    page.click("#undo")
    page.wait_for_function("() => document.body.dataset.number === '1'")
    assert thumb.about == first
    page.click("#undo")
    page.wait_for_selector("#signal:has-text('when there is a signal')")
    thumb.answer("skipped")
    context.set_offline(False)
    on_record(page)
    assert [one.answer for one in served.kept().events] == ["none", "skipped"]


def test_a_visit_changed_elsewhere_meanwhile_says_so_and_lets_one_choose(
    thumb: Thumb, served: Served, context: BrowserContext
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    carried(page)
    context.set_offline(True)
    thumb.answer("can't tell")
    visit = served.kept()
    served.casebook.add_event(visit, Event(check="slider-look", answer="can't tell"))
    context.set_offline(False)
    page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_selector(".told button")
    assert len(served.kept().events) == 2
    page.click("text=Add this phone's answers after it")
    page.wait_for_function("() => document.body.dataset.number === '3'")
    assert [one.answer for one in served.kept().events] == ["none", "can't tell", "can't tell"]


def test_at_the_edge_of_the_tree_the_card_goes_on_and_is_recorded(
    thumb: Thumb, served: Served, context: BrowserContext
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    carried(page)
    context.set_offline(True)
    thumb.answer("can't tell")
    assert "by the card" in page.inner_text("#step")
    asked = []
    for value in (118.0, 64.0, 60.0):
        asked.append(thumb.about[1])
        thumb.answer(value)
        thumb.read()
        back = "Push the house tubing home" in page.inner_text("#step")
        assert back is (thumb.about[1] == "sealed-utility")
        first = "First: House tubing pulled off" in page.inner_text("#step")
        assert not first  # at the second reading there it is off already
    assert asked == ["sealed-unit", "working-unit", "sealed-utility"]
    context.set_offline(False)
    on_record(page)
    assert [one.answer for one in served.kept().events][2:] == [118.0, 64.0, 60.0]


def test_a_fix_made_without_a_signal_is_proved_and_done(
    thumb: Thumb, served: Served, context: BrowserContext
) -> None:
    page = thumb.page
    thumb.begin(**UNIT, complaint="weak with the long hose")
    # A hose that is clogged, whole by its looks.
    found: dict[str, float | str] = {"where-weak": "one-hose", "hose-look": "sound"}
    found |= {"sealed-hose": 128.0, "working-hose": 14.0, "sealed-inlet": 129.0}
    found |= {"working-inlet": 77.0, "other-hose": "better", "hose-ball": "sticks"}

    def known() -> float | str:
        name = thumb.about[1]
        return found.get(name, "none" if load_rules().checks[name].first else "can't tell")

    while thumb.about[0] == "check":
        session = Session(load_rules(), served.kept()) if served.kept().events else None
        if session is not None and session.next_step().fix is not None:
            break
        thumb.answer(known())
    carried(page)
    context.set_offline(True)
    page.reload()
    page.wait_for_selector("#step form")
    assert thumb.about[0] == "fix"
    thumb.answer("yes")
    assert "After the fix" in page.inner_text("#step")
    assert thumb.about == ("check", "working-hose")
    thumb.answer(62.0)
    assert thumb.about == ("check", "works-now")
    thumb.answer("as-it-should")
    assert "Done, as far as this phone can tell" in page.inner_text("#step")
    context.set_offline(False)
    on_record(page)
    assert served.kept().conclusion is not None


def test_danger_is_at_hand_without_a_signal_and_stops(
    thumb: Thumb, served: Served, context: BrowserContext
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    carried(page)
    context.set_offline(True)
    page.reload()
    page.wait_for_selector("#danger")
    asks = "#step form[data-check='danger-signs']"
    page.click("#danger")
    page.wait_for_selector(asks)
    # Nothing seen after all: the visit goes on where it was.
    thumb.answer("none")
    page.click("#danger")
    page.wait_for_selector(asks)
    thumb.answer("smoke")
    assert "fire department" in page.inner_text("#step .stop").lower()
    context.set_offline(False)
    on_record(page)
    assert [one.answer for one in served.kept().events][-1] == "smoke"


def test_a_call_typed_in_when_the_signal_goes_is_still_there(
    thumb: Thumb, served: Served, context: BrowserContext
) -> None:
    page = thumb.page
    page.goto(f"{served.address}/new")
    page.wait_for_selector("[name=complaint]")
    page.fill("[name=complaint]", "it whistles in the hall")
    page.wait_for_timeout(500)
    context.set_offline(True)
    page.click("button.main")
    page.wait_for_function(
        "() => document.querySelector('#signal').textContent.includes('stays here')"
    )
    assert page.input_value("[name=complaint]") == "it whistles in the hall"
    context.set_offline(False)
    page.click("button.main")
    page.wait_for_selector("#question")
    assert served.kept().complaint == "it whistles in the hall"


def test_beside_the_step_nothing_takes_an_answer_back(thumb: Thumb) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    assert page.locator(".bar button:text('Undo')").count() == 1
    for name in ("Where", "Why", "Notes", "Unit", "Danger"):
        page.click(f".bar a:text('{name}')")
        page.wait_for_selector("text=Back to the step")
        assert page.locator(".bar button:text('Undo')").count() == 0
        page.click("text=Back to the step")
        page.wait_for_selector("#question")


def test_what_readings_say_on_the_phone_is_what_the_rules_say(thumb: Thumb) -> None:
    """Drawn readings at all stations: the same rules fire as in the visit itself."""
    page, knowledge = thumb.page, load_rules()
    thumb.begin(**UNIT)
    visit = Visit(unit=Unit(**UNIT))
    carried_now = json.loads(json.dumps(pack(Session(knowledge, visit), 1.0)))
    checks = [one for one in knowledge.checks.values() if one.kind == "reading"]
    compared = 0
    for seed in range(30):
        draw = Random(seed)
        session = Session(knowledge, visit)
        answers = []
        for number, check in enumerate(draw.sample(checks, 6), 1):
            state, station = spot_of(check)
            value = round(session.baseline.at(state, station) * draw.uniform(0.3, 1.1))
            event = {"check": check.id, "answer": str(value), "value": value, "number": number}
            odd = page.evaluate(DOUBTED, [carried_now, answers, event])
            tried = session.supposing(Event(check=check.id, answer=value))
            assert bool(odd) is bool(tried.progress.doubting)
            if odd:
                assert odd.startswith(knowledge.rules[tried.progress.doubting].because)
                continue
            session = tried
            answers.append(event)
        fired = [knowledge.rules[one.rule_id] for one in session.conclude().firings]
        speak = {one.because for one in fired if one.gauged and knowledge.evidence[one.id]}
        beside = {
            one.because
            for one in fired
            if one.gauged
            and knowledge.evidence[one.id]
            and any(leaf.fact.startswith("kept.") for leaf in leaves(one.when))
        }
        said = page.evaluate(VERDICT, [carried_now, answers])
        assert set(said["says"] if said else ()) == (beside or speak)
        compared += bool(beside)
    assert compared > 10


DOUBTED = """async ([pack, answers, said]) =>
  (await import("/static/telling.js")).doubted(pack, answers, said)"""
VERDICT = """async ([pack, answers]) =>
  (await import("/static/telling.js")).verdict(pack, answers)"""


def test_a_reading_that_cannot_be_is_asked_again_without_a_signal_too(
    thumb: Thumb, served: Served, context: BrowserContext
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    thumb.to_a_reading()
    carried(page)
    asked, number = thumb.about, page.evaluate("document.body.dataset.number")
    context.set_offline(True)
    # The first is typed while the page still counts on a signal, the second knows that it is gone.
    for typed in ("190", "191"):
        thumb.read()
        page.fill("form.reading [name=answer]", typed)
        thumb.tap(page.locator("form.reading button.main"))
        page.wait_for_selector("output:has-text('than this unit can make')")
        assert thumb.about == asked
        assert page.evaluate("document.body.dataset.number") == number
    thumb.tap(page.locator("form.reading button.main"))
    page.wait_for_function("(n) => document.body.dataset.number !== n", arg=number)
    context.set_offline(False)
    on_record(page)
    assert [one.answer for one in served.kept().events][-1] == 191.0


def test_a_signal_that_comes_back_takes_no_question_from_under_the_fingers(
    thumb: Thumb, served: Served, context: BrowserContext
) -> None:
    page = thumb.page
    thumb.begin(**UNIT)
    thumb.answer("none")
    thumb.to_a_reading()
    carried(page)
    context.set_offline(True)
    page.reload()
    page.wait_for_selector("form.reading")
    asked = thumb.about
    page.click(".key[data-key='6']")
    context.set_offline(False)
    page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_timeout(1000)
    assert thumb.about == asked
    assert page.input_value("form.reading [name=answer]") == "6"
    page.click(".key[data-key='4']")
    page.click("form.reading button.main")
    on_record(page)
    assert served.kept().events[-1].answer == 64.0
