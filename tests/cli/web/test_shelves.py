"""Houses, their history, and the rules to read and search, in a browser."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from command import stillflow
from phone import phone

from stillflow.casebook.cases import named_case, play
from stillflow.casebook.store import Casebook
from stillflow.engine import load_rules

SCRIPT = "<script>alert(1)</script>"


def test_a_house_is_found_and_a_new_visit_begins_with_what_is_known(tmp_path: Path) -> None:
    casebook = Casebook(f"sqlite:///{tmp_path / 'casebook.db'}")
    case = named_case("bin-crooked-after-emptying")
    assert case is not None
    opened = datetime(2025, 3, 4, 9, 30, tzinfo=UTC)
    case = case.model_copy(update={"visit": case.visit.model_copy(update={"opened": opened})})
    kept = casebook.put(play(case, load_rules()).visit)
    one = phone(tmp_path)
    one.open(f"/?q={kept.site.name.split()[0]}")
    assert kept.site.name in one.words
    site = one._found(r'href="(/site/[^"]*)"')
    one.open(site)
    assert "Last good readings" in one.words
    assert "Over the years" in one.words
    one.open(f"/new?site={site.removeprefix('/site/')}")
    assert f'value="{kept.unit.rated_sealed:g}"' in one.page
    one.send("/new", site=site.removeprefix("/site/"), complaint="weak again")
    assert one.status == 200
    begun = casebook.get(one.visit)
    assert begun.unit.rated_sealed == kept.unit.rated_sealed
    assert begun.earlier
    assert begun.complaint == "weak again"


def test_a_search_for_nothing_that_is_there_is_told_and_not_run(tmp_path: Path) -> None:
    one = phone(tmp_path)
    for path in (f"/?q={SCRIPT}", f"/rules?q={SCRIPT}", f"/rules/{SCRIPT}", f"/site/{SCRIPT}"):
        one.open(path)
        assert one.status in (200, 404)
        assert SCRIPT not in one.page
    one.open("/new?site=no-such-site")
    assert one.status == 404


def test_rules_are_searched_and_read_with_their_sources(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.open("/rules?q=")
    assert "/rules/brushes-worn" in one.page
    one.open("/rules?q=bin-seat")
    assert "/rules/bin-seat-look" in one.page
    assert "/rules/brushes-worn" not in one.page
    one.open("/rules/bin-seat-look")
    assert one.status == 200
    assert load_rules().checks["bin-seat-look"].ask in one.words
    assert "stands in:" in one.words


def test_the_sheet_for_the_customer_is_the_one_the_command_line_writes(tmp_path: Path) -> None:
    casebook = Casebook(f"sqlite:///{tmp_path / 'casebook.db'}")
    case = named_case("clogged-hose")
    assert case is not None
    played = play(case, load_rules()).visit
    site = played.site.model_copy(update={"name": SCRIPT})
    kept = casebook.put(played.model_copy(update={"site": site}))
    one = phone(tmp_path)
    one.open(f"/visit/{kept.id}")
    assert f'href="/visit/{kept.id}/sheet"' in one.page
    one.open(f"/visit/{kept.id}/sheet")
    assert f'href="/visit/{kept.id}/sheet.html"' in one.page
    one.open(f"/visit/{kept.id}/sheet.html")
    out = tmp_path / "sheet.html"
    args = ("sheet", kept.id, "--out", str(out), "--db", f"sqlite:///{tmp_path / 'casebook.db'}")
    assert stillflow(*args).code == 0
    assert one.page == out.read_text("utf-8")
    assert SCRIPT not in one.page
    assert "script-src" not in one.headers["content-security-policy"]
    assert one.headers["content-security-policy"].startswith("default-src 'none'")


def test_coverage_is_what_the_command_line_prints(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.open("/coverage")
    assert " ".join(stillflow("rules", "coverage").out.split()) in one.words
