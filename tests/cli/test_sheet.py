"""`stillflow sheet`: one page, only what was measured, and names that stay text."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import pytest
from command import Outcome, stillflow

from stillflow.casebook.files import visit_text
from stillflow.engine.inference import Event, Gauge, Site, Unit, Visit

NASTY = [
    """O'Hara "& Sons" <script>alert(1)</script>""",
    "'; DROP TABLE visits; --",
    "../../etc/passwd",
    "\x1b[2Jclear",
    "{{ 7 * 7 }}",
    "=HYPERLINK(1)",
]


def at(minute: int) -> datetime:
    return datetime(2026, 3, 4, 9, minute, tzinfo=UTC)


def mended(name: str = "14 Heron Court") -> Visit:
    return Visit(
        opened=at(0),
        technician="Ada Penhallow",
        complaint=f"Weak, says {name}",
        site=Site(name=name, address="Larkham", inlet="kitchen"),
        unit=Unit(rated_sealed=130, rated_airflow=114),
        gauge=Gauge(name="blue"),
        events=(
            Event(check="sealed-inlet", answer=12.0, at=at(1)),
            Event(strikes=1, note="the gauge was not seated", at=at(2)),
            Event(check="sealed-inlet", answer=92.0, at=at(3)),
            Event(check="working-inlet", answer=48.0, at=at(4)),
            Event(fix="hose-holed", done=True, at=at(20)),
            Event(check="sealed-inlet", answer=125.0, at=at(25)),
            Event(note="the key is under the mat", at=at(26)),
            Event(part="hose, 30 ft", price=89.5, at=at(27)),
            Event(part=f"patch for {name}", count=2, at=at(28)),
        ),
    )


def sheet(tmp_path: Path, visit: Visit, *args: str) -> Outcome:
    path = tmp_path / "visit.yaml"
    path.write_text(visit_text(visit), encoding="utf-8")
    outcome = stillflow("sheet", str(path), *args)
    assert outcome.code == 0, outcome.err
    return outcome


def test_the_page_says_what_was_measured_done_and_used(tmp_path: Path) -> None:
    settings = tmp_path / "shop.yaml"
    settings.write_text("heading: [Penhallow Vacuums, 3 Mill Lane]\ncurrency: EUR\n")
    out = sheet(tmp_path, mended(), "--settings", str(settings)).out
    lines = out.splitlines()
    assert lines[:2] == ["Penhallow Vacuums", "3 Mill Lane"]
    assert max(map(len, lines)) <= 72
    said = " ".join(out.split())
    assert "sealed at the kitchen inlet 92 125 130" in said
    assert re.search(r"working at the kitchen inlet 48 - \d+ ", said)
    assert "through an orifice of 5/8 in with the gauge blue." in said
    assert "a hole or a split: cut the holed piece off the hose, or installed a new" in said
    assert "Unit: 130 inH2O sealed, 114 cfm" in said
    assert "1 x hose, 30 ft at 89.50: 89.50 EUR" in said
    assert "Together: 89.50 EUR" in said
    assert "On site: 25 minutes." in said
    assert "Measure next - 2027-03" in said
    # Struck, and for the shop alone.
    assert " 12 " not in said
    assert "under the mat" not in said


def test_the_page_names_everyone_who_wrote_answers_or_fixes(tmp_path: Path) -> None:
    alone = mended()
    both = alone.model_copy(
        update={
            "events": tuple(
                one.model_copy(update={"by": "<b>Bram</b>"}) if number in (4, 5) else one
                for number, one in enumerate(alone.events)
            )
        }
    )
    assert "Technician: Ada Penhallow\n" in sheet(tmp_path, alone).out
    assert "Technicians: Ada Penhallow, <b>Bram</b>\n" in sheet(tmp_path, both).out
    page = tmp_path / "page.html"
    sheet(tmp_path, both, "--out", str(page))
    said = page.read_text(encoding="utf-8")
    assert "Technicians" in said
    assert "Ada Penhallow, &lt;b&gt;Bram&lt;/b&gt;" in said


def test_the_short_line_has_date_work_readings_orifice_and_gauge(tmp_path: Path) -> None:
    out = sheet(tmp_path, mended(), "--short").out
    assert out.count("\n") == 1
    begin, readings = out.split("new hose; ")
    assert begin == "2026-03-04: Cut the holed piece off the hose, or installed a "
    assert readings.startswith("sealed at the kitchen inlet 92 before, 125 after (130 exp")
    assert out.endswith("inH2O, orifice 5/8 in with the gauge blue.\n")


def test_a_visit_without_readings_claims_none(tmp_path: Path) -> None:
    bare = Visit(opened=at(0), complaint="weak")
    out = sheet(tmp_path, bare).out
    assert "Measured" not in out
    assert "orifice" not in out
    assert "Measure next" not in out
    assert "no suction was read" in sheet(tmp_path, bare, "--short").out


class Tags(HTMLParser):
    """What a browser would fetch or run."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.links += [
            name for name, _ in attrs if name in ("src", "href", "srcset") or name[:2] == "on"
        ]


@pytest.mark.parametrize("name", NASTY)
def test_names_stay_text_and_nothing_is_fetched(tmp_path: Path, name: str) -> None:
    sheet(tmp_path, mended(name), "--out", str(tmp_path / "sheet.html"))
    text = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    read = Tags()
    read.feed(text)
    assert not read.tags & {"script", "img", "link", "iframe", "object"}
    assert read.links == []
    assert "url(" not in text
    assert "@import" not in text
    assert "\x1b" not in text
    assert "49" not in text or "{{" not in name
    for form in ("svg", "txt"):
        sheet(tmp_path, mended(name), "--out", str(tmp_path / f"sheet.{form}"))
        out = (tmp_path / f"sheet.{form}").read_text(encoding="utf-8")
        assert "<script" not in out or form == "txt"
        assert "\x1b" not in out
    assert sorted(one.name for one in tmp_path.iterdir()) == [
        *("sheet.html", "sheet.svg", "sheet.txt", "visit.yaml"),
    ]


def long_one() -> Visit:
    parts = tuple(Event(part=f"part number {number}", price=1.0) for number in range(36))
    visit = mended()
    return visit.model_copy(update={"events": (*visit.events, *parts)})


def test_the_page_that_is_tried_has_sixty_lines(tmp_path: Path) -> None:
    assert sum(map(bool, sheet(tmp_path, long_one()).out.splitlines())) >= 60


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_sixty_lines_still_make_one_page(tmp_path: Path, paper: str) -> None:
    path = tmp_path / "sheet.pdf"
    sheet(tmp_path, long_one(), "--out", str(path), "--paper", paper)
    data = path.read_bytes()
    assert data.count(b"/Type /Page\n") == 1
    sheet(tmp_path, long_one(), "--out", str(tmp_path / "sheet.svg"), "--paper", paper)
    svg = (tmp_path / "sheet.svg").read_text(encoding="utf-8")
    assert "part number 35" in svg
    high = {"a4": 841.89, "letter": 792.0}[paper]
    feet = [float(y) for y in re.findall(r'<text[^>]* y="([\d.]+)"', svg)]
    assert feet
    assert max(feet) < high


def test_another_ending_is_refused_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "visit.yaml"
    path.write_text(visit_text(mended()), encoding="utf-8")
    outcome = stillflow("sheet", str(path), "--out", str(tmp_path / "sheet.doc"))
    assert outcome.code == 2
    assert outcome.err.count("\n") == 1
    assert "end it in .html" in outcome.err
