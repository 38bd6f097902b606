"""What a page lets in: its own forms only, so many bytes, and nothing that runs as a script."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from phone import HOST, Phone, desk, phone

from stillflow.casebook.store import Casebook
from stillflow.cli.web.app import application
from stillflow.cli.web.guard import MOST_FORM

SCRIPT = "<script>alert(1)</script><img src=x onerror=alert(1)>\"'"


def test_what_people_type_is_shown_as_text_and_never_run(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(name=SCRIPT, complaint=SCRIPT, inlet=SCRIPT, rated_sealed="130", rated_airflow="114")
    visit = one.visit
    one.answer("none")
    while 'class="reading"' not in one.page:
        one.answer("can't tell")
    one.answer("40")
    for path in ("/", f"/visit/{visit}", *(f"/visit/{visit}/{p}" for p in ("why", "where"))):
        page = one.open(path)
        assert one.status == 200
        assert "<script>alert" not in page
        assert "<img src=x" not in page
        assert "&lt;script&gt;" in page


def test_what_is_sent_wrongly_is_not_reflected_as_a_script(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin(rated_sealed=SCRIPT)
    assert "<script>alert" not in one.page
    one.begin()
    one.answer(SCRIPT)
    assert one.status == 422
    assert "<script>alert" not in one.page
    one.open(f"/visit/{SCRIPT}")
    assert "<script>alert" not in one.page


def test_no_page_has_script_or_style_within_it(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin()
    for path in ("/", "/new", f"/visit/{one.visit}", f"/visit/{one.visit}/why"):
        page = one.open(path)
        assert not re.search(r"<script(?![^>]*src=)|<style| style=| on[a-z]+=", page)
        policy = one.headers["content-security-policy"]
        assert "unsafe" not in policy
        assert "default-src 'none'" in policy
        assert one.headers["cache-control"] == "no-store"
        assert one.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    "token, headers",
    [
        ("", {}),
        ("0" * 64, {}),
        (None, {"origin": "http://elsewhere.example"}),
        (None, {"sec-fetch-site": "cross-site"}),
        (None, {"origin": "null"}),
    ],
)
def test_a_form_of_another_site_changes_nothing(
    tmp_path: Path, token: str | None, headers: dict[str, str]
) -> None:
    at = desk(tmp_path)
    one = Phone(application(at))
    one.open("/new")
    fields = {"token": one.token if token is None else token, "name": "Forged House"}
    answer = one.client.post("/new", data=fields, headers=headers)
    assert answer.status_code == 403
    assert at.casebook.recent(9) == []


def test_a_form_of_another_browser_changes_nothing(tmp_path: Path) -> None:
    app = application(desk(tmp_path))
    mine, theirs = Phone(app), Phone(app)
    mine.open("/new")
    theirs.open("/new")
    answer = mine.client.post("/new", data={"token": theirs.token, "name": "Forged House"})
    assert answer.status_code == 403


def test_a_name_that_another_site_points_here_gets_no_page(tmp_path: Path) -> None:
    one = Phone(application(desk(tmp_path)), "http://elsewhere.example")
    one.open("/")
    assert one.status == 421
    assert "stillflow answers to" in one.page


def test_more_than_a_form_holds_is_refused_before_it_is_read(tmp_path: Path) -> None:
    at = desk(tmp_path)
    one = Phone(application(at))
    one.open("/new")
    answer = one.client.post("/new", data={"token": one.token, "name": "x" * MOST_FORM})
    assert answer.status_code == 413
    assert at.casebook.recent(9) == []


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%2f..%2fserve.py",
        "/static//etc/passwd",
    ],
)
def test_no_file_beside_the_static_ones_is_given_out(tmp_path: Path, path: str) -> None:
    one = phone(tmp_path)
    one.open(path)
    assert one.status == 404


def test_the_cookie_is_not_for_scripts_nor_for_other_sites(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.open("/")
    cookie = one.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    assert "Secure" not in cookie
    safe = Phone(application(desk(tmp_path)), HOST.replace("http", "https"))
    safe.open("/")
    assert "Secure" in safe.headers["set-cookie"]


def test_a_wrong_mark_is_told_whatever_it_is(tmp_path: Path) -> None:
    one = phone(tmp_path)
    one.begin()
    for mark in ("", "x", "-1-abc", "99999999999-x", "0-" + "0" * 12, "²-x"):
        one.send(f"/visit/{one.visit}/answer", mark=mark, check="danger-signs", answer="none")
        assert one.status == 409
    assert Casebook(f"sqlite:///{tmp_path / 'casebook.db'}").recent(1)[0].events == ()
