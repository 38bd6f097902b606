"""What a first load weighs, and how soon the next question is there, as the browser counts it."""

from __future__ import annotations

import os
from statistics import median
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, CDPSession, Page
from thumb import Served, Thumb

FIRST_LOAD = 150_000
SLOWER = 4
"""A slow phone beside this machine."""
ON_SCREEN, OF_THE_SERVER = 300.0, 60.0
"""Milliseconds from the tap to the next question, and what of it is the server's own bound."""


def test_a_first_load_is_small(context: BrowserContext, page: Page, served: Served) -> None:
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    sizes: list[float] = []
    session.on("Network.loadingFinished", lambda one: sizes.append(one["encodedDataLength"]))
    page.goto(f"{served.address}/new")
    page.wait_for_load_state("networkidle")
    assert len(sizes) > 4
    assert sum(sizes) <= FIRST_LOAD


MARK = """() => {
  addEventListener("click", () => performance.mark("tap"), { once: true, capture: true });
  new MutationObserver((_, seen) => {
    if (!document.querySelector("#question")) return;
    performance.mark("next");
    seen.disconnect();
  }).observe(document.documentElement, { childList: true });
}"""


def test_on_a_slow_phone_the_next_question_is_on_screen_at_once(
    context: BrowserContext, thumb: Thumb
) -> None:
    """By the browser's own trace; what the server takes is measured by the benchmark alone."""
    if os.getloadavg()[0] > 2 * (os.cpu_count() or 1):
        pytest.skip("on a machine that does much else beside, time says nothing of the page")
    thumb.begin(rated_sealed=130, rated_airflow=114)
    session = context.new_cdp_session(thumb.page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    taken = []
    for _ in range(8):
        thumb.page.evaluate(MARK)
        taken.append(_taken(thumb, session))
    assert median(taken) <= ON_SCREEN - OF_THE_SERVER


def _taken(thumb: Thumb, session: CDPSession) -> float:
    """Milliseconds from a tap to the next question's paint, but for the wait for the reply."""
    page, seen, ended = thumb.page, list[Any](), list[Any]()
    session.on("Tracing.dataCollected", lambda one: seen.extend(one["value"]))
    session.on("Tracing.tracingComplete", lambda one: ended.append(one))
    how = {"categories": "devtools.timeline,blink.user_timing", "transferMode": "ReportEvents"}
    session.send("Tracing.start", how)
    thumb.answer("none" if thumb.about[1] == "danger-signs" else "can't tell")
    page.wait_for_timeout(300)
    session.send("Tracing.end")
    while not ended:
        page.wait_for_timeout(20)
    marks = {one["name"]: one["ts"] for one in seen if one["name"] in ("tap", "next")}

    def after(name: str, start: float) -> float:
        return min(one["ts"] for one in seen if one["name"] == name and one["ts"] > start)

    sent = after("ResourceSendRequest", marks["tap"])
    waited = after("ResourceReceiveResponse", sent) - sent
    return float(after("Paint", marks["next"]) - marks["tap"] - waited) / 1000
