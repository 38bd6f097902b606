"""A real browser at a real server, and what a technician's thumb does with the page."""

from __future__ import annotations

import math
import os
import socket
import threading
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

import uvicorn
from playwright.sync_api import Error, Locator, Page

from stillflow.casebook.store import Casebook
from stillflow.cli.web.app import application
from stillflow.cli.web.carrying import Packer
from stillflow.cli.web.desk import Desk
from stillflow.engine import load_rules
from stillflow.engine.inference import Visit

AXE = Path(os.environ.get("AXE", "node_modules/axe-core/axe.min.js"))
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def violations(page: Page) -> list[str]:
    page.evaluate(AXE.read_text("utf-8"))
    found = page.evaluate(
        "(tags) => axe.run(document, { runOnly: tags }).then((one) => one.violations)", TAGS
    )
    return [
        f"{one['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
        for one in found
        for node in one["nodes"]
    ]


class Served:
    """A server of its own, and what it has kept."""

    def __init__(self, folder: Path, packer: Packer | None = None) -> None:
        self.casebook = Casebook(f"sqlite:///{folder / 'casebook.db'}")
        self.packer = packer or Packer(reach=0.03, yields=0)
        desk = Desk(load_rules(), self.casebook)
        app = application(desk, packer=self.packer, marks=folder / "marks.jsonl")
        self._door = socket.socket()
        self._door.bind(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self._door.getsockname()[1]}"
        self._server = uvicorn.Server(uvicorn.Config(app, log_level="error"))
        self._thread = threading.Thread(target=self._server.run, args=([self._door],), daemon=True)
        self._thread.start()
        while not self._server.started:
            time.sleep(0.02)

    def kept(self) -> Visit:
        return self.casebook.recent(1)[0]

    def close(self) -> None:
        self._server.should_exit = True
        self._thread.join(10)
        self.packer.close()


class Thumb:
    """What a technician does with a page, and how many taps it takes beside digits."""

    def __init__(self, page: Page, served: Served | None = None) -> None:
        self.page, self.served = page, served
        self.taps = self.steps = 0
        self.at = (-math.inf, 0.0)

    def begin(self, **given: Any) -> None:
        assert self.served is not None
        self.page.goto(f"{self.served.address}/new")
        if any(name in given for name in ("filter", "inlet", "inlets", "motors")):
            self.page.locator("details.how summary").click()
        for name, value in given.items():
            if value is not None:
                field = self.page.locator(f"[name={name}]")
                listed = field.evaluate("(one) => one.tagName") == "SELECT"
                (field.select_option if listed else field.fill)(str(value))
        self.page.click("button.main")
        self.page.wait_for_selector("#question, button[value=new]", state="attached")
        if self.page.locator("button[value=new]").count():
            self.page.click("button[value=new]")
            self.page.wait_for_selector("#question", state="attached")
        self.ready()

    def ready(self) -> None:
        """Wait until the script has taken the page over."""
        self.page.wait_for_function("() => navigator.serviceWorker?.controller || true")
        self.page.wait_for_selector("body:not([data-busy])")
        self.page.wait_for_timeout(50)

    @property
    def about(self) -> tuple[str, str]:
        found = self.page.locator("#step form").first
        for kind in ("check", "fix"):
            name = found.get_attribute(f"data-{kind}")
            if name:
                return kind, name
        raise AssertionError("the page asks nothing")

    @property
    def asking(self) -> bool:
        return self.page.locator("#step form").count() > 0

    def read(self) -> None:
        """Read what is dangerous, where that stands alone before the question."""
        read = self.page.locator("#read")
        if read.count() and read.is_visible():
            self.taps += 1
            self.tap(read)
            if read.count() and read.is_visible():
                # Too soon on the place of the last tap: whoever reads takes longer.
                self.page.wait_for_timeout(600)
                self.tap(read)

    def tap(self, button: Locator) -> None:
        """Tap a button; where the last tap was, only once what came up there can have been read."""
        # A page that is shown anew meanwhile, as when the signal comes back, has it elsewhere.
        with suppress(Error):
            button.scroll_into_view_if_needed()
            box = button.bounding_box()
            assert box is not None
            at = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
            # The page reckons in 24 px of where the tap came to be; it may have moved meanwhile.
            if math.dist(at, self.at) < 72:
                self.page.wait_for_timeout(500)
            self.at = at
        button.click()

    def to_a_reading(self) -> None:
        """Go on until a reading is asked for."""
        while not self.page.locator("form.reading").count():
            self.answer("can't tell")

    def answer(self, said: float | str) -> None:
        """Tap an answer, and wait for what comes next."""
        before = self.page.evaluate("document.body.dataset.number")
        self.steps += 1
        self.taps += 1
        self.read()
        form = self.page.locator("#step form.reading")
        if form.count() and not isinstance(said, str):
            for digit in f"{said:g}":
                self.page.click(f".key[data-key='{digit}']")
            self.tap(form.locator("button.main"))
        else:
            self.tap(self.page.locator(f'#step button[value="{said}"]').first)
        doubt = "document.querySelector('#judged')?.textContent.includes('once more')"
        self.page.wait_for_function(
            f"(before) => document.body.dataset.number !== before || {doubt}", arg=before
        )
        if self.page.evaluate(
            f"(before) => document.body.dataset.number === before && {doubt}", before
        ):
            # Without a signal a reading that cannot be is given twice by whoever is sure of it.
            self.taps += 1
            self.tap(form.locator("button.main"))
        self.page.wait_for_function(
            "(before) => document.body.dataset.number !== before && !document.body.dataset.busy",
            arg=before,
        )
