"""Debian's Chromium, driven by Playwright; what it is used for stands in `thumb`."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from thumb import Served, Thumb

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
PATIENCE = 60_000
"""ms; a machine that does much else beside is slow, not wrong."""


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    one = Served(tmp_path_factory.mktemp("served"))
    yield one
    one.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        one = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield one
        one.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    one = browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True)
    one.set_default_timeout(PATIENCE)
    yield one
    one.close()


@pytest.fixture
def page(context: BrowserContext) -> Page:
    return context.new_page()


@pytest.fixture
def thumb(page: Page, served: Served) -> Thumb:
    return Thumb(page, served)
