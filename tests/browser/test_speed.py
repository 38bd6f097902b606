"""What a first load weighs, as the browser counts it."""

from __future__ import annotations

from playwright.sync_api import BrowserContext, Page
from thumb import Served

FIRST_LOAD = 150_000


def test_a_first_load_is_small(context: BrowserContext, page: Page, served: Served) -> None:
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    sizes: list[float] = []
    session.on("Network.loadingFinished", lambda one: sizes.append(one["encodedDataLength"]))
    page.goto(f"{served.address}/new")
    page.wait_for_load_state("networkidle")
    assert len(sizes) > 4
    assert sum(sizes) <= FIRST_LOAD
