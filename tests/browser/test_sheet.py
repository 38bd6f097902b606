"""The customer's sheet as it is printed: one page, nothing cut off, nothing fetched."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser
from thumb import AXE, violations

from stillflow.cli.sheet import sheet_html
from stillflow.engine.charts import CustomerSheet, SheetPart, SheetReading

POINT = 96 / 72
MARGIN = 14 / 25.4 * 96
PAPER = {"a4": (210 / 25.4 * 96, 297 / 25.4 * 96), "letter": (8.5 * 96, 11 * 96)}
NASTY = (
    """O'Hara "& Sons" <script>document.title='run'</script>""",
    "<img src=http://127.0.0.1:9/x onerror=document.title='run'>",
    "'; DROP TABLE visits; --",
    "../../etc/passwd",
    "\x1b[2Jclear",
    "{{ 7 * 7 }}",
)


def sixty_lines() -> CustomerSheet:
    """A page with sixty lines of content, names of every kind among them."""
    readings = tuple(
        SheetReading(label=f"station {number}", before=40.0, after=98.0, expected=101.0)
        for number in range(8)
    )
    lines = [f"Line {number}: {NASTY[number % len(NASTY)]}" for number in range(44)]
    parts = tuple(
        SheetPart(heading=f"Part {number}", lines=tuple(lines[11 * number : 11 * number + 11]))
        for number in range(4)
    )
    return CustomerSheet(
        heading=("Larkham Suction", "1 Mossby Row"),
        facts=tuple(("house", one) for one in NASTY),
        readings=readings,
        measured_with="Through 5/8 in, gauge blue.",
        parts=parts,
        short="",
    )


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_sixty_lines_are_one_page_of_which_nothing_is_cut_off(
    browser: Browser, tmp_path: Path, paper: Any
) -> None:
    assert AXE.exists(), "npm install axe-core, and say where with AXE"
    path = tmp_path / "sheet.html"
    path.write_text(sheet_html(sixty_lines(), paper), encoding="utf-8")
    width, height = PAPER[paper]
    inside = {"width": round(width - 2 * MARGIN), "height": round(height - 2 * MARGIN)}
    context = browser.new_context(viewport=inside, bypass_csp=True)
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    assert [one for one in asked if not one.startswith("file:")] == []
    assert len(asked) == 1
    assert violations(page) == []
    # What is a name stays one: none became markup, none ran.
    assert page.title() == "Service sheet"
    assert page.locator("script, img").count() == 0
    said = page.inner_text("body")
    for name in NASTY:
        assert name.replace("\x1b", "") in said or name.replace("\x1b", "\\x1b") in said
    page.emulate_media(media="print")
    cut = page.evaluate(
        "() => [...document.querySelectorAll('body *')].filter((one) => {"
        " const at = one.getBoundingClientRect();"
        " const wide = one.scrollWidth > one.clientWidth + 1;"
        " return wide && getComputedStyle(one).display != 'inline'"
        " || at.right > innerWidth + 1 || at.bottom > innerHeight + 1 })"
        ".map((one) => one.outerHTML)"
    )
    assert cut == []
    page.screenshot(path=tmp_path / "sheet.png", full_page=True)
    # Wider or higher than the paper, the picture would be too.
    picture = (tmp_path / "sheet.png").read_bytes()
    size = [int.from_bytes(picture[at : at + 4], "big") for at in (16, 20)]
    assert size[0] <= inside["width"]
    assert size[1] <= inside["height"]
    printed = page.pdf(prefer_css_page_size=True, print_background=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
    box = re.search(rb"/MediaBox\s*\[([^\]]*)\]", printed)
    assert box is not None
    assert [float(one) * POINT for one in box[1].split()[2:]] == pytest.approx(
        [width, height], abs=3
    )
    context.close()
